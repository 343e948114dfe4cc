"""Laws of masks: sharing, halving, mirroring, inverting, and what turning or renumbering a mesh does to them."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.geometry.geodesic import HeatDistance
from composer.geometry.marching import Marching
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface
from masks.combine import invert, split_sides
from masks.paint import Brush, Painter, Stroke
from masks.partition import FACE, effective_masks, remainder
from tests.masks.surfaces import sphere
from tests.small_heads import random_rotation

WEIGHTS = st.floats(0.0, 1.0)


@st.composite
def shared_face(draw: st.DrawFn) -> tuple[np.ndarray, list[bool], list[str]]:
    """Raw masks (r, n), locks and sets."""
    regions, n = draw(st.integers(1, 5)), draw(st.integers(1, 4))
    raw = np.array(draw(st.lists(st.lists(WEIGHTS, min_size=n, max_size=n), min_size=regions, max_size=regions)))
    locked = draw(st.lists(st.booleans(), min_size=regions, max_size=regions))
    sets = draw(st.lists(st.sampled_from([FACE, "lids"]), min_size=regions, max_size=regions))
    return raw, locked, sets


@given(shared_face())
def test_effective_masks_share(face: tuple[np.ndarray, list[bool], list[str]]) -> None:
    raw, locked, sets = face
    before = raw.copy()
    effective = effective_masks(list(raw), locked, sets)
    assert np.array_equal(raw, before)
    assert effective.min() >= 0.0
    assert (effective <= raw + 1e-12).all()
    for name in set(sets):
        members = [i for i, other in enumerate(sets) if other == name]
        if len(members) == 1:
            assert np.array_equal(effective[members[0]], raw[members[0]])
            continue
        total = effective[members].sum(axis=0)
        assert (total <= 1 + 1e-12).all()
        held = [i for i in members if locked[i]]
        locked_sum = raw[held].sum(axis=0)
        fits = locked_sum <= 1
        assert np.allclose(effective[held][:, fits], raw[held][:, fits], atol=1e-12)
        assert np.allclose(total, np.minimum(1.0, np.where(fits, raw[members].sum(axis=0), 1.0)), atol=1e-9)
    rest = remainder(effective, sets)
    shared = [i for i, name in enumerate(sets) if name == FACE]
    assert np.allclose(rest + effective[shared].sum(axis=0), 1.0, atol=1e-12)


@given(shared_face(), st.randoms(use_true_random=False))
def test_the_order_of_regions_does_not_matter(face: tuple, random) -> None:  # type: ignore[no-untyped-def]
    raw, locked, sets = face
    order = list(range(len(raw)))
    random.shuffle(order)
    plain = effective_masks(list(raw), locked, sets)
    shuffled = effective_masks([raw[i] for i in order], [locked[i] for i in order], [sets[i] for i in order])
    assert np.allclose(shuffled, plain[order], atol=1e-12)


@given(st.lists(st.tuples(WEIGHTS, st.floats(-30, 30)), min_size=1, max_size=20), st.floats(0.0, 40.0))
def test_halves_sum_to_the_whole_exactly(pairs: list[tuple[float, float]], ramp_mm: float) -> None:
    values, side = np.array(pairs).T
    left, right = split_sides(values, side, ramp_mm)
    assert np.array_equal(left + right, values)
    assert left.min() >= 0 and right.min() >= 0
    other_left, other_right = split_sides(values, -side, ramp_mm)
    assert np.allclose(other_left, right, atol=1e-15) and np.allclose(other_right, left, atol=1e-15)


@given(st.lists(WEIGHTS, min_size=1, max_size=20))
def test_inverting_twice_is_nothing(values: list[float]) -> None:
    assert np.allclose(invert(invert(values)), values, atol=2e-16, rtol=0)


BALL = sphere(2, 60.0)
BUMPY = BALL.at(BALL.positions * (1 + 0.08 * np.sin(BALL.positions / 17.0).sum(axis=1))[:, None])


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(0.1, 30.0))
def test_turning_scaling_and_renumbering(seed: int, scale: float) -> None:
    """Distances scale with the mesh, masks do not change, and both go along with the vertices' numbers."""
    rng = np.random.default_rng(seed)
    n = BUMPY.n_vertices
    new = rng.permutation(n)
    points = np.empty_like(BUMPY.positions)
    points[new] = scale * (BUMPY.positions @ random_rotation(rng).T + rng.normal(size=3) * 50)
    faces = new[BUMPY.triangles]
    faces = np.roll(faces[rng.permutation(len(faces))], int(rng.integers(3)), axis=1)
    other = Surface(Polygons(np.full(len(faces), 3), faces.ravel(), n), points)
    source = int(rng.integers(n))
    assert np.allclose(HeatDistance(other).solve([new[source]])[new], scale * HeatDistance(BUMPY).solve([source]))
    far, near = Marching(other).from_vertices([new[source]])[new], Marching(BUMPY).from_vertices([source])
    assert np.allclose(far, scale * near, rtol=2e-3)


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 2**32 - 1), st.sampled_from(["paint", "erase", "soften"]))
def test_a_stroke_stays_in_range_and_under_the_brush(seed: int, kind: str) -> None:
    rng = np.random.default_rng(seed)
    start = rng.random(BUMPY.n_vertices)
    stroke = Stroke(Painter(BUMPY), start, Brush(float(rng.uniform(5, 40)), float(rng.random())), kind)  # type: ignore[arg-type]
    changed: set[int] = set()
    for _ in range(3):
        face = BUMPY.triangles[rng.integers(len(BUMPY.triangles))]
        changed |= set(stroke.dab(face, rng.dirichlet(np.ones(3))).tolist())
    assert stroke.values.min() >= 0.0 and stroke.values.max() <= 1.0
    untouched = np.setdiff1d(np.arange(BUMPY.n_vertices), np.array(sorted(changed), dtype=int))
    assert np.array_equal(stroke.values[untouched], start[untouched])
    if kind == "paint":
        assert (stroke.values >= start - 1e-15).all()
    if kind == "erase":
        assert (stroke.values <= start + 1e-15).all()
