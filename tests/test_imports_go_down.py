"""Which module may import which is a law of the house: imports go down only, and siblings keep apart."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent

LAYERS = [
    "composer.cli",
    "composer.bench",
    "composer.viewer",
    "composer.demo",
    "composer.scripting",
    "composer.jobs",
    "composer.picture",
    "composer.checks",
    "composer.edits",
    "composer.document",
    "composer.fitting",
    "composer.mixing",
    "composer.contact",
    "composer.formats",
    "composer.head",
    "masks",
    "composer.geometry",
    "composer.units",
    "composer.plain_number",
    "composer.progress",
    "composer.errors",
]
"""From the top down; each may import what stands below it, and itself."""

ALLOWED_UP: dict[tuple[str, str], str] = {}
"""Imports against the order that are wanted: (importing module, imported package) and why."""

WINDOW_LIBRARIES = {"pyglet", "imgui_bundle"}
MEASURES_OF_THE_WINDOW = {f"composer.bench.window_{name}" for name in ("gpu", "frame", "large_run")}
"""The modules outside the viewer that load pyglet: they measure the window."""


def layer_of(module: str) -> int | None:
    parts = module.split(".")
    package = parts[0] if parts[0] == "masks" else ".".join(parts[:2])
    return LAYERS.index(package) if package in LAYERS else None


def module_of(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


def imported_modules(source: str) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            found.update(f"{node.module}.{alias.name}" for alias in node.names)
    return found


def house_files() -> list[Path]:
    return sorted([*(ROOT / "composer").rglob("*.py"), *(ROOT / "masks").rglob("*.py")])


def upward_imports(module: str, source: str) -> list[str]:
    """Sentences on what `module` imports from above itself."""
    own = layer_of(module)
    return [
        f"{module} imports {other}, which stands above it"
        for other in sorted(imported_modules(source))
        if own is not None and (layer := layer_of(other)) is not None and layer < own
        and (module, LAYERS[layer]) not in ALLOWED_UP
    ]  # fmt: skip


def test_imports_go_down_only() -> None:
    found = [line for path in house_files() for line in upward_imports(module_of(path), path.read_text("utf-8"))]
    assert not found, "\n".join(found)


def test_an_import_that_goes_up_is_found() -> None:
    assert upward_imports("masks.paint", "from composer.head.head import Head\n")
    assert upward_imports("composer.mixing.linear", "import composer.fitting.chain\n")
    assert not upward_imports("composer.fitting.chain", "from composer.mixing.linear import Mixer\n")


def test_every_package_has_its_place_and_every_place_a_package() -> None:
    packages = {"masks"} | {f"composer.{p.stem}" for p in (ROOT / "composer").iterdir() if not p.name.startswith("_")}
    assert packages == set(LAYERS)


def test_the_kernel_needs_numpy_and_scipy_alone() -> None:
    allowed = {"numpy", "scipy", "composer"} | set(sys.stdlib_module_names)
    for path in (ROOT / "composer" / "geometry").rglob("*.py"):
        assert {m.split(".")[0] for m in imported_modules(path.read_text("utf-8"))} <= allowed, path.name


def test_only_the_viewer_needs_window_libraries() -> None:
    for path in house_files():
        if "viewer" not in path.parts and module_of(path) not in MEASURES_OF_THE_WINDOW:
            used = {m.split(".")[0] for m in imported_modules(path.read_text("utf-8"))}
            assert not used & WINDOW_LIBRARIES, path.relative_to(ROOT)


def test_help_loads_neither_scipy_nor_a_window() -> None:
    code = (
        "import sys; from composer.cli.main import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
        "loaded = {m.split('.')[0] for m in sys.modules}\n"
        "print(sorted(loaded & {'scipy', 'pyglet', 'imgui_bundle', 'embreex', 'trimesh'}))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert done.stdout.strip().endswith("[]"), done.stdout[-300:]
