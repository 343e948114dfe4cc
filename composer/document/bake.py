"""Recipes as new targets on disk: one file a recipe, named after it, the neutral beside them."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from composer.document.ready import Ready
from composer.errors import MoueError
from composer.formats.mesh import mesh_of
from composer.formats.obj_text import ObjText
from composer.formats.registry import format_of, write_mesh
from composer.head.atomic import write_whole
from composer.mixing.recipe import Recipe
from composer.units import mm_per

MANIFEST = "moue-bake.json"
Progress = Callable[[float, str], None]


def bake(
    ready: Ready, folder: Path | str, recipes: Sequence[Recipe], *, suffix: str = ".obj", unit: str | None = None,
    over: Sequence[str] = (), progress: Progress | None = None,
) -> list[Path]:  # fmt: skip
    """Write the neutral and each recipe's pose to `folder`, in the head's own unit or `unit`; the files' paths.

    All poses are made and all refusals said before the first file is written. Refused with MoueError: the folder
    of the head's own files, and a file there that this folder's manifest does not know by its hash (somebody has
    worked on it since), unless its name is in `over`.
    """
    folder, head = Path(folder), ready.head
    format_of(Path("x" + suffix), writing=True)
    own = head.path
    if own is not None and folder.resolve() == own.resolve():
        raise MoueError("holds the head's own files, which a bake never overwrites", folder, mend="give another folder")
    poses = {head.neutral_name: head.neutral} | {recipe.name: ready.pose(recipe) for recipe in recipes}
    known = _manifest(folder / MANIFEST)
    files = {name: folder / f"{name}{suffix}" for name in poses}
    for file in files.values():
        if file.exists() and known.get(file.name) != _hash(file) and file.name not in over and file.stem not in over:
            what = "has been changed since the last bake, or is not a bake"
            raise MoueError(what, file, mend="move it, or name it with --over")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise MoueError(f"cannot be made: {error.strerror}", folder) from None
    text = ObjText(head.neutral_file) if suffix == ".obj" and head.neutral_file is not None else None
    own_unit, scale = unit in (None, head.unit), mm_per(head.unit) / mm_per(unit or head.unit)
    for i, (name, pose) in enumerate(poses.items()):
        if progress is not None:
            progress(i / len(poses), f"baking {name}")
        if text is not None:
            still = np.all(pose == head.neutral, axis=1)
            points = np.where(still[:, None], text.positions, pose / mm_per(head.unit)) * scale
            text.write(files[name], points, moved=~still if own_unit else None)
        else:
            write_mesh(files[name], mesh_of(head, pose, unit=unit))
    hashes = known | {file.name: _hash(file) for file in files.values()}
    write_whole(folder / MANIFEST, lambda f: f.write(json.dumps(hashes, indent=1, sort_keys=True).encode()))
    return list(files.values())


def _manifest(path: Path) -> dict[str, str]:
    try:
        held = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return {str(k): str(v) for k, v in held.items()} if isinstance(held, dict) else {}


def _hash(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
