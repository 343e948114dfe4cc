"""Looking at paths and making folders, where whatever the system refuses is one line that says so."""

from __future__ import annotations

from pathlib import Path

from composer.errors import cannot


def is_there(path: Path) -> bool:
    """Whether a path exists. Raises MoueError where it cannot be looked at."""
    try:
        return path.exists()
    except (OSError, ValueError) as error:
        raise cannot("read", path, error) from None


def is_folder(path: Path) -> bool:
    """Whether a path is a folder. Raises MoueError where it cannot be looked at."""
    try:
        return path.is_dir()
    except (OSError, ValueError) as error:
        raise cannot("read", path, error) from None


def make_folder(path: Path) -> None:
    """Make a folder and those above it where they are not there. Raises MoueError where that cannot be."""
    try:
        path.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        raise cannot("made", path, error) from None
