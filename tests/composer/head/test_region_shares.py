"""Which share of an action unit's motion the regions hold that are named after it, on the demo and on a real library.

The muscle behind each unit is that of the Facial Action Coding System (Ekman and Friesen 1978; PMC7264164, table 1).
The shares for squint, lowered brow and sneer are asked for on a real library; the others are what the preset holds, so
that a change of the preset that costs one of them is seen. On the demo they depend on how far its own units reach, too.
"""

from __future__ import annotations

import numpy as np
import pytest

from composer.head.find_landmarks.found import find_landmarks
from composer.head.head import Head
from composer.head.landmarks import Landmarks
from composer.head.presets import lay_regions, region_set
from masks.region_preset import SIDES
from tests.awkward_heads import awkward

BROW = ("brow_inner", "brow_outer", "forehead", "glabella")
LIDS_AND_CHEEK = ("cheek", "lower_lid")
CHEEKS = ("cheek", "cheek_lower", "cheekbone", "mouth_corner")
JAW = ("jaw", "chin", "lower_lip")

DEMO = [
    ("au07", ("lower_lid",), 0.59), ("au04", BROW, 0.80), ("au09", ("nostril",), 0.50), ("au43", ("upper_lid",), 0.70),
    ("au05", ("upper_lid",), 0.74), ("au02", BROW, 0.90), ("au06", LIDS_AND_CHEEK, 0.40),
    ("au15", ("mouth_corner",), 0.48), ("au34", CHEEKS, 0.43), ("au10", ("upper_lip",), 0.22),
    ("au16", ("lower_lip",), 0.58),
]  # fmt: skip
REAL = [
    ("eyeSquint", ("lower_lid",), 0.60), ("browDown", BROW, 0.80), ("noseSneer", ("nostril",), 0.50),
    ("eyeBlink", ("upper_lid",), 0.55), ("eyeWide", ("upper_lid",), 0.80), ("browOuterUp", BROW, 0.85),
]  # fmt: skip
FOUND = [("mouthFrown", ("mouth_corner",), 0.32), ("cheekPuff", CHEEKS, 0.47), ("cheekSquint", LIDS_AND_CHEEK, 0.28)]


def held(head: Head, masks: dict[str, np.ndarray], shape: str, regions: tuple[str, ...], side: str) -> float:
    """The share of a shape's motion (squared displacement by area, on the skin) under the regions of its side."""
    delta = head.shape(shape).delta.astype(np.float64)
    motion = np.einsum("ij,ij->i", delta, delta) * head.surface.mass * head.skin
    named = [name for region in regions for name in (region + side, region) if name in masks]
    return float(np.sum([masks[name] for name in dict.fromkeys(named)], axis=0) @ motion / motion.sum())


@pytest.fixture(scope="module")
def demo_masks() -> tuple[Head, dict[str, np.ndarray]]:
    """The demo with its own landmarks, and its forty regions."""
    head = awkward().known()
    return head, lay_regions(head, region_set("face")).masks


@pytest.mark.parametrize(("unit", "regions", "least"), DEMO)
@pytest.mark.parametrize("side", SIDES)
def test_the_demos_units_lie_in_their_regions(
    demo_masks: tuple[Head, dict[str, np.ndarray]], unit: str, regions: tuple[str, ...], least: float, side: str
) -> None:
    head, masks = demo_masks
    share = held(head, masks, unit + side, regions, side)
    assert share >= least, f"{unit}{side}: {share:.3f}"


def assert_held(head: Head, marks: Landmarks, rows: list[tuple[str, tuple[str, ...], float]]) -> None:
    """Every row's share on both sides; all that fail are told together."""
    masks = lay_regions(head, region_set("face"), marks).masks
    sides = (("_left", "_L"), ("_right", "_R"))
    shares = {name + own: (held(head, masks, name + own, regions, side), least)
              for name, regions, least in rows for side, own in sides}  # fmt: skip
    assert not {name: round(share, 3) for name, (share, least) in shares.items() if share < least}


def test_a_real_librarys_units_lie_in_the_regions_of_its_own_landmarks(real_head: Head, real_marks: Landmarks) -> None:
    assert_held(real_head, real_marks, REAL)


def test_a_real_librarys_units_lie_in_the_regions_of_found_landmarks(real_head: Head) -> None:
    marks = find_landmarks(real_head).landmarks
    laid = lay_regions(real_head, region_set("face"), marks)
    assert len(laid.masks) >= 36, laid.left_out
    assert_held(real_head, marks, REAL + FOUND)
