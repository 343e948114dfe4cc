"""Nothing crosses itself in any shape at full weight; lids keep off the eyes, lips off the teeth."""

from __future__ import annotations

import numpy as np
import pytest

from composer.head.head import Shape
from tests.composer.demo.library_fixtures import NAMES, Face, crossings, face, through, triangles_of

SKIN_MM = 0.25  # how deep two triangles of the cage may be in each other, about the gap asked of the lips
LID_RINGS = ("edge", "margin_front", "margin_middle", "margin_back")
LIP_RINGS = (
    "border",
    "vermilion_outer",
    "vermilion_inner",
    "contact_front",
    "contact_middle",
    "contact_back",
    "inner_lip",
)


def test_the_measure_finds_two_triangles_that_cross() -> None:
    points = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0.2, 0.2, -0.3], [0.3, 0.2, 0.5], [0.2, 0.3, 0.5]])
    pairs, depth = crossings(points, np.array([[0, 1, 2], [3, 4, 5]]))
    assert len(pairs) == 1
    assert depth[0] == pytest.approx(0.3, abs=0.2)
    assert (
        len(crossings(points + np.array([[0, 0, 0]] * 3 + [[0, 0, 2]] * 3), np.array([[0, 1, 2], [3, 4, 5]]))[0]) == 0
    )


def test_the_measure_misses_none_among_small_triangles_and_large_ones() -> None:
    rng = np.random.default_rng(5)
    size = np.repeat([0.5, 2.0, 9.0], 80)[:, None, None]
    corners = rng.uniform(-9, 9, (240, 1, 3)) + size * rng.uniform(-0.5, 0.5, (240, 3, 3))
    triangles = np.arange(720).reshape(240, 3)
    i, j = np.triu_indices(240, 1)
    hit = np.zeros(len(i), dtype=bool)
    for k in range(3):
        hit |= through(corners[i, k], corners[i, (k + 1) % 3], corners[j])
        hit |= through(corners[j, k], corners[j, (k + 1) % 3], corners[i])
    found = {tuple(pair) for pair in crossings(corners.reshape(-1, 3), triangles)[0].tolist()}
    assert found == set(zip(i[hit].tolist(), j[hit].tolist(), strict=True)) and len(found) > 50
    moved = np.arange(240) % 3 == 0
    of_moved = {(m, n) for m, n in crossings(corners.reshape(-1, 3), triangles, moved=moved)[0].tolist()}
    assert of_moved == {(m, n) for m, n in found if moved[m] or moved[n]} and len(of_moved) < len(found)
    of_two = {(m, n + 80) for m, n in crossings(corners.reshape(-1, 3), triangles[:80], triangles[80:])[0].tolist()}
    assert of_two == {(m, n) for m, n in found if m < 80 <= n}


def unlike_shapes(subject: Face) -> list[Shape]:
    """The shapes of a head, of two that are each other's mirror image only one: it crosses where the other does."""
    flip, mirror, head = np.array([-1.0, 1.0, 1.0]), subject.neutral.mirror, subject.head
    np.testing.assert_allclose(head.neutral[mirror] * flip, head.neutral, atol=1e-4)
    other = {name: name.removesuffix("_right") + "_left" for name in head.shape_names if name.endswith("_right")}
    alike = {
        name for name, left in other.items() if left in head.shape_names
        and np.allclose(head.shape(left).delta[mirror] * flip, head.shape(name).delta, atol=1e-4)
    }  # fmt: skip
    return [shape for shape in head.shapes if shape.name not in alike]


@pytest.mark.parametrize("name", NAMES)
def test_skin_does_not_cross_itself_in_any_shape(name: str) -> None:
    subject = face(name)
    skin = triangles_of(subject, np.flatnonzero(subject.anatomy.skin))
    known = {tuple(p) for p in crossings(subject.head.neutral, skin)[0]}
    bad = {}
    for shape in unlike_shapes(subject):
        moved = (shape.delta != 0)[skin].any(axis=(1, 2))  # two that stay cross as they do at rest
        pairs, depth = crossings(subject.head.neutral + shape.delta, skin, moved=moved)
        deep = [float(d) for p, d in zip(pairs, depth, strict=True) if d > SKIN_MM and tuple(p) not in known]
        if deep:
            bad[shape.name] = max(deep)
    assert not bad


@pytest.mark.parametrize("name", NAMES)
def test_lids_never_enter_the_eyeballs(name: str) -> None:
    subject = face(name)
    anatomy = subject.anatomy
    rings = np.concatenate([anatomy.eye[ring] for ring in LID_RINGS])
    lids = triangles_of(subject, np.concatenate([rings, anatomy.mirror[rings]]))
    eyes = triangles_of(subject, np.concatenate([anatomy.parts["eye_left"], anatomy.parts["eye_right"]]))
    for shape in subject.head.shapes:
        assert len(crossings(subject.head.neutral + shape.delta, lids, eyes)[0]) == 0, shape.name


@pytest.mark.parametrize("name", NAMES)
def test_lips_keep_off_the_teeth(name: str) -> None:
    subject = face(name)
    anatomy = subject.anatomy
    rings = np.concatenate([anatomy.mouth[ring] for ring in LIP_RINGS])
    lips = triangles_of(subject, np.concatenate([rings, anatomy.mirror[rings]]))
    teeth = triangles_of(subject, np.concatenate([anatomy.parts["teeth_upper"], anatomy.parts["teeth_lower"]]))
    deepest = {}
    for shape in subject.head.shapes:
        _, depth = crossings(subject.head.neutral + shape.delta, lips, teeth)
        if depth.max(initial=0.0) > 0.3:
            deepest[shape.name] = float(depth.max())
    assert not deepest
