"""The law of what stands on the skin: it moves as the skin under it, whatever the masks, the recipe and the join.

The reference is arithmetic of the corners alone: where a hair's root lies on a triangle, the skin is at the same share
of the corners' moved places (the definition of a point on a triangle).
"""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons
from composer.head.head import Head, InBetween, Part, Shape
from composer.head.places import SurfacePoint
from composer.mixing.active import LivePose
from composer.mixing.linear import Mixer
from composer.mixing.match import Columns
from composer.mixing.movers import movers
from composer.mixing.pull.pull import Pull
from composer.mixing.recipe import ALL, Cell, Recipe, Row
from tests.small_heads import grid
from tests.small_mixes import seamless_pose

seeds = st.integers(0, 2**32 - 1)
law = settings(deadline=None, max_examples=12)
SIDE, HAIRS, STEPS = 13, 20, 3
REGIONS = ["one", "two", "three"]


def hairy(rng: np.random.Generator, follows: float = 1.0) -> tuple[Head, NDArray[np.int32], NDArray[np.float64]]:
    """A bumpy sheet with hairs of STEPS vertices, the first in the skin, that turn with shapes, and where each stands:
    corners (h, 3) and weights (h, 3). What hairs do is `follows` of what the skin under them does."""
    x, y = np.meshgrid(np.linspace(-40, 40, SIDE), np.linspace(-40, 40, SIDE), indexing="ij")
    flat = np.stack([x.ravel(), y.ravel()], axis=1) + rng.uniform(-1, 1, size=(SIDE * SIDE, 2))
    skin = np.column_stack([flat, 2.0 * np.sin(flat @ rng.normal(size=2) / 15.0)])
    mesh = grid(SIDE, SIDE)
    chosen = rng.choice(len(mesh.triangles), HAIRS, replace=False)
    corners, bary = mesh.triangles[chosen], rng.dirichlet([3.0, 3.0, 3.0], HAIRS)
    root = np.einsum("hc,hcx->hx", bary, skin[corners])
    way = rng.normal(size=(HAIRS, 3)) + (0, 0, 4.0)
    hairs = root[:, None] + 3.0 * np.arange(STEPS)[:, None] * (way / np.linalg.norm(way, axis=1)[:, None])[:, None]
    n, own = len(skin), np.arange(HAIRS * STEPS).reshape(HAIRS, STEPS)
    faces = [mesh.face(f).tolist() for f in range(mesh.n_faces)] + (n + own).tolist()
    shapes = []
    for i in range(3):
        wave = np.sin(flat @ rng.normal(size=2) / 12.0 + rng.uniform(0, 6))
        moved = rng.normal(size=3) * 6.0 * wave[:, None] + rng.normal(size=3)
        under = follows * np.einsum("hc,hcx->hx", bary, moved[corners])
        turned = np.arange(STEPS)[:, None] * rng.normal(size=(HAIRS, 1, 3)) * (follows > 0)
        delta = np.concatenate([moved, (under[:, None] + turned).reshape(-1, 3)])
        shapes.append(Shape(f"shape_{i}", delta.astype(np.float64)))  # type: ignore[arg-type]
    polygons = Polygons.from_faces(faces, n + own.size)
    part = Part("hairs", (n + own.ravel()).astype(np.int32), "surface")
    head = Head("sheet", polygons, np.concatenate([skin, hairs.reshape(-1, 3)]), tuple(shapes), (part,))
    return head, corners, bary


def some(rng: np.random.Generator, head: Head) -> tuple[dict[str, NDArray[np.float64]], Recipe]:
    """Masks that differ from vertex to vertex, nonsense on the hairs, and a recipe of all rows."""
    masks = {name: np.where(rng.random(head.n_vertices) < 0.3, 0.0, rng.random(head.n_vertices)) for name in REGIONS}
    rows = {name: Row(str(rng.choice(["add", "replace"])), float(rng.random())) for name in REGIONS}  # type: ignore[arg-type]
    cells = [
        Cell(region, shape, float(rng.uniform(-1, 2)))
        for region in [ALL, *REGIONS] for shape in head.shape_names if rng.random() < 0.7
    ]  # fmt: skip
    return masks, Recipe("some", tuple(cells), strength=float(rng.uniform(0.2, 1.2)), rows=rows)


