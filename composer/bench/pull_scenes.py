"""The scenes of the pull's measure: a library with forty regions and four recipes like the demo's, made of whatever
shapes it has."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from composer.bench.real_files import real_files
from composer.demo.character import character
from composer.demo.library import build_library
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
UP, LEFT = np.array([0.0, 1.0, 0.0]), np.array([1.0, 0.0, 0.0])
MOUTH = ("mouth_corner", "upper_lip", "lower_lip", "cheek", "cheek_lower", "chin")


def demo_scene() -> tuple[Mixer, list[Recipe]]:
    """The demo's keeper."""
    return scene(build_library(character("keeper")))


def real_scene() -> tuple[Mixer, list[Recipe]]:
    """The library in the folder that MOUE_REAL names, its landmarks found. Raises MoueError where there is none."""
    with real_files("pulls on a real library are left out") as files:
        return found_scene(with_recognised_parts(open_library(files, recognise=False)))


def found_scene(head: Head) -> tuple[Mixer, list[Recipe]]:
    """The scene of a head whose landmarks are found."""
    return scene(head.with_(landmarks=find_landmarks(head).landmarks))


def scene(head: Head) -> tuple[Mixer, list[Recipe]]:
    """A head with landmarks, its regions from them, and four recipes."""
    masks = lay_regions(head, region_set("face")).masks
    shared = effective_masks(list(masks.values()))
    regions = dict(zip(masks, shared, strict=True))
    mixer = Mixer(head, {**regions, "remainder": remainder(shared)})
    return mixer, recipes_for(mixer)


def recipes_for(mixer: Mixer) -> list[Recipe]:
    """One brow up beside a mouth corner, a wink, a call, and two minds about the mouth, which join seamlessly: with the
    shapes that move those regions furthest up, down or inwards."""
    smile_left, smile_right = (_furthest_along(mixer, f"mouth_corner_{side}", UP) for side in ("left", "right"))
    pursed = _furthest_along(mixer, "mouth_corner_left", -LEFT)
    shut, brow = _furthest_along(mixer, "upper_lid_left", -UP), _furthest_along(mixer, "brow_outer_left", UP)
    open_ = _furthest_along(mixer, "chin_left", -UP)
    right, left = ([f"{name}_{side}" for name in MOUTH] for side in ("right", "left"))
    return [
        Recipe("one_brow", (*_row(mixer, BROW, brow, 0.9), *_row(mixer, right[:5], smile_right, 0.6))),
        Recipe(
            "wink", (Cell(ALL, smile_left, 0.5), *_row(mixer, LIDS, shut, 1.0)),
            {r: Row("replace") for r in LIDS if r in mixer.masks},
        ),
        Recipe("call", (Cell(ALL, open_, 0.6), *_row(mixer, (BROW[0], "brow_inner_right"), brow, 0.8))),
        Recipe(
            "two_minds", (*_row(mixer, left, smile_left, 1.0), *_row(mixer, right, pursed, 1.0)), join="seamless"
        ),
    ]  # fmt: skip


def _row(mixer: Mixer, regions: Iterable[str], shape: str, weight: float) -> list[Cell]:
    return [Cell(region, shape, weight) for region in regions if region in mixer.masks]


def _furthest_along(mixer: Mixer, region: str, way: NDArray) -> str:
    """The shape that moves a region furthest along a direction (3,), in the mean."""
    mask = mixer.masks[region]
    at = np.flatnonzero(mask > 0.0)
    return max(mixer.head.expressions, key=lambda shape: float(mask[at] @ (shape.delta[at] @ way))).name
