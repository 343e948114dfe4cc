"""The other files that a mesh or library file names: buffers of glTF, layers of USD, materials of OBJ.

Sources: Khronos, glTF 2.0 (2021), 3.6.1 "Buffers and buffer views"; OpenUSD (openusd.org/release/api), "UsdUtils",
UsdUtilsComputeAllDependencies; Wavefront OBJ (1995), "mtllib".
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable
from pathlib import Path
from urllib.parse import unquote

LANDMARKS = "landmarks.toml"
"""A file that is read with a library beside it, unnamed."""
MOST_BYTES = 1 << 30
"""A longer text is not searched; a safety limit."""


def named_files(file: Path) -> list[Path]:
    """The files that `file` names, in its folder or below, and that are there; sorted, without itself. A file that
    cannot be read names none."""
    find = _FINDERS.get(file.suffix.lower())
    try:
        named = list(find(file)) if find is not None and file.stat().st_size <= MOST_BYTES else []
    except (OSError, ValueError, AttributeError, RuntimeError, TypeError):  # its reader says why
        named = []
    folder = file.parent.resolve()
    places = {folder / name for name in (*named, LANDMARKS) if len(name) < 1000 and "\0" not in name}
    return sorted(
        place for place in places if place.is_file() and place.resolve() != file.resolve()
        and folder in place.resolve().parents
    )  # fmt: skip


def _in_gltf(file: Path) -> Iterable[str]:
    tree = json.loads(file.read_bytes())
    for kind in ("buffers", "images"):
        for each in tree.get(kind, []):
            uri = each.get("uri")
            if isinstance(uri, str) and not uri.startswith("data:"):
                yield unquote(uri)


def _in_usd(file: Path) -> Iterable[str]:
    from pxr import UsdUtils

    layers, assets, _ = UsdUtils.ComputeAllDependencies(str(file))
    yield from (layer.realPath for layer in layers)
    yield from assets


def _in_obj(file: Path) -> Iterable[str]:
    with file.open("rb") as text:
        for rest in re.findall(rb"^mtllib[ \t]+([^\r\n]+)", text.read(), re.MULTILINE):
            words = rest.decode("utf-8", "surrogateescape").strip()
            yield from {words, *words.split()}


_FINDERS: dict[str, Callable[[Path], Iterable[str]]] = {
    ".gltf": _in_gltf, ".obj": _in_obj, ".usd": _in_usd, ".usda": _in_usd, ".usdc": _in_usd,
}  # fmt: skip
