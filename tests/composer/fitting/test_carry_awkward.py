"""Awkward libraries carried onto bent copies of themselves, where a smooth map of space says what is true.

The map bends, widens and twists everything, a little. What touches before it touches after it, so a shape that shuts
lids shuts them in the bent pose, lash roots stay on the lid and sheets stay on what they cover. Every law here holds of
the bent pose by itself; the carried one is held to it. Parts are recognised, not said.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy.spatial import cKDTree

from composer.bench.carry_truth import Truth, lid_gap
from composer.fitting.carry import Carrier, Way
from composer.head.head import Head
from composer.head.parts import with_recognised_parts
from tests.awkward_heads import awkward
from tests.awkward_surgery import AwkwardHead

KINDS = {
    "layered eyes": ("three_shapes", "layered_eyes"),
    "lashes": ("three_shapes", "rooted_lashes"),
    "sheets in one place": ("three_shapes", "coincident_sheets"),
    "one object": ("three_shapes", "layered_eyes", "one_object"),
    "triangles": ("three_shapes", "triangles_only"),
    "open mask": ("three_shapes", "open_mask"),
    "bust": ("three_shapes", "bust"),
    "lopsided": ("three_shapes", "lopsided"),
    "inches": ("three_shapes", "inches"),
    "half closed": ("half_closed", "three_shapes"),
    "head drift": ("three_shapes", "head_drift"),
    "400 shapes": ("four_hundred_shapes",),
}
NAMES = ("blink", "jaw", "smile")
"""Of the three shapes: the eyes shut, the jaw open, a smile."""
OF_MANY = ("au43_left", "au27", "au12_left")
"""Their like among the 400."""
CASES = [*((kind, "gradient") for kind in KINDS),
         *((kind, way) for kind in ("layered eyes", "half closed") for way in ("delta", "frame"))]  # fmt: skip
OFF = 0.25
"""Of the furthest movement of a shape: what is true and what a smooth transfer gives may differ by this at the worst
vertex; a fold of the lid that the map compresses is where they do."""
TOUCH_MM, LOOSE_MM = 0.1, 0.25
"""What lies this near to the skin in the old pose touches it, and may come loose by so much."""
WIDER_MM = 0.05
"""Shut lids may stay this much further open than in the bent pose."""


def bent(points: np.ndarray) -> np.ndarray:
    """(n, 3) mm, the places (n, 3) after the map: no length changes by more than some 8 percent."""
    x, y, z = points.T
    turn = 0.0006 * y
    wide = 1.0 + 0.03 * np.sin(y / 70.0)
    return np.stack([
        wide * (np.cos(turn) * x + np.sin(turn) * z) + 2.0 * np.sin(z / 60.0),
        0.97 * y + 3.0 * np.sin(x / 80.0),
        wide * (np.cos(turn) * z - np.sin(turn) * x) + 3.0 * np.cos(y / 60.0),
    ], axis=1)  # fmt: skip


@cache
def library(kind: str) -> tuple[AwkwardHead, Head]:
    a = awkward(*KINDS[kind])
    return a, with_recognised_parts(a.head).with_(landmarks=a.landmarks)


def touching(a: AwkwardHead, old: Head, pose: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Vertices of parts bound to the skin, and the vertex of skin beside each that it touches at rest and in `pose`."""
    skin = a.vertices("skin")
    bound = np.concatenate([[], *(part.vertices for part in old.parts if part.follows == "surface")]).astype(int)
    beside = skin[cKDTree(old.neutral[skin]).query(old.neutral[bound])[1]] if len(bound) else bound
    on = np.ones(len(bound), dtype=bool)
    for at in (old.neutral, pose):
        on &= np.linalg.norm(at[bound] - at[beside], axis=1) < TOUCH_MM
    return bound[on], beside[on]


@pytest.mark.parametrize(("kind", "way"), CASES)
def test_an_awkward_library_is_carried_onto_a_bent_copy(kind: str, way: Way) -> None:
    a, old = library(kind)
    rest = bent(old.neutral)
    carrier = Carrier(old, rest, way)
    for name in OF_MANY if kind == "400 shapes" else NAMES:
        pose = old.target(name)
        true = bent(pose) - rest
        carried, _ = carrier.carry_and_tell(old.shape(name).delta)
        furthest = float(np.linalg.norm(true, axis=1).max())
        for part in ("skin", *a.part_names):
            off = float(np.linalg.norm((carried - true)[a.vertices(part)], axis=1).max())
            assert off <= OFF * furthest, (name, part, off, furthest)
        one, other = touching(a, old, pose)
        loose = np.linalg.norm((rest + carried)[one] - (rest + carried)[other], axis=1)
        assert loose.max(initial=0.0) <= LOOSE_MM, (name, loose.max())
        for side in ("left", "right"):
            if lid_gap(old, rest + true, side) < 0.5:
                assert lid_gap(old, rest + carried, side) <= lid_gap(old, rest + true, side) + WIDER_MM, (name, side)
        plain = np.zeros_like(carried)
        plain[carrier.skin] = carrier.carry_skin(old.shape(name).delta[carrier.skin])
        assert Truth(old).further(rest, plain, carried) <= 1.5 + 1e-6, name


def test_lashes_and_sheets_are_among_what_touches() -> None:
    """The laws above are not empty: roots and the rims of sheets touch the skin in the pose."""
    for kind, fewest in (("lashes", 40), ("sheets in one place", 40), ("layered eyes", 10)):
        a, old = library(kind)
        assert len(touching(a, old, old.target("blink"))[0]) >= fewest, kind
