"""Settling on a sculpt: who is rejected, filled, protected or marked, on a flat sheet above a flat sheet."""

from __future__ import annotations

import numpy as np
import pytest

from composer.errors import MoueError
from composer.fitting.closest import ClosestSurface
from composer.fitting.loops import Loops
from composer.fitting.project import Settled, project, settle, usable_reach
from composer.geometry.surface import Surface
from composer.head.levels import Refinement
from tests.small_heads import grid

N = 9
MIDDLE = N * N // 2
POLYGONS = grid(N, N)


def sheet(height: float = 0.0, size: float = 10.0) -> np.ndarray:
    y, x = np.meshgrid(np.arange(float(N)), np.arange(float(N)), indexing="ij")
    return size * np.stack([x.ravel(), y.ravel(), np.full(N * N, height / size)], axis=1)


def flags(*vertices: int) -> np.ndarray:
    found = np.zeros(N * N, dtype=bool)
    found[list(vertices)] = True
    return found


def plane(slope: float = 0.0, height: float = 2.0) -> ClosestSurface:
    wide = 400.0 * np.array([[-1.0, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]])
    wide[:, 2] = height + slope * wide[:, 0]
    return ClosestSurface(wide, np.array([[0, 1, 2], [0, 2, 3]]))


def settled(sculpt: ClosestSurface, points: np.ndarray, reach: float = 5.0, **words: object) -> Settled:
    loops = Loops(POLYGONS, sheet())
    return settle(Surface(POLYGONS, points), sculpt, reach, loops=loops, ideal=sheet(), **words)  # type: ignore[arg-type]


def test_a_sheet_settles_on_the_plane_above_it_and_says_how_far_it_went() -> None:
    done = settled(plane(), sheet(), rays=False)
    np.testing.assert_allclose(done.positions, sheet(2.0), atol=1e-9)
    np.testing.assert_allclose(done.distance, 2.0, atol=1e-9)
    assert not done.rejected.any() and not done.filled.any() and not done.unfolded.any()


def test_what_is_out_of_reach_is_rejected_and_filled_and_what_is_protected_stays() -> None:
    far = sheet()
    far[MIDDLE, 2] = -4.0  # six from the plane
    done = settled(plane(), far, protect=flags(0).astype(float), rays=False)
    assert np.flatnonzero(done.rejected).tolist() == [MIDDLE] == np.flatnonzero(done.filled).tolist()
    np.testing.assert_array_equal(done.positions[0], far[0])
    assert done.positions[MIDDLE, 2] == pytest.approx(-4.0 + 2.0, abs=0.2)  # its surroundings went up by two


def test_a_free_vertex_out_of_reach_is_filled_and_not_rejected() -> None:
    far = sheet()
    far[MIDDLE, 2] = -4.0
    done = settled(plane(), far, free=flags(MIDDLE, 0), rays=False)
    assert not done.rejected.any()
    assert np.flatnonzero(done.filled).tolist() == [0, MIDDLE]


@pytest.mark.parametrize("free", [False, True])
def test_a_landmark_that_cannot_settle_by_itself_goes_to_its_place(free: bool) -> None:
    points, place = sheet(), np.array([[41.0, 40.0, 1.0]])
    if not free:
        points[MIDDLE, 2] = -4.0
    marks = (np.array([MIDDLE]), place)
    done = settled(plane(), points, marks=marks, free=flags(MIDDLE) if free else None, rays=False)
    np.testing.assert_allclose(done.positions[MIDDLE], place[0], atol=1e-9)
    assert not done.rejected.any() and not done.filled.any()


def test_a_landmark_that_settles_by_itself_is_not_taken_to_its_place() -> None:
    done = settled(plane(), sheet(), marks=(np.array([MIDDLE]), np.array([[41.0, 40.0, 1.0]])), rays=False)
    np.testing.assert_allclose(done.positions[MIDDLE], [40.0, 40.0, 2.0], atol=1e-9)


def test_what_is_rejected_by_hand_takes_its_surroundings_displacement() -> None:
    sculpt = ClosestSurface(sheet(2.0), POLYGONS.triangles)
    done = settled(sculpt, sheet(), reject=flags(MIDDLE), rays=False)
    assert np.flatnonzero(done.rejected).tolist() == [MIDDLE] == np.flatnonzero(done.filled).tolist()
    np.testing.assert_allclose(done.positions, sheet(2.0), atol=1e-6)


