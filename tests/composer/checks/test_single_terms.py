"""Terms of the checks that hide in large tests: each has a small case that can be worked out on paper."""

from __future__ import annotations

import numpy as np
import pytest

from composer.checks.registry import chosen
from composer.checks.subject import CheckSubject
from composer.mixing.recipe import Cell, Recipe
from tests.composer.checks.check_heads import lips_head
from tests.composer.checks.test_folds_and_pinch import bent, two_squares


def test_a_fold_is_measured_the_short_way_round() -> None:
    # A shape alone shuts the edge to -170 degrees. At +150 it is 40 degrees further round, not 320: 360 - 170 - 150.
    head = two_squares(170.0)
    recipe = Recipe("r", (Cell("all", "bend170", 1.0),))

    def folds(degrees: float) -> list:
        return list(chosen(["folds"])[0].run(CheckSubject.of(head, bent(degrees), name="p", recipe=recipe)))

    assert folds(-155.0) == []  # 35 degrees further than the shape alone
    (finding,) = folds(-140.0)
    assert finding.value == pytest.approx(50.0, abs=1e-3)


@pytest.mark.parametrize("sunk", ["upper", "lower"])
def test_each_lip_is_measured_in_the_other(sunk: str) -> None:
    # Only one lip has vertices inside the other: a spike of one vertex, 1 mm deep, 3 mm behind its edge.
    head = lips_head(gap=1.0)
    pose = head.neutral.copy()
    sign = -1.0 if sunk == "upper" else 1.0
    facing = np.isclose(pose[:, 1], -sign * 0.5)
    middle = np.flatnonzero(facing)[np.linalg.norm(pose[facing][:, [0, 2]] - [0, 3], axis=1).argmin()]
    pose[middle, 1] += sign * 2.0
    (finding,) = chosen(["lips"])[0].run(CheckSubject.of(head, pose))
    assert finding.value == pytest.approx(1.0, abs=0.05)
    assert finding.vertices[np.argmax(finding.amounts)] == middle
