"""Terms of the fit that hide in large tests: each has a small case that can be worked out on paper."""

from __future__ import annotations

import numpy as np
import pytest

from composer.bench.cube_sphere import cube_sphere
from composer.fitting.align import Pairs
from composer.fitting.carry import Carrier
from composer.fitting.closest import ClosestSurface
from composer.fitting.loops import Loops
from composer.fitting.mark_pulls import MarkPulls
from composer.fitting.nonrigid import fit
from composer.fitting.project import settle
from composer.fitting.relax import relax
from composer.fitting.skin import Skin
from composer.geometry.surface import Surface
from composer.head.head import Head
from tests.composer.fitting import carry_heads

RADIUS = 100.0


def ball(side: int = 10) -> Head:
    polygons, positions = cube_sphere(side, seed=2)
    return Head("ball", polygons, RADIUS * positions / np.linalg.norm(positions, axis=1)[:, None])


def test_a_place_of_a_curve_slides_along_it_and_nowhere_else() -> None:
    # The pull of a curve is |(I - a a') (x - c)|^2: moving a place along the curve's direction a costs nothing.
    head = ball(6)
    ids = np.array([0, 1, 2], dtype=np.int64)
    line = np.array([[-300.0, 0, 0], [0.0, 0, 0], [300.0, 0, 0]])
    none = np.zeros((0, 3))
    pairs = Pairs((), none, none, np.zeros(0, np.int64), {"rim": (head.neutral[ids], line, ids)})
    marks = MarkPulls.of(Skin.of(head), pairs, head.neutral, 0.5)
    places = head.neutral.copy()
    places[1] = [40.0, 3.0, -4.0]

    target, block, weight = marks.pulls(places)  # of one round: fixed while the round is solved

    def energy(at: np.ndarray) -> float:
        off = marks.at @ at - target
        return float(weight[1] * off[1] @ block[1] @ off[1])

    along, across = places.copy(), places.copy()
    along[1, 0] += 55.0
    across[1, 1] += 3.0
    assert energy(along) == pytest.approx(energy(places), rel=1e-9)
    assert energy(across) == pytest.approx(energy(places) * (6.0**2 + 4.0**2) / (3.0**2 + 4.0**2), rel=1e-9)


def test_a_sheet_that_looks_the_other_way_pulls_nothing() -> None:
    # A ball whose landmarks say 101.3 mm stands between a skin at 102 and, nearer, an inner side at 101.
    head = ball()
    triangles, n = head.polygons.triangles, head.n_vertices
    sculpt = ClosestSurface(
        np.concatenate([1.02 * head.neutral, 1.01 * head.neutral]),
        np.concatenate([triangles, triangles[:, ::-1] + n]),
    )
    ids = np.arange(0, n, 20)
    pairs = Pairs(tuple(map(str, ids)), head.neutral[ids], 1.013 * head.neutral[ids], ids, {})
    found = np.linalg.norm(fit(head, sculpt, pairs, settled=False).positions, axis=1)
    assert np.median(found) >= 101.2


def test_relax_hardly_moves_what_is_held() -> None:
    head = ball()
    rng = np.random.default_rng(3)
    pushed = head.neutral + rng.normal(scale=2.0, size=head.neutral.shape)
    pushed *= RADIUS / np.linalg.norm(pushed, axis=1)[:, None]
    sculpt = ClosestSurface(head.neutral, head.polygons.triangles)
    held = np.arange(0, head.n_vertices, 25)

    def moved(given: np.ndarray | None) -> float:
        done = relax(head.polygons, pushed, sculpt, head.neutral, held=given, rounds=1)
        return float(np.linalg.norm(done - pushed, axis=1)[held].mean())

    assert moved(held) <= 0.25 * moved(None)  # what is left of it is the way onto the sculpt's facets


@pytest.mark.parametrize("kept", [0.0, 0.25, 0.75])
def test_what_is_protected_in_part_goes_that_much_less_far(kept: float) -> None:
    head = ball()
    surface = Surface(head.polygons, head.neutral)
    sculpt = ClosestSurface(1.02 * head.neutral, head.polygons.triangles)
    loops = Loops(head.polygons, head.neutral)
    done = settle(
        surface, sculpt, 5.0, loops=loops, ideal=head.neutral, protect=np.full(head.n_vertices, kept), rays=False
    )
    radius = np.linalg.norm(done.positions, axis=1)
    np.testing.assert_allclose(radius, RADIUS * (1.0 + 0.02 * (1.0 - kept)), atol=0.05)


@pytest.mark.parametrize("name", ["wild", "jaw"])
def test_at_the_neck_s_border_gradients_add_nothing_to_the_frame(name: str) -> None:
    # Every vertex moves in some shape, so that only the border is anchored: there the frame's displacement holds.
    old, target = carry_heads.head(3), carry_heads.neutral(seed=5, radius=11.0, wide=1.1)
    by_gradient, by_frame = (Carrier(old, target, way, contact=False) for way in ("gradient", "frame"))  # type: ignore[arg-type]
    assert not by_gradient.unmoved.any()
    delta, border = old.shape(name).delta, by_gradient.source_skin.polygons.border_vertices
    added = np.linalg.norm(by_gradient.carry(delta) - by_frame.carry(delta), axis=1)[by_gradient.skin]
    assert added[~border].max() > 0.01
    assert added[border].max() < 0.05 * added[~border].max()
