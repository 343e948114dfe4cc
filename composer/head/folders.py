"""Checking paths and making folders, with an error of one line where the system refuses."""

from __future__ import annotations

from pathlib import Path

from composer.errors import cannot


def is_there(path: Path) -> bool:
    """Whether a path exists. Raises MoueError where that cannot be checked."""
    try:
        return path.exists()
    except (OSError, ValueError) as error:
        raise cannot("read", path, error) from None


def is_folder(path: Path) -> bool:
    """Whether a path is a folder. Raises MoueError where that cannot be checked."""
    try:
        return path.is_dir()
    except (OSError, ValueError) as error:
        raise cannot("read", path, error) from None


def make_folder(path: Path) -> None:
    """Make a folder and its missing parents. Raises MoueError where the system refuses."""
    try:
        path.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        raise cannot("made", path, error) from None