def test_a_vertex_goes_along_its_normal_and_without_rays_to_the_closest_point() -> None:
    slope = 0.5
    points = sheet() - [40.0, 40.0, 0.0]
    inner = (np.abs(points[:, :2]) < 35).all(axis=1)
    along = settled(plane(slope, 0.0), points, 30.0, rays=True).positions
    closest = settled(plane(slope, 0.0), points, 30.0, rays=False).positions
    straight = points + slope * points[:, :1] * [0.0, 0.0, 1.0]
    square = points[:, :1] * [1.0, 0.0, slope] / (1.0 + slope**2) + points * [0.0, 1.0, 0.0]
    np.testing.assert_allclose(along[inner], straight[inner], atol=1e-6)
    np.testing.assert_allclose(closest[inner], square[inner], atol=1e-6)


def test_a_sheet_that_looks_the_other_way_and_a_border_are_rejected() -> None:
    turned = ClosestSurface(sheet(2.0), POLYGONS.triangles[:, ::-1])
    assert settled(turned, sheet(), rays=False).rejected.all()
    short = ClosestSurface(0.5 * sheet(4.0) + [20.0, 20.0, 0.0], POLYGONS.triangles)  # from 20 to 60 of 0 to 80
    done = settled(short, sheet(), 15.0, rays=False)
    inside = (np.abs(sheet()[:, :2] - 40) < 15).all(axis=1)
    assert not done.rejected[inside].any()
    beside = (np.abs(sheet()[:, :2] - 40) < 35).all(axis=1) & ~(np.abs(sheet()[:, :2] - 40) < 25).all(axis=1)
    assert done.rejected[beside].all()  # ten from it, and nearest to its border


def test_masks_of_a_level_reject_from_one_half_on_and_must_fit() -> None:
    sculpt = ClosestSurface(sheet(1.0), POLYGONS.triangles)
    painted = np.where(flags(MIDDLE), 0.5, np.where(flags(MIDDLE + 1), 0.4, 0.0))
    level = project(POLYGONS, sheet(), sculpt, reference=sheet(), reach_mm=5.0, up_to=0, reject={0: painted})[0]
    assert np.flatnonzero(level.rejected).tolist() == [MIDDLE]
    assert level.counts == {
        "vertices": 81, "rejected": 1, "filled": 1, "protected": 0, "bad_faces": 0, "unfolded": 0
    }  # fmt: skip
    with pytest.raises(MoueError, match="level 0 has 3 values"):
        project(POLYGONS, sheet(), sculpt, reference=sheet(), reach_mm=5.0, up_to=0, reject={0: np.zeros(3)})


def test_a_short_reach_is_a_reach_and_none_is_not() -> None:
    assert usable_reach(0.25) == 0.25
    for reach in (0.0, -1.0, float("nan")):
        with pytest.raises(MoueError, match="nothing to project"):
            usable_reach(reach)


def test_a_level_moves_an_edge_of_the_one_below_at_most_and_fills_no_further_than_that() -> None:
    """A sculpt with a hole, and a ridge on its rim that is narrower than a cage's loop: finer levels meet it, and its
    slope must not be continued into the hole."""
    n, spacing, radius, height = 17, 5.0, 14.0, 3.5
    size = (n - 1) * spacing
    polygons, points = grid(n, n), spacing * np.array([[x, y, 0.0] for y in range(n) for x in range(n)], dtype=float)
    across = np.linspace(-5.0, size + 5.0, 226)
    x, y = (each.ravel() for each in np.meshgrid(across, across))
    away, angle = np.hypot(x - size / 2, y - size / 2), np.arctan2(y - size / 2, x - size / 2)
    ridge = (away >= radius) & (away <= radius + 0.8) & (np.sin(3 * angle) > 0)
    triangles = grid(226, 226).triangles
    whole = ~(away < radius)[triangles].any(axis=1)
    sculpt = ClosestSurface(np.stack([x, y, np.where(ridge, height, 0.0)], axis=1), triangles[whole])
    levels = project(polygons, points, sculpt, reference=points, up_to=3, reach_mm=6.0)
    assert levels[-1].positions[:, 2].max() > 0.8 * height, "the ridge is met"
    for below, level in zip(levels[:-1], levels[1:], strict=True):
        before = Refinement(below.polygons).apply(below.positions)
        moved = np.linalg.norm(level.positions - before, axis=1)
        edge = Surface(below.polygons, below.positions).mean_edge_mm
        settled = moved[~level.filled].max()
        assert settled <= 1.05 * edge, level.k
        assert moved.max() <= 1.1 * settled, level.k
