"""In-betweens as OpenUSD's UsdSkel defines them: worked values, its own evaluator, and what it calls errors."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.head.head import Head, InBetween, Shape
from composer.mixing.displacement import motion
from composer.mixing.inbetween import coefficients
from tests.small_heads import random_head

places_lists = st.lists(
    st.integers(-10, 20).filter(lambda i: i not in (0, 10)), min_size=0, max_size=4, unique=True
).map(lambda tenths: [t / 10 for t in tenths])


@pytest.mark.parametrize(
    ("weight", "moved"), [(0.3, (0, 0.6, 0)), (0.75, (0, 0.5, 0.5)), (-0.25, (0, -0.5, 0)), (1.2, (0, -0.4, 1.4))]
)
def test_the_worked_values(weight: float, moved: tuple[float, float, float]) -> None:
    # OpenUSD, UsdSkel, Blend Shape Schema: offset z = 1, an in-between at 0.5 with y = 1.
    whole, half = np.array([[0, 0, 1]], dtype=np.float32), np.array([[0, 1, 0]], dtype=np.float32)
    shape = Shape("grin", whole, (InBetween(0.5, half),))
    head = Head("dot", Polygons.from_faces([], 1), np.zeros((1, 3)), (shape,))
    np.testing.assert_allclose(motion(head, shape).at(weight)[0], moved, atol=1e-12)


@settings(deadline=None, max_examples=200)
@given(places_lists, st.floats(-1, 2))
def test_a_weight_is_made_of_its_two_neighbours_as_numpy_interpolates(places: list[float], weight: float) -> None:
    # numpy.interp is piecewise linear inside; outside, the end pieces run on (UsdSkel: extrapolation unbounded).
    rng = np.random.default_rng(len(places))
    values = np.append(rng.normal(size=len(places)), 1.0)
    knots = np.array([*places, 1.0, 0.0])
    order = np.argsort(knots)
    x, y = knots[order], np.append(values, 0.0)[order]
    if x[0] <= weight <= x[-1]:
        expected = np.interp(weight, x, y)
    elif weight < x[0]:
        expected = y[0] + (weight - x[0]) * (y[1] - y[0]) / (x[1] - x[0])
    else:
        expected = y[-1] + (weight - x[-1]) * (y[-1] - y[-2]) / (x[-1] - x[-2])
    amounts = np.array(coefficients(places, weight))
    np.testing.assert_allclose(amounts @ values, expected, atol=1e-9)
    assert np.count_nonzero(amounts) <= 2


@settings(deadline=None, max_examples=100)
@given(places_lists)
def test_every_stored_displacement_comes_back_exactly(places: list[float]) -> None:
    assert not any(coefficients(places, 0.0))
    for number, at in enumerate([*places, 1.0]):
        assert np.array_equal(coefficients(places, at), np.eye(len(places) + 1)[number])


@settings(deadline=None, max_examples=40)
@given(places_lists, st.floats(-1, 2), st.integers(0, 2**32 - 1))
def test_the_evaluator_of_openusd_agrees(places: list[float], weight: float, seed: int) -> None:
    usd = pytest.importorskip("pxr.Usd", reason="usd-core is not installed")
    from pxr import UsdSkel, Vt

    rng = np.random.default_rng(seed)
    base = random_head(rng, Polygons.from_faces([], 5), 1)
    between = tuple(InBetween(at, rng.normal(size=(5, 3)).astype(np.float32)) for at in places)
    shape = Shape("grin", base.shapes[0].delta, between)

    stage = usd.Stage.CreateInMemory()
    blend = UsdSkel.BlendShape.Define(stage, "/grin")
    blend.CreateOffsetsAttr(Vt.Vec3fArray.FromNumpy(shape.delta))
    for number, one in enumerate(between):
        made = blend.CreateInbetween(f"between_{number}")
        made.SetWeight(one.at)
        made.SetOffsets(Vt.Vec3fArray.FromNumpy(one.delta))
    mesh = stage.DefinePrim("/mesh", "Mesh")
    binding = UsdSkel.BindingAPI.Apply(mesh)
    binding.CreateBlendShapesAttr(["grin"])
    binding.CreateBlendShapeTargetsRel().SetTargets(["/grin"])
    query = UsdSkel.BlendShapeQuery(binding)
    sub = query.ComputeSubShapeWeights(Vt.FloatArray([weight]))
    points = Vt.Vec3fArray.FromNumpy(np.zeros((5, 3), np.float32))
    query.ComputeDeformedPoints(
        *sub, query.ComputeBlendShapePointIndices(), query.ComputeSubShapePointOffsets(), points
    )
    np.testing.assert_allclose(np.array(points), motion(base, shape).at(weight), atol=1e-3, rtol=1e-5)


@pytest.mark.parametrize("places", [[0.0], [1.0], [0.5, 0.5], [float("nan")]])
def test_what_usdskel_calls_an_authoring_error_is_refused(places: list[float]) -> None:
    delta = np.zeros((1, 3), dtype=np.float32)
    shape = Shape("grin", delta, tuple(InBetween(at, delta) for at in places))
    head = Head("dot", Polygons.from_faces([], 1), np.zeros((1, 3)), (shape,))
    with pytest.raises(MoueError, match="shape 'grin' has"):
        motion(head, shape)
