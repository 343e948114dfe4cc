"""The rooms of the window: imports between them go one way, and no file outgrows its idea."""

from __future__ import annotations

import ast
from pathlib import Path

VIEWER = Path(__file__).resolve().parents[2] / "composer" / "viewer"
ROOMS = ["", "panels", "tools", "scene", "session", "new_head", "render", "ui"]
"""From the top down; "" is what lies in composer/viewer itself. Each imports itself and what stands below it."""
MOST_LINES = 400


def room_of(module: str) -> str:
    """The room of a module below composer.viewer, "" for the top."""
    parts = module.removeprefix("composer.viewer").strip(".").split(".")
    return parts[0] if parts[0] in ROOMS else ""


def upward(module: str, source: str) -> list[str]:
    """Sentences on what a module imports from a room above its own."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("composer.viewer"):
            for name in (f"{node.module}.{alias.name}" for alias in node.names):
                if ROOMS.index(room_of(name)) < ROOMS.index(room_of(module)):
                    found.append(f"{module} imports {name}, whose room stands above")
    return found


def module_of(path: Path) -> str:
    return ".".join(("composer", "viewer", *path.relative_to(VIEWER).with_suffix("").parts))


def test_rooms_import_one_way() -> None:
    found = [line for path in VIEWER.rglob("*.py") for line in upward(module_of(path), path.read_text("utf-8"))]
    assert not found, "\n".join(found)


def test_an_import_that_goes_up_is_found() -> None:
    assert upward("composer.viewer.tools.pull", "from composer.viewer.panels.board.state import Board\n")
    assert upward("composer.viewer.session.stage", "from composer.viewer.window import MoueWindow\n")
    assert not upward("composer.viewer.window", "from composer.viewer.tools.pull import pull\n")


def test_every_folder_is_a_room() -> None:
    folders = {path.name for path in VIEWER.iterdir() if path.is_dir() and not path.name.startswith("_")}
    assert folders == set(ROOMS) - {""}


def test_files_hold_one_idea() -> None:
    long = {p.name: n for p in VIEWER.rglob("*.py") if (n := len(p.read_text("utf-8").splitlines())) > MOST_LINES}
    assert not long
