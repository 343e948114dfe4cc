"""The demo's document for the window: made once, then opened as any other."""

from __future__ import annotations

from pathlib import Path

from composer.progress import Progress


def demo_document(folder: Path, progress: Progress) -> Path:
    """The path of the demo's document in `folder`, made there where it is not yet, all of it or nothing.

    Raises MoueError where the folder cannot be written.
    """
    document = folder / "document.toml"
    if not document.is_file():
        from composer.demo.tour import write_demo

        write_demo(folder, progress)
    return document