def off_the_skin(head: Head, pose: NDArray, corners: NDArray, bary: NDArray) -> float:
    """mm, how far the furthest root is from the place of the skin in which it stands."""
    roots = pose[head.parts[0].vertices.reshape(HAIRS, STEPS)[:, 0]]
    return float(np.abs(roots - np.einsum("hc,hcx->hx", bary, pose[corners])).max())


@law
@given(seeds)
def test_a_root_stays_in_its_place_of_the_skin(seed: int) -> None:
    rng = np.random.default_rng(seed)
    head, corners, bary = hairy(rng)
    masks, recipe = some(rng, head)
    mixer = Mixer(head, masks)
    assert off_the_skin(head, mixer.pose(recipe), corners, bary) < 1e-9 * head.diagonal
    live = LivePose(mixer, recipe.with_(cells=()))
    for cell in recipe.cells:
        live.set_weight(*cell.key[:2], cell.weight)
    np.testing.assert_allclose(live.positions, mixer.pose(recipe), atol=1e-5 * head.diagonal)


@law
@given(seeds)
def test_it_stays_there_where_regions_join_seamlessly(seed: int) -> None:
    rng = np.random.default_rng(seed)
    head, corners, bary = hairy(rng)
    masks, recipe = some(rng, head)
    others = tuple(cell for cell in recipe.cells if cell.key != ("one", "shape_0", False))
    recipe = recipe.with_(cells=(Cell("one", "shape_0", 1.0), *others), rows={})
    ways = rng.uniform(0, 2 * np.pi, size=len(masks))
    across = [head.neutral[:, :2] @ (np.cos(way), np.sin(way)) for way in ways]
    soft = {name: np.clip(0.5 + off / rng.uniform(10, 16), 0.0, 1.0) for name, off in zip(masks, across, strict=True)}
    mixer = Mixer(head, soft)
    pose = seamless_pose(mixer, recipe)
    assert off_the_skin(head, pose, corners, bary) < 1e-9 * head.diagonal
    assert np.abs(pose - mixer.pose(recipe))[head.skin].max() > 1e-3  # the join does something


@law
@given(seeds)
def test_tips_keep_what_they_do_beside_the_skin_and_hairs_left_behind_stay(seed: int) -> None:
    """Under a mask that is the same at a hair's corners all of its vertices move by mask times displacement, as the
    formula of a pose says; a hair that no shape moves stays bit for bit."""
    rng = np.random.default_rng(seed)
    head, corners, _ = hairy(rng)
    amount = float(rng.random())
    masks = {"one": np.full(head.n_vertices, amount)}
    cell = Recipe("r", (Cell("one", "shape_0", 1.0),))
    moved = Mixer(head, masks).displacement(cell)
    np.testing.assert_allclose(moved, amount * head.shape("shape_0").delta, atol=1e-12 * head.diagonal)
    still, _, _ = hairy(rng, follows=0.0)
    masks, recipe = some(rng, still)
    hairs = still.parts[0].vertices
    assert np.array_equal(Mixer(still, masks).pose(recipe)[hairs], still.neutral[hairs])


@law
@given(seeds)
def test_a_match_and_a_points_movers_know_it(seed: int) -> None:
    """match(mix(W)) = W, and movers sum to the displacement, hairs and all."""
    rng = np.random.default_rng(seed)
    head, _, _ = hairy(rng)
    masks, recipe = some(rng, head)
    mixer = Mixer(head, masks)
    adding = recipe.with_(rows={}, strength=1.0)
    columns = Columns(mixer, [ALL, *REGIONS], list(head.shape_names))
    weights = np.zeros(len(columns.keys))
    for each in adding.cells:
        weights[columns.index[each.key]] = each.weight
    moved = mixer.displacement(adding)
    np.testing.assert_allclose(columns.gram @ weights, columns.onto(moved), atol=1e-7 * head.diagonal**2)
    np.testing.assert_allclose(columns.displacement(weights), moved, atol=1e-9 * head.diagonal)
    at = rng.choice(head.parts[0].vertices, 3, replace=False)
    share = rng.dirichlet(np.ones(3))
    total = sum(each.by for each in movers(mixer, recipe, at, share))
    np.testing.assert_allclose(total, share @ mixer.displacement(recipe)[at], atol=1e-9 * head.diagonal)


