"""Awkward libraries carried onto bent copies of themselves, where a smooth map of space says what is true.

The map bends, widens and twists everything, a little. What touches before it touches after it, so a shape that shuts
lids shuts them in the bent pose, lash roots stay on the lid and sheets stay on what they cover. Every law here holds of
the bent pose by itself; the carried one is held to it. Parts are recognised, not said.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from composer.bench.carry_truth import lid_gap
from composer.fitting.carry import WAYS, Carrier, Way
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
}
NAMES = ("blink", "jaw", "smile")
"""Of the shapes there are: the eyes shut, the jaw open, a smile."""


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


def truth(head: Head, name: str) -> np.ndarray:
    return bent(head.target(name)) - bent(head.neutral)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("kind", KINDS)
def test_an_awkward_library_is_carried_onto_a_bent_copy(kind: str, way: Way) -> None:
    a, old = library(kind)
    rest = bent(old.neutral)
    carrier = Carrier(old, rest, way)
    for name in NAMES:
        delta = old.shape(name).delta
        carried, met = carrier.carry_and_tell(delta)
        assert np.isfinite(carried).all()
        true = truth(old, name)
        for part in ("skin", *a.part_names):
            off = np.linalg.norm((carried - true)[a.vertices(part)], axis=1)
            far = np.linalg.norm(true[a.vertices(part)], axis=1)
            print(kind, way, name, part, f"rms {np.sqrt((off**2).mean()):.3f} of {np.sqrt((far**2).mean()):.3f} max {off.max():.2f} of {far.max():.2f}")
        for each in met: print('   ', each.numbers)
        if name == "blink":
            for side in ("left", "right"):
                print('   gap', side, lid_gap(old, old.target(name), side), lid_gap(old, rest + true, side), lid_gap(old, rest + carried, side))
