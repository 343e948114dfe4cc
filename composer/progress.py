"""How long work tells how far it is."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[float, str], None]
"""Called with a fraction from 0 to 1 and the name of what is at hand."""
