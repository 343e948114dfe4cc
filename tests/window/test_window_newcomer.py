"""A newcomer's way from a library that nobody has marked to a baked target, counted in inputs.

Libraries of other people: any names, any unit, three shapes and four hundred. What is baked is read by trimesh; that
one side alone has moved is seen in its vertices.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from composer.head.head import Head, Shape
from tests.window.dome import dome, write_dome
from tests.window.hand import Hand
from tests.window.newcomer import WEIGHT, walk
from tests.window.test_window_bake import vertices

MOST_INPUTS = 15
"""The most presses, drags and words that the way may take: asked of Moue, no source."""
INCH_MM = 25.4
"""International yard and pound agreement of 1959: an inch is 25.4 mm exactly."""
Made = Callable[[], Head]


def three_in_inches() -> Head:
    """Three shapes with names in another script, the files in inches."""
    head = dome(places={"表情01・左": (32.0, 55.0), "表情02": (30.0, -30.0), "表情03": (0.0, -75.0)})
    shapes = tuple(Shape(shape.name, shape.delta / INCH_MM) for shape in head.shapes)
    return head.with_(neutral=head.neutral / INCH_MM, shapes=shapes)


def four_hundred() -> Head:
    """Four hundred shapes that are called by numbers, all over the face."""
    x, y = np.meshgrid(np.linspace(-60, 60, 20), np.linspace(80, -80, 20))
    return dome(15, 13, {f"{i:04d}": (x.flat[i], y.flat[i]) for i in range(400)})


@pytest.mark.parametrize(("made", "first", "second"), [(three_in_inches, "01", "02"), (four_hundred, "0073", "0275")])
def test_a_library_of_anybody_gives_a_target(hand: Hand, tmp_path: Path, made: Made, first: str, second: str) -> None:
    folder = write_dome(tmp_path / "theirs", made())
    walk(hand, folder, (first, ""), (second, ""))
    assert hand.inputs <= MOST_INPUTS
    one, other = hand.session.recipe.cells
    assert first in one.shape and second in other.shape and (one.weight, other.weight) == (1.0, WEIGHT / 100)
    (written,) = [p for p in hand.window.panels.bake.written if p.suffix == ".obj" and p.stem != "neutral"]
    rest = vertices(folder / "neutral.obj")
    moved = np.abs(vertices(written) - rest).max(axis=1)
    assert moved[rest[:, 0] > 0].max() > 0.005 * np.ptp(rest[:, 0]), "its left has moved"
    assert moved[rest[:, 0] < -0.1 * np.ptp(rest[:, 0])].max() < 0.05 * moved.max(), "and its right has stayed"