@law
@given(seeds)
def test_a_hair_that_leans_on_the_skin_further_off_grows_where_its_root_is(seed: int) -> None:
    """A hair that every shape moves as one piece moves as one piece in every mix, though its tip touches other skin."""
    rng = np.random.default_rng(seed)
    head, _, _ = hairy(rng)
    hair = head.parts[0].vertices.reshape(HAIRS, STEPS)
    away = np.linalg.norm(head.neutral[head.skin][:, None] - head.neutral[hair[:, 0]], axis=2)
    leans = int(np.argmax(np.abs(away - 25.0).min(axis=0) < 2.0))
    touched = int(np.argmin(np.abs(away[:, leans] - 25.0)))
    neutral, own = head.neutral.copy(), hair[leans]
    neutral[own] = np.linspace(neutral[own[0]], neutral[head.skin][touched], STEPS)
    shapes = []
    for shape in head.shapes:
        delta = shape.delta.copy()
        delta[own] = delta[own[0]]
        shapes.append(Shape(shape.name, delta))
    head = head.with_(neutral=neutral, shapes=tuple(shapes))
    masks, recipe = some(rng, head)
    moved = Mixer(head, masks).displacement(recipe)
    np.testing.assert_allclose(moved[own], np.repeat(moved[own[:1]], STEPS, axis=0), atol=1e-9 * head.diagonal)


@settings(deadline=None, max_examples=6)
@given(seeds, st.booleans(), st.booleans())
def test_a_pull_on_a_hair_or_beside_it_tells_what_the_pose_does(seed: int, hair: bool, between: bool) -> None:
    """Where the point is told to go, and how each cell moves it for one unit of weight, are what poses say."""
    rng = np.random.default_rng(seed)
    head, corners, bary = hairy(rng)
    if between:
        bent = InBetween(0.5, (0.3 * head.shapes[0].delta).astype(head.shapes[0].delta.dtype))
        head = head.with_(shapes=(Shape("shape_0", head.shapes[0].delta, (bent,)), *head.shapes[1:]))
    masks, recipe = some(rng, head)
    weights = {cell.key: 0.5 * float(rng.random()) for cell in recipe.cells}
    recipe = recipe.with_(cells=tuple(Cell(*key[:2], weight) for key, weight in weights.items()), strength=1.0)
    mixer = Mixer(head, masks)
    tips = head.parts[0].vertices.reshape(HAIRS, STEPS)[0, 1:]
    at, share = (tips, np.array([0.2, 0.8])) if hair else (corners[0], bary[0])
    place = SurfacePoint(tuple(int(v) for v in (*at, at[0])[:3]), tuple(float(w) for w in (*share, 0.0)[:3]))
    pull = Pull(mixer, recipe, place, np.eye(3), shapes=head.shape_names)
    told = pull.to(pull.start + (6.0, 2.0, 0.0))
    moved = share @ (mixer.pose(told.recipe) - mixer.pose(recipe))[at]
    np.testing.assert_allclose(told.point - pull.start, moved, atol=2e-2)  # weights have four digits
    rows = recipe.rows | {key[0]: recipe.row(key[0]) for key in pull.given.keys}
    known = {cell.key: cell for cell in recipe.cells}
    for key, column in zip(pull.given.keys, pull.given.at_point.T, strict=True):
        if not (between and key[1] == "shape_0"):
            one, two = ({**known, key: Cell(*key[:2], weight)}.values() for weight in (0.0, 1.0))
            one, two = (mixer.displacement(recipe.with_(cells=tuple(cells), rows=rows)) for cells in (one, two))
            np.testing.assert_allclose(column, share @ (two - one)[at], atol=1e-5 * head.diagonal)
