"""How the tests are drawn and dealt out.

The property tests draw the same examples on every run, so that a change is judged by what it changes.
`pytest --hypothesis-profile search` draws new ones, and ten times as many; what it finds is mended and kept as an
example.

With several workers each file goes to one of them, so that what it makes for all of its tests is made once; the files
that take longest go first, so that no worker waits for the other at the end.
"""

from __future__ import annotations

import shutil
from typing import Any

import pytest
from hypothesis import settings

from tests import made_once
from tests.real_library import real_files, real_head, real_marks

__all__ = ["real_files", "real_head", "real_marks"]
"""Fixtures that every test may ask for."""

settings.register_profile("settled", derandomize=True, deadline=None, max_examples=30)
settings.register_profile("search", derandomize=False, deadline=None, print_blob=True, max_examples=300)
settings.load_profile("settled")

FIRST = (
    "tests/window/test_window_about.py", "tests/composer/fitting/", "tests/composer/demo/", "tests/window/",
    "tests/composer/head/", "tests/laws/", "tests/test_python_entry.py", "tests/composer/jobs/", "tests/composer/cli/",
)  # fmt: skip
"""What takes longest; the rest follows in the order in which it was found. Before all a file that makes the demo's
folder, for which most of the window's tests would wait, and meanwhile files that do without it."""

_made = pytest.StashKey[str]()


def _is_worker(config: pytest.Config) -> bool:
    return hasattr(config, "workerinput")


def pytest_configure(config: pytest.Config) -> None:
    """A folder for what is made once a run; the workers inherit it."""
    if not _is_worker(config):
        config.stash[_made] = made_once.begin()


def pytest_unconfigure(config: pytest.Config) -> None:
    """What was made once goes with the run."""
    if _made in config.stash:
        shutil.rmtree(config.stash[_made], ignore_errors=True)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Whole files go to the workers, the costly ones first."""
    if config.getvalue("dist") != "load":
        return None
    from xdist.scheduler import LoadFileScheduling

    config.option.loadscopereorder = False
    return LoadFileScheduling(config, log)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Files that take longest come first; within a file nothing changes its place."""
    items.sort(key=lambda item: next((place for place, name in enumerate(FIRST) if item.nodeid.startswith(name)), 99))
