"""The demo on disk: keeper's library, a document with regions and three recipes, and pictures of both."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.demo.character import character
from composer.demo.movements import moving_head
from composer.demo.neutral import build_neutral
from composer.errors import MoueError
from composer.formats.mesh import mesh_of
from composer.formats.registry import write_mesh
from composer.head.atomic import write_whole
from composer.head.fingerprint import fingerprint
from composer.head.head import Head
from composer.head.landmarks import write_landmarks
from masks.combine import split_sides
from masks.geodesic import HeatDistance
from masks.soften import ramp

Progress = Callable[[float, str], None]
# region: the curves it lies about, how far it reaches and how wide its border is, mm
REGIONS = {
    "brow": (("brow_left", "brow_right"), 17.0, 14.0),
    "eyes": (("upper_lid_left", "lower_lid_left", "upper_lid_right", "lower_lid_right"), 9.0, 8.0),
    "mouth": (("upper_lip", "lower_lip"), 22.0, 20.0),
}
RECIPES = """
[recipes.doubt]
note = "one brow up, half a smile"
cells = [
  { region = "brow_left", shape = "brow_up", weight = 1.0 },
  { region = "mouth_right", shape = "smile", weight = 0.6 },
]

[recipes.wink]
note = "the left eye shut, a smile on that side"
cells = [
  { region = "eyes", shape = "lid_close_left", weight = 1.0 },
  { region = "mouth_left", shape = "smile", weight = 0.9 },
]

[recipes.call]
note = "the jaw down, both brows up"
cells = [
  { region = "all", shape = "jaw_drop", weight = 0.8 },
  { region = "brow_left", shape = "brow_up", weight = 0.7 },
  { region = "brow_right", shape = "brow_up", weight = 0.7 },
]
"""


def tour(folder: Path | str, progress: Progress) -> list[str]:
    """Make the demo in `folder`; lines that say what was made and what to try next.

    Raises MoueError where the folder holds something already or cannot be written.
    """
    folder = Path(folder)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise MoueError("is there already and not empty", folder, mend="give a new folder with --to")
    progress(0.0, "shaping keeper")
    head = moving_head(build_neutral(character("keeper")))
    progress(0.3, "writing the library")
    _write_library(head, folder / "keeper")
    _write_document(head, folder)
    return [
        f"{folder / 'keeper'}: keeper's library, {head.n_vertices} vertices, {len(head.shapes)} shapes",
        f"{folder / 'document.toml'}: regions of brow, eyes and mouth, three recipes",
        "Try next:",
        f"  moue bake {folder / 'document.toml'} --to {folder / 'baked'}",
        f"  moue check {folder / 'document.toml'}",
        f"  moue sheet {folder / 'document.toml'} --to {folder / 'recipes.png'}",
        f"  moue sheet {folder / 'keeper'} --to {folder / 'keeper.png'}",
    ]


def _write_library(head: Head, folder: Path) -> None:
    try:
        folder.mkdir(parents=True)
    except OSError as error:
        raise MoueError(f"cannot be made: {error.strerror}", folder) from None
    for name in (head.neutral_name, *head.shape_names):
        write_mesh(folder / f"{name}.obj", mesh_of(head, head.target(name)))
    if head.landmarks is not None:
        write_landmarks(folder / "landmarks.toml", head.landmarks)


def _write_document(head: Head, folder: Path) -> None:
    masks = folder / "masks"
    masks.mkdir()
    lines = ["moue = 1", 'unit = "mm"', 'head = "keeper"', f'topology = "{fingerprint(head.polygons)}"', ""]
    for part in head.parts:
        lines += [f"[parts.{part.name}]", f'group = "{part.name}"', f'follows = "{part.follows}"', ""]
    for name, mask in _masks(head).items():
        write_whole(masks / f"{name}.npy", lambda file, mask=mask: np.save(file, mask, allow_pickle=False))
        lines += [f"[regions.{name}]", 'from = "file"', f'file = "masks/{name}.npy"', ""]
    text = "\n".join(lines) + RECIPES
    write_whole(folder / "document.toml", lambda file: file.write(text.encode()))


def _masks(head: Head) -> dict[str, NDArray[np.float64]]:
    """Masks (n,) of the regions: a ramp of the distance to the region's curves, brow and mouth split in sides."""
    distance = HeatDistance(head.surface)
    made: dict[str, NDArray[np.float64]] = {}
    for name, (curves, reach, width) in REGIONS.items():
        found = head.landmarks.curves if head.landmarks is not None else {}
        sources = np.unique(np.concatenate([np.asarray(found[curve]) for curve in curves]))
        away = distance.solve(sources)
        mask = np.where(np.isfinite(away), ramp(reach - away, width), 0.0) * head.skin
        if name == "eyes":
            made[name] = mask
        else:
            made[f"{name}_left"], made[f"{name}_right"] = split_sides(mask, head.neutral[:, 0], 12.0)
    return made
