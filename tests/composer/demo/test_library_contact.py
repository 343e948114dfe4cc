"""Lids and lips shut: no gap, nothing entered, at the cage, half way, and on the subdivided skin."""

from __future__ import annotations

import numpy as np
import pytest

from composer.demo.muscles import to_polyline
from composer.head.levels import levels, refine
from tests.composer.demo.library_fixtures import NAMES, SHUT, Face, face

GAP_MM, ENTERED_MM = 0.2, 0.1  # asked of the demo, no outside source


def lines(subject: Face, points: np.ndarray, upper: str, lower: str) -> tuple[float, float]:
    """The widest gap between two named curves, in mm, and how far the lower stands above the upper at one x.

    Lids meet edge on edge, so their gap is the distance of the curves. Lips meet on sheets that run back from the
    curves, one a little before the other, so theirs is the height between the curves at one x.
    """
    marks = subject.neutral.landmarks
    u, low = points[np.asarray(marks.curves[upper])], points[np.asarray(marks.curves[lower])]
    order = np.argsort(u[:, 0])
    entered = low[:, 1] - np.interp(low[:, 0], u[order, 0], u[order, 1])
    if upper.startswith("lip"):
        return float(-entered.min()), float(entered.max())
    return float(max(to_polyline(u, low)[0].max(), to_polyline(low, u)[0].max())), float(entered.max())


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("side", ["left", "right"])
def test_shut_lids_meet_and_do_not_enter_each_other(name: str, side: str) -> None:
    subject = face(name)
    posed = subject.posing.pose(SHUT)
    gap, entered = lines(subject, posed, f"upper_lid_{side}", f"lower_lid_{side}")
    assert gap <= GAP_MM
    assert entered <= ENTERED_MM
    open_gap, _ = lines(subject, subject.neutral.positions, f"upper_lid_{side}", f"lower_lid_{side}")
    assert open_gap > 5.0  # the same measure on open eyes, so that it can fail


@pytest.mark.parametrize("name", NAMES)
def test_lids_shut_by_one_shape_stay_shut_when_others_join_in(name: str) -> None:
    subject = face(name)
    for more in ({"au06_left": 0.8, "au06_right": 0.8}, {"gaze_down": 0.7}, {"au04_left": 1.0, "au04_right": 1.0}):
        gap, entered = lines(subject, subject.posing.pose(SHUT | more), "upper_lid_left", "lower_lid_left")
        assert gap <= GAP_MM and entered <= ENTERED_MM


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("shape", ["neutral", "au24", "au12", "au15", "au17", "au23"])
def test_closed_lips_touch_along_their_whole_line(name: str, shape: str) -> None:
    subject = face(name)
    weights = {"neutral": {}, "au24": {"au24": 1.0}, "au17": {"au17": 1.0}, "au23": {"au23": 1.0}}.get(
        shape, {f"{shape}_left": 1.0, f"{shape}_right": 1.0}
    )
    gap, entered = lines(subject, subject.posing.pose(weights), "lip_line_upper", "lip_line_lower")
    assert gap <= GAP_MM
    assert entered <= ENTERED_MM


@pytest.mark.parametrize("name", NAMES)
def test_opening_the_jaw_parts_the_lips(name: str) -> None:
    subject = face(name)
    assert lines(subject, subject.posing.pose({"au26": 1.0}), "lip_line_upper", "lip_line_lower")[0] > 8.0


@pytest.mark.parametrize("name", NAMES)
def test_no_ray_reaches_the_eyeball_through_shut_lids(name: str) -> None:
    trimesh = pytest.importorskip("trimesh")
    from trimesh.ray.ray_pyembree import RayMeshIntersector

    subject = face(name)
    factors = levels(subject.neutral.polygons, 2)
    triangles = factors[-1].polygons.triangles
    parts = subject.anatomy.parts
    kind = np.zeros((subject.anatomy.n, 2))
    kind[parts["eye_left"], 0] = 1.0
    for part in parts:
        if part.startswith("lashes"):
            kind[parts[part], 1] = 1.0
    eye, lash = (refine(kind, factors) > 0.5).T
    triangles = triangles[~lash[triangles].any(1)]

    def seen(posed: np.ndarray) -> list[int]:
        rays = RayMeshIntersector(trimesh.Trimesh(refine(posed, factors), triangles, process=False))
        counts = []
        for way in ((0, 0, -1), (0.5, 0, -0.85), (-0.4, 0, -0.9), (0, 0.6, -0.8), (0, -0.6, -0.8)):
            d = np.array(way) / np.linalg.norm(way)
            across = np.cross([0, 1, 0], d)
            across /= np.linalg.norm(across)
            x, y = (v.reshape(-1, 1) for v in np.meshgrid(np.linspace(-20, 20, 160), np.linspace(-20, 20, 160)))
            start = subject.anatomy.eyes[0] - 120 * d + x * across + y * np.cross(d, across)
            first = rays.intersects_first(start, np.broadcast_to(d, start.shape))
            counts.append(int(eye[triangles[first[first >= 0]]].all(1).sum()))
        return counts

    assert max(seen(subject.posing.pose(SHUT))) <= 5  # of 25,600 rays a direction, at the very corner
    assert min(seen(subject.neutral.positions)) > 100


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("share", [0.25, 0.5, 0.75, 1.0])
def test_lids_keep_off_the_eyeball_all_the_way(name: str, share: float) -> None:
    subject = face(name)
    posed = subject.posing.pose({k: share * v for k, v in SHUT.items()})
    arm = np.linalg.norm(subject.anatomy.positions[subject.anatomy.parts["eye_left"]] - subject.anatomy.eyes[0], axis=1)
    for ring in ("edge", "margin_front", "margin_middle", "margin_back"):
        away = np.linalg.norm(posed[subject.anatomy.eye[ring]] - subject.anatomy.eyes[0], axis=1)
        assert away.min() > arm.max() + 0.1


def test_a_straight_mix_would_enter_the_eye_and_the_in_between_does_not() -> None:
    subject = face("keeper")
    shape = subject.head.shape("au43_left")
    margin = subject.anatomy.eye["margin_back"][3:10]
    straight = subject.head.neutral + 0.5 * shape.delta
    arc = subject.head.neutral + shape.inbetweens[0].delta
    near = [float(np.linalg.norm(p[margin] - subject.anatomy.eyes[0], axis=1).min()) for p in (straight, arc)]
    assert near[0] < near[1] - 0.3
    assert near[1] > 12.75 + 0.1  # the cornea's top, see the eyeball
