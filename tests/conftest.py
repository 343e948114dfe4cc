"""How the property tests draw: the same examples on every run, so that a change is judged by what it changes.

`pytest --hypothesis-profile search` draws new ones, and more of them; what it finds is mended and kept as an example.
"""

from __future__ import annotations

from hypothesis import settings

from tests.real_library import real_files, real_head, real_marks

__all__ = ["real_files", "real_head", "real_marks"]
"""Fixtures that every test may ask for."""

settings.register_profile("settled", derandomize=True, deadline=None)
settings.register_profile("search", derandomize=False, deadline=None, print_blob=True)
settings.load_profile("settled")
