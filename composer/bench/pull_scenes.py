"""The scenes of the pull's measure: a library with forty regions and four recipes like the demo's, made of whatever
shapes it has."""

from __future__ import annotations

import os
import tarfile
import tempfile
from collections.abc import Iterable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.demo.character import character
from composer.demo.library import build_library
from composer.errors import MoueError
from composer.formats.library import open_library
from composer.head.find_landmarks.found import find_landmarks
from composer.head.head import Head
from composer.head.parts import with_recognised_parts
from composer.head.presets import lay_regions, region_set
from composer.mixing.linear import Mixer
from composer.mixing.recipe import ALL, Cell, Recipe, Row
from masks.partition import effective_masks, remainder

LIDS = ("upper_lid_left", "lower_lid_left", "eye_corner_left")
BROW = ("brow_inner_left", "brow_outer_left", "forehead_left")
MOUTH = ("mouth_corner", "upper_lip", "lower_lip", "cheek", "cheek_lower", "chin")


def demo_scene() -> tuple[Mixer, list[Recipe]]:
    """The demo's keeper."""
    return scene(build_library(character("keeper")))


def real_scene() -> tuple[Mixer, list[Recipe]]:
    """The library in the folder that MOUE_REAL names, its landmarks found. Raises MoueError where there is none."""
    named = os.environ.get("MOUE_REAL", "")
    archive = Path(named) / "library_a" / "library_a.tar.xz"
    if not named or not archive.is_file():
        raise MoueError("pulls on a real library are left out: MOUE_REAL names no folder with library_a")
    with tempfile.TemporaryDirectory() as place:
        with tarfile.open(archive) as tar:
            tar.extractall(place, filter="data")
        files = next(iter(Path(place).rglob("*.obj"))).parent
        head = with_recognised_parts(open_library(files, recognise=False))
        return scene(head.with_(landmarks=find_landmarks(head).landmarks))


def scene(head: Head) -> tuple[Mixer, list[Recipe]]:
    """A head with landmarks, its regions from them, and four recipes."""
    masks = lay_regions(head, region_set("face")).masks
    shared = effective_masks(list(masks.values()))
    regions = dict(zip(masks, shared, strict=True))
    mixer = Mixer(head, {**regions, "remainder": remainder(shared)})
    return mixer, recipes_for(mixer)


def recipes_for(mixer: Mixer) -> list[Recipe]:
    """One brow up beside a mouth corner, a wink, a call, and two minds about the mouth, which join seamlessly: each
    region with the shapes that move it most."""
    smile_left, other = _strongest(mixer, "mouth_corner_left", 2, "chin_left")
    smile_right = _strongest(mixer, "mouth_corner_right", 1, "chin_right")[0]
    shut, brow, open_ = (_strongest(mixer, r, 1)[0] for r in ("upper_lid_left", "brow_outer_left", "chin_left"))
    right, left = ([f"{name}_{side}" for name in MOUTH] for side in ("right", "left"))
    return [
        Recipe("one_brow", (*_row(mixer, BROW, brow, 0.9), *_row(mixer, right[:5], smile_right, 0.6))),
        Recipe(
            "wink", (Cell(ALL, smile_left, 0.5), *_row(mixer, LIDS, shut, 1.0)),
            {r: Row("replace") for r in LIDS if r in mixer.masks},
        ),
        Recipe("call", (Cell(ALL, open_, 0.6), *_row(mixer, (BROW[0], "brow_inner_right"), brow, 0.8))),
        Recipe(
            "two_minds", (*_row(mixer, left, smile_left, 1.0), *_row(mixer, right, other, 1.0)), join="seamless"
        ),
    ]  # fmt: skip


def _row(mixer: Mixer, regions: Iterable[str], shape: str, weight: float) -> list[Cell]:
    return [Cell(region, shape, weight) for region in regions if region in mixer.masks]


def _strongest(mixer: Mixer, region: str, count: int, still: str = "") -> list[str]:
    """The shapes that move a region most in the mean, beyond what they move the region `still`."""
    moved = {s.name: _mean_mm(mixer.masks[region], s.delta) for s in mixer.head.shapes}
    if still:
        moved = {s.name: moved[s.name] - _mean_mm(mixer.masks[still], s.delta) for s in mixer.head.shapes}
    return sorted(moved, key=lambda name: -moved[name])[:count]


def _mean_mm(mask: NDArray, delta: NDArray) -> float:
    at = np.flatnonzero(mask > 0.0)
    return float(mask[at] @ np.linalg.norm(delta[at], axis=1)) / max(float(mask[at].sum()), 1e-9)
