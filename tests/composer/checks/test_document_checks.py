"""What a document holds before any recipe: each planted fault is found, and a clean one is silent."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from composer.checks.document_subject import DocumentSubject
from composer.checks.registry import DOCUMENT_CHECKS, run_document_checks
from composer.checks.subject import HeadFacts
from composer.geometry.polygons import Polygons
from composer.head.head import Head, Shape
from tests.composer.checks.check_heads import lips_head, plane, plane_head

UP = np.diag([1.0, 1.3, 1.0])
ROUND = np.array([[1.0, 0.2, 0], [0, 1, 0], [0, 0, 1]])


def found(head, name, raw=None, **more):
    check = next(check for check in DOCUMENT_CHECKS if check.name == name)
    return list(check.run(DocumentSubject(HeadFacts(head), raw or {}, **more)))


def halves(head):
    x = head.neutral[:, 0]
    left = np.clip(0.5 + x / 20.0, 0.0, 1.0)
    return {"cheek_left": left, "cheek_right": 1.0 - left}


def test_a_document_with_two_whole_regions_and_two_different_shapes_is_clean():
    head = plane_head({"up": UP, "wide": np.diag([1.2, 1.0, 1.0])})
    assert run_document_checks(DocumentSubject(HeadFacts(head), halves(head))) == []


def test_a_speck_of_a_mask_is_an_island_and_two_equal_pieces_are_not():
    head = plane_head({"up": UP})
    x, y = head.neutral[:, 0], head.neutral[:, 1]
    both = ((np.abs(x) > 15.0) & (np.abs(y) < 20.0)).astype(float)
    assert found(head, "islands", {"cheeks": both}) == []
    speck = (x < -15.0).astype(float)
    speck[168] = 0.4
    (finding,) = found(head, "islands", {"cheek": speck})
    assert finding.code == "islands.mask" and finding.where == "cheek"
    assert finding.vertices.tolist() == [168] and finding.value == pytest.approx(40.0)


def test_a_hole_amid_regions_where_shapes_move_is_found_and_one_where_nothing_moves_is_not():
    head = plane_head({"up": UP}, n=24)
    raw = halves(head)
    x, y = head.neutral[:, 0], head.neutral[:, 1]
    hole = (np.abs(x - 10.0) < 3.0) & (np.abs(y - 15.0) < 3.0)
    for mask in raw.values():
        mask[hole] = 0.0
    (finding,) = found(head, "coverage", raw)
    assert finding.code == "coverage.hole" and finding.severity == "warning"
    assert set(finding.vertices) == set(np.flatnonzero(hole))
    assert finding.value == pytest.approx(0.3 * y[hole].max(), rel=1e-5)
    assert found(head.with_(shapes=()), "coverage", raw) == []


def test_a_hollow_without_a_region_is_only_noted():
    trimesh = pytest.importorskip("trimesh")
    solid = trimesh.creation.icosphere(subdivisions=3, radius=30.0)
    points, faces = np.array(solid.vertices), np.array(solid.faces)[:, ::-1]  # seen from inside: a cave
    bag = points[:, 2] > 25.5
    lift = np.where(bag, 3.0, 0.0)[:, None] * [0.0, 0.0, 1.0]
    head = Head("cave", Polygons(np.full(len(faces), 3), faces.ravel(), len(points)), points,
                shapes=(Shape("lift", lift.astype(np.float32)),))  # fmt: skip
    raw = {"wall": np.where(bag, 0.0, 1.0)}
    assert [(f.code, f.severity) for f in found(head, "coverage", raw)] == [("coverage.hole", "note")]
    outside = head.with_(polygons=Polygons(np.full(len(faces), 3), faces[:, ::-1].ravel(), len(points)))
    assert [(f.code, f.severity) for f in found(outside, "coverage", raw)] == [("coverage.hole", "warning")]


def test_locked_masks_that_overlap_are_found_and_unlocked_ones_share():
    head = plane_head({"up": UP})
    raw = {"a": np.full(169, 0.7), "b": np.full(169, 0.6)}
    assert found(head, "coverage", raw) == []
    (finding,) = found(head, "coverage", raw, locked=frozenset(raw))
    assert finding.code == "coverage.locked" and finding.value == pytest.approx(130.0)
    assert found(head, "coverage", raw, locked=frozenset(raw), sets={"a": "overlay"}) == []


def test_masks_of_many_regions_on_one_place_are_noted():
    head = plane_head({"up": UP})
    (finding,) = found(head, "coverage", {name: np.ones(169) for name in "abc"})
    assert (finding.code, finding.severity) == ("coverage.often", "note")


def test_dead_double_and_broken_shapes_are_named():
    head = plane_head({"up": UP, "round": ROUND})
    up = head.shape("up").delta
    nan = up.copy()
    nan[7, 1] = np.nan
    head = head.with_(shapes=(*head.shapes, Shape("dead", 0 * up), Shape("again", up * np.float32(1.001)),
                              Shape("half", up * np.float32(0.5)), Shape("bad", nan)))  # fmt: skip
    findings = found(head, "shapes")
    assert [(f.code, f.where) for f in findings] == [
        ("shapes.dead", "dead"), ("shapes.broken", "bad"), ("shapes.double", "again"), ("shapes.double", "half"),
        ("shapes.double", "half"),
    ]  # fmt: skip
    assert findings[1].vertices.tolist() == [7] and "vertex 7" in findings[1].words
    assert "0.5 times as strong" in findings[3].words and "times" not in findings[2].words
    assert found(plane_head({"up": UP, "round": ROUND}), "shapes") == []


def test_a_face_turned_over_at_rest_is_found_among_its_neighbours():
    polygons, points = plane(8)
    quads = polygons.indices.reshape(-1, 4).copy()
    quads[27] = quads[27][::-1]
    turned = Head("turned", Polygons(polygons.counts, quads.ravel(), len(points)), points)
    (finding,) = found(turned, "neutral")
    assert finding.code == "neutral.turned" and set(finding.vertices) == set(quads[27])
    flat = points.copy()
    flat[quads[30]] = flat[quads[30][0]]
    codes = [f.code for f in found(Head("flat", polygons, flat), "neutral")]
    assert codes == ["neutral.flat"]


@pytest.mark.parametrize("head", [plane_head({"up": UP}), lips_head()], ids=["one shell", "two shells"])
def test_a_sound_neutral_is_clean(head):
    assert found(head, "neutral") == []


def test_a_shape_that_turned_with_the_skull_is_told_and_one_that_only_bulges_is_not():
    head = plane_head({}, n=24)
    x, y = head.neutral[:, 0], head.neutral[:, 1]
    bulge = np.zeros_like(head.neutral)
    bulge[:, 2] = 3.0 * np.exp(-((x - 8.0) ** 2 + y**2) / 20.0)
    turned = Rotation.from_euler("y", 1.5, degrees=True).apply(head.neutral + bulge) + [0.4, 0.0, 0.3]
    shapes = (Shape("still", bulge.astype(np.float32)), Shape("turned", (turned - head.neutral).astype(np.float32)))
    (finding,) = found(head.with_(shapes=shapes), "motion")
    assert (finding.code, finding.severity, finding.where) == ("motion.head", "warning", "turned")
    furthest = np.linalg.norm(turned - bulge - head.neutral, axis=1).max()
    assert "1.50 degrees" in finding.words and finding.value == pytest.approx(furthest, rel=0.05)
    broken = Shape("broken", np.full_like(shapes[0].delta, np.nan))
    assert len(found(head.with_(shapes=(*shapes, broken)), "motion")) == 1
