"""Which module may import which is a law of the house: imports go down only."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

LAYERS = [
    {"composer.cli", "composer.viewer"},
    {"composer.bench", "composer.jobs"},
    {"composer.demo", "composer.picture"},
    {"composer.edits", "composer.checks"},
    {"composer.document"},
    {"composer.fitting", "composer.mixing"},
    {"composer.formats"},
    {"composer.head"},
    {"composer.units", "composer.errors", "composer.progress"},
    {"masks"},
]
WINDOW_LIBRARIES = {"pyglet", "imgui_bundle"}


def layer_of(module: str) -> int | None:
    parts = module.split(".")
    package = parts[0] if parts[0] == "masks" else ".".join(parts[:2])
    return next((i for i, layer in enumerate(LAYERS) if package in layer), None)


def imported_modules(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            found.update(f"{node.module}.{alias.name}" for alias in node.names)
    return found


def house_files() -> list[Path]:
    return sorted([*(ROOT / "composer").rglob("*.py"), *(ROOT / "masks").rglob("*.py")])


@pytest.mark.parametrize("path", house_files(), ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_go_down_only(path: Path) -> None:
    own = layer_of(".".join(path.relative_to(ROOT).with_suffix("").parts))
    for module in imported_modules(path):
        other = layer_of(module)
        if own is not None and other is not None:
            assert other >= own, f"{path.relative_to(ROOT)} imports {module}, which stands above it"


@pytest.mark.parametrize("path", house_files(), ids=lambda p: str(p.relative_to(ROOT)))
def test_only_the_viewer_needs_window_libraries(path: Path) -> None:
    if "viewer" not in path.parts:
        assert not {m.split(".")[0] for m in imported_modules(path)} & WINDOW_LIBRARIES


def test_help_loads_neither_scipy_nor_a_window() -> None:
    code = (
        "import sys; from composer.cli.main import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
        "loaded = {m.split('.')[0] for m in sys.modules}\n"
        "print(sorted(loaded & {'scipy', 'pyglet', 'imgui_bundle', 'embreex', 'trimesh'}))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert done.stdout.strip().endswith("[]"), done.stdout[-300:]
