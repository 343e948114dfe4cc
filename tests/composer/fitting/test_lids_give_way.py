"""Lids that lie in an eyeball and do not follow the sculpt: a ball and a sheet over it, whose true place is known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from composer.bench.cube_sphere import cube_sphere
from composer.fitting.lids_give_way import lids_beside
from composer.fitting.not_followed import Why
from composer.fitting.project import ProjectedLevel
from composer.geometry.polygons import Polygons
from tests.small_heads import grid

SIDE, RADIUS, LID, SCALE = 21, 10.0, 10.5, 1.3
TURN, ASKEW = (Rotation.from_rotvec(by).as_matrix() for by in ([0.3, -0.2, 0.5], [0.02, 0.02, 0.0]))
SHIFT, OFF = np.array([40.0, -7.0, 12.0]), np.array([0.2, 0.0, 0.3])
_BALL, _UNIT = cube_sphere(6, seed=0)
BALL = np.arange(_BALL.n_vertices)
ANGLE = np.radians(np.linspace(-45.0, 45.0, SIDE))


def over(radius: float, across: np.ndarray = ANGLE) -> np.ndarray:
    """A sheet of the given radius in front of the ball."""
    a, b = (angle.ravel() for angle in np.meshgrid(across, ANGLE, indexing="ij"))
    return radius * np.stack([np.sin(a), np.cos(a) * np.sin(b), np.cos(a) * np.cos(b)], axis=1)


def moved(points: np.ndarray) -> np.ndarray:
    return SCALE * points @ TURN.T + SHIFT


def level(press: float, flap: float | None = None) -> tuple[ProjectedLevel, np.ndarray, np.ndarray]:
    """A ball with a lid over it, both moved; the lid is everywhere OFF its place, and about a corner, where it does not
    follow, it is pressed to `press` radii of the ball. With `flap` a second sheet, 2 mm above the lid on the library,
    has come down, askew, to that many mm above where the lid belongs. The level, the lid's vertices, and which are
    pressed."""
    ball = RADIUS * _UNIT / np.linalg.norm(_UNIT, axis=1)[:, None]
    lid = over(LID)
    corner = np.linalg.norm(lid - lid[SIDE * 4 + 4], axis=1) < 2.5
    there = moved(lid) + OFF
    there[corner] = moved(lid[corner] * (press * RADIUS / LID)) + OFF
    pieces = [(_BALL, ball, moved(ball)), (grid(SIDE, SIDE), lid, there)]
    if flap is not None:
        pieces.append((grid(SIDE, SIDE), over(LID + 2.0), moved(over(LID + flap) @ ASKEW) + OFF))
    starts = np.cumsum([0, *(len(own) for _, own, _ in pieces)])
    polygons = Polygons(
        np.concatenate([each.counts for each, _, _ in pieces]),
        np.concatenate([each.indices + start for (each, _, _), start in zip(pieces, starts, strict=False)]),
        int(starts[-1]),
    )
    reference, positions = (np.concatenate([piece[i] for piece in pieces]) for i in (1, 2))
    lids, none = np.arange(starts[1], starts[2]), np.zeros(starts[-1], dtype=bool)
    why = np.zeros(starts[-1], dtype=np.int8)
    why[lids[corner]] = Why.FAR
    made = ProjectedLevel(
        0, polygons, positions, none, none, 0, 0, 0, why, reference, np.arange(starts[-1]) < starts[1]
    )  # fmt: skip
    return made, lids, corner


def test_a_pressed_corner_goes_back_to_where_the_rest_of_the_lid_says() -> None:
    """The energy of the filling knows differences alone, so a shift that is the same all round is continued as it is:
    the corner's true place is the library's, moved, and shifted by OFF."""
    before, lids, corner = level(0.6)
    given = lids_beside([before], BALL)
    assert given is not None
    np.testing.assert_allclose(given[0].positions[lids], moved(over(LID)) + OFF, atol=1e-6)
    rest = np.setdiff1d(np.arange(len(before.positions)), lids[corner])
    np.testing.assert_array_equal(given[0].positions[rest], before.positions[rest])
    assert not len(given[0].crossing)  # to be counted anew


@pytest.mark.parametrize("press", [LID / RADIUS, 1.04])
def test_a_lid_before_the_ball_stays(press: float) -> None:
    assert lids_beside([level(press)[0]], BALL) is None


def test_what_follows_the_sculpt_and_what_would_cross_stays() -> None:
    before, lids, _ = level(0.6)
    before.why[lids] = Why.FOLLOWS
    assert lids_beside([before], BALL) is None
    assert lids_beside([level(0.6, 1.5)[0]], BALL) is not None
    assert lids_beside([level(0.6, 0.0)[0]], BALL) is None
