"""Random pulls on a library, judged from outside: how far the point came, and what happened to the rest of the face.

The judge knows poses alone. It measures the pose of the recipe before and after. How far the point could have come is a
search over all triples of the strongest new cells, beside the recipe's own, within the bounds of weights and the limits
of a pull: nothing moves further elsewhere than 1.5 times the point, beyond what the same shapes do alone; no face turns
over that none of the shapes turns alone; no seam strains much more than the shapes themselves do.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from composer.edits.spots import RADII_MM
from composer.geometry.vectors import cosine, cross, lengths
from composer.head.places import SurfacePoint
from composer.head.spots import spot_on
from composer.mixing.linear import Mixer
from composer.mixing.match_bounded import Quadratic, bounded
from composer.mixing.pull.candidates import LEAST_MASK
from composer.mixing.pull.pull import Pull
from composer.mixing.recipe import ALL, REMAINDER, Cell, CellKey, Recipe
from composer.mixing.seamless import seamless_displacement
from composer.mixing.seamless_cache import SeamlessJoins

Floats = NDArray[np.float64]
FURTHER = 1.5
"""How many times further than the point a place may move elsewhere."""
STRONGEST = 15
"""New cells among which all triples are searched."""
RISE = 0.35
"""How much the strain of a seam may rise beyond that of the shapes, at the 99th percentile."""
SHORTER, LEAST_MM = 0.8, 0.1
"""A step of the search that breaks a limit is shortened by the factor; a point that moves less than so many mm has no
ratio."""
SHORT = 0.2
"""Where the best is under this fraction of the pull, the place can hardly be moved that way, and the ghost says so."""


@dataclass(frozen=True)
class Figures:
    """One pull: `asked`, `got` and `best` mm along it; `further`, the largest movement elsewhere over the point's
    beyond what shapes alone do; `turned` faces; `new` cells; `strain`, the rise of a seam's
    strain (99th percentile)."""

    asked: float
    got: float
    best: float
    further: float
    turned: int
    new: int
    strain: float

    @property
    def share(self) -> float:
        """What the pull reached of the best, at most 1; 1 where the best is less than SHORT of the pull."""
        return 1.0 if self.best < SHORT * self.asked else min(self.got / self.best, 1.0)


class Judge:
    """One library and the poses of its recipes."""

    def __init__(self, mixer: Mixer) -> None:
        self.mixer, self.joins = mixer, SeamlessJoins(mixer.head)
        head = mixer.head
        polygons = head.polygons
        skin = np.logical_and.reduceat(head.skin[polygons.indices], polygons.starts[:-1])[polygons.triangle_face]
        self.triangles = polygons.triangles[skin]
        self.face = np.unique(polygons.triangle_face[skin], return_inverse=True)[1].reshape(-1)
        self._turned: tuple[Floats | None, NDArray[np.bool_]] = (None, np.zeros(0, dtype=bool))
        self.rest = self._faces(head.neutral)
        edges = polygons.edges
        self.edges = edges[head.skin[edges].all(axis=1) & (head.surface.edge_lengths > 1e-6)]

    def pose(self, recipe: Recipe, spots: Mapping[str, NDArray] | None = None) -> Floats:
        """(n, 3) mm, the pose of a recipe by its own join."""
        mixer = self.mixer.with_masks(spots or {})
        if recipe.join == "linear":
            return mixer.head.neutral + mixer.displacement(recipe)
        join = self.joins.of({r: mixer.given[r] for r in recipe.regions if r not in (ALL, *(spots or {}))}, recipe.halo)
        return mixer.head.neutral + seamless_displacement(mixer, join, recipe)

    def turned(self, pose: Floats) -> NDArray[np.bool_]:
        """(f,) faces of the skin that are turned over."""
        return cosine(self.rest, self._faces(pose)) < 0.0

    def _faces(self, pose: Floats) -> Floats:
        """(f, 3) twice the vector areas of the skin's faces."""
        return _summed(self.face, _normals(pose, self.triangles), int(self.face.max(initial=-1)) + 1)

    def shares(self, recipe: Recipe, spots: Mapping[str, NDArray] | None = None) -> list[NDArray]:
        """(n,) the share of each row that a recipe uses."""
        return list(self.mixer.with_masks(spots or {}).shares(recipe).values())

    def alone(self, recipe: Recipe) -> list[Floats]:
        """(n, 3) mm, what each shape of a recipe moves alone and everywhere at its weight."""
        cells = {(c.shape, c.weight, c.mirrored): c for c in recipe.cells if c.weight != 0.0}
        return [recipe.strength * self.mixer.motion(c).at(c.weight) for c in cells.values()]

    def freely(self, recipe: Recipe, change: Mapping[CellKey, float]) -> list[Floats]:
        """(n, 3) mm, what changes of weight do unmasked: all together, and each by itself."""
        known = {c.key: c.weight for c in recipe.cells}
        each = []
        for key, y in change.items():
            if y != 0.0:
                move, at = self.mixer.motion(Cell(*key[:2], 1.0, key[2])), known.get(key, 0.0)
                each.append(recipe.strength * (move.at(at + y) - move.at(at)))
        return [np.sum(each, axis=0), *each] if each else []

    def newly_turned(self, before: Floats, moved: Floats, alone: Sequence[Floats]) -> int:
        """Faces that a movement (n, 3) mm of the pose `before` turns over, and neither that pose nor a shape alone."""
        if self._turned[0] is not before:
            self._turned = (before, self.turned(before))
        over = np.flatnonzero(self.turned(before + moved) & ~self._turned[1])
        if not len(over):
            return 0
        some = np.isin(self.face, over)
        triangles, face = self.triangles[some], np.searchsorted(over, self.face[some])
        kept = np.ones(len(over), dtype=bool)
        for shape in alone:
            normals = _summed(face, _normals(self.mixer.head.neutral + shape, triangles), len(over))
            kept &= cosine(self.rest[over], normals) >= 0.0
        return int(kept.sum())

    def further(self, moved: Floats, point: Floats, freely: Sequence[Floats]) -> float:
        """The largest of |moved| over |point|; places where the same changes of weight do as much unmasked (`freely`,
        (n, 3) mm each) count as FURTHER at most."""
        reach, size = float(np.linalg.norm(point)), lengths(moved)
        if reach < LEAST_MM:
            return 1.0
        beyond = np.flatnonzero(size > FURTHER * reach)
        if not len(beyond):
            return float(size.max() / reach)
        allowed = np.max([FURTHER * reach * np.ones(len(beyond)), *(lengths(f[beyond]) for f in freely)], axis=0)
        return float((size[beyond] / allowed).max() * FURTHER)

    def strain(
        self, before: Floats, moved: Floats, reach: float, alone: Sequence[Floats], after: Sequence[Floats],
        shares: Sequence[NDArray],
    ) -> float:  # fmt: skip
        """The 99th percentile, over edges of seams that move by more than a twentieth of `reach` mm, of the rise of
        strain beyond that of the shapes: `alone` (n, 3) before, `after` after the movement."""
        a, b = self.edges.T
        size = lengths(moved)
        on = np.logical_or.reduce([np.abs(share[b] - share[a]) > 1e-3 for share in shares])
        on &= np.maximum(size[a], size[b]) > 0.05 * max(reach, 0.1)
        if not on.any():
            return 0.0
        a, b, neutral = a[on], b[on], self.mixer.head.neutral
        long = lengths(neutral[b] - neutral[a])

        def beyond(pose: Floats, shapes: Sequence[Floats]) -> Floats:
            stretch = [lengths((neutral[b] + s[b]) - (neutral[a] + s[a])) / long for s in shapes]
            top, bottom = np.max([np.ones(len(a)), *stretch], axis=0), np.min([np.ones(len(a)), *stretch], axis=0)
            now = lengths(pose[b] - pose[a]) / long
            return np.maximum(np.maximum(now / top, bottom / np.maximum(now, 1e-3)) - 1.0, 0.0)

        return float(np.quantile(beyond(before + moved, after) - beyond(before, alone), 0.99))


def pulls(mixer: Mixer, axes: NDArray, pixel_mm: float, count: int, seed: int) -> Iterator[tuple[SurfacePoint, Floats]]:
    """`count` random places of the skin, even by area, that face the view, lie in regions and move at all; each with a
    pull (3,) mm of 5 to 30 pixels across the view."""
    head = mixer.head
    rng = np.random.default_rng(seed)
    facing = head.surface.vertex_normals @ axes[2] > 0.35
    masks = sum(mask for name, mask in mixer.masks.items() if name != REMAINDER)
    moves = np.max([lengths(s.delta) for s in head.shapes], axis=0) > 0.3
    flags = facing & head.skin & (np.asarray(masks) > 0.5) & moves
    triangles = head.polygons.triangles
    triangles = triangles[flags[triangles].all(axis=1)]
    area = lengths(_normals(head.neutral, triangles))
    for _ in range(count):
        a, b, c = (int(v) for v in triangles[rng.choice(len(triangles), p=area / area.sum())])
        u, v = rng.random(2)
        u, v = (1 - u, 1 - v) if u + v > 1 else (u, v)
        turn, long = rng.uniform(0, 2 * np.pi), pixel_mm * rng.uniform(5.0, 30.0)
        way = long * (np.cos(turn) * axes[0] + np.sin(turn) * axes[1])
        yield SurfacePoint((a, b, c), (1 - u - v, float(u), float(v))), way


def spots_about(mixer: Mixer, place: SurfacePoint) -> dict[str, NDArray]:
    """The spots that a pull may use at a place, by name."""
    return {f"spot_{r:g}": spot_on(mixer.head, place, r, max(RADII_MM)) for r in RADII_MM}


def judged(
    judge: Judge, recipe: Recipe, place: SurfacePoint, way: Floats, axes: NDArray, least: float | None = None
) -> Figures:  # fmt: skip
    """One pull of `place` by `way` (3,) mm, done and judged. With `least`, the best is only looked for as far as it
    would put the pull's share below this: where no triple does, `best` is what it may be at most."""
    spots = spots_about(judge.mixer, place)
    pull = Pull(judge.mixer, recipe, place, axes, shapes=usable(judge.mixer), spots=spots, joins=judge.joins)
    asked = float(np.linalg.norm(way))
    before = judge.pose(recipe)
    corners, bary = np.array(place.triangle), np.array(place.bary)
    done = pull.to(bary @ before[corners] + way).recipe
    used = {name: spots[name] for name in spots if name in done.regions}
    moved = judge.pose(done, used) - before
    point = bary @ moved[corners]
    above = 0.0 if least is None else max(float(way @ point) / asked, 0.0) / least
    best = best_of_three(judge, recipe, place, way, axes, above)
    known = {cell.key: cell.weight for cell in recipe.cells}
    change = {cell.key: cell.weight - known.get(cell.key, 0.0) for cell in done.cells}
    return Figures(
        asked, float(way @ point) / asked, best, judge.further(moved, point, judge.freely(recipe, change)),
        judge.newly_turned(before, moved, judge.alone(done)),
        sum(key not in known and y != 0.0 for key, y in change.items()),
        judge.strain(before, moved, float(np.linalg.norm(point)), judge.alone(recipe), judge.alone(done),
                     judge.shares(done, used)),
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Cells:
    """Cells of the search: their `keys`, own ones first, `start` weights, and what a unit of weight moves, mm: `u`
    (k, n, 3) in the pose, `free` (k, n, 3) unmasked."""

    keys: list[CellKey]
    own: int
    start: Floats
    u: Floats
    free: Floats


def best_of_three(
    judge: Judge, recipe: Recipe, place: SurfacePoint, way: Floats, axes: NDArray, above: float = 0.0
) -> float:  # fmt: skip
    """The furthest, in mm along `way` (3,), that the recipe's own cells and three of the STRONGEST new ones bring the
    point within the bounds and the limits; `above` where none comes further than that.

    Every triple is solved for the point alone, in the view's plane, and the step is shortened until it keeps the
    limits. These are judged on poses taken as linear in weights, what a step gives on the pose itself."""
    if above >= (asked := float(np.linalg.norm(way))):
        return asked
    corners, bary = np.array(place.triangle), np.array(place.bary)
    cells = _cells(judge, recipe, corners, bary, axes)
    plane = np.einsum("ij,kj->ik", axes[:2], np.einsum("c,kcj->kj", bary, cells.u[:, corners]))
    wanted = axes[:2] @ way
    low, high = np.minimum(-cells.start, 0.0), np.maximum(1.0 - cells.start, 0.0)
    own, fresh = list(range(cells.own)), range(cells.own, len(cells.keys))
    tried: list[tuple[float, list[int], Floats]] = []
    for triple in combinations(fresh, min(3, len(fresh))):
        on = [*own, *triple]
        rows = plane[:, on]
        gram = rows.T @ rows + 1e-6 * np.eye(len(on))
        problem = Quadratic(lambda y: gram @ y, lambda f, g: np.linalg.solve(gram[np.ix_(f, f)], g),  # noqa: B023
                            rows.T @ wanted)  # fmt: skip
        change = bounded(problem, low[on], high[on], np.zeros(len(on)))
        tried.append((float(wanted @ rows @ change) / asked, on, change))
    tried.sort(key=lambda one: -one[0])
    before, best = judge.pose(recipe), above
    alone = judge.alone(recipe)
    for reach, on, change in tried:
        if min(reach, asked) <= 1.01 * best:
            break
        moved, free = np.tensordot(change, cells.u[on], 1), np.tensordot(change, cells.free[on], 1)
        reached = float(np.linalg.norm(bary @ moved[corners]))
        if judge.further(moved, bary @ moved[corners], [free, *(change[:, None, None] * cells.free[on])]) > FURTHER:
            continue
        names = [cells.keys[i][0] for i in on]
        shares = judge.shares(recipe.with_(rows={**recipe.rows, **{r: recipe.row(r) for r in names}}))
        share = min(1.0, asked / max(reach, 1e-9))
        while share * reach > 1.01 * best:
            after = [*alone, *((cells.start[i] + share * y) * cells.free[i] for i, y in zip(on, change, strict=True))]
            strain = judge.strain(before, share * moved, share * reached, alone, after, shares)
            if strain <= RISE and not judge.newly_turned(before, share * moved, after):
                exact = judge.pose(_with_change(recipe, cells, on, share * change, names)) - before
                best = max(best, float(way @ (bary @ exact[corners])) / asked)
                break
            share *= SHORTER
    return min(best, asked)


def _with_change(recipe: Recipe, cells: _Cells, on: Sequence[int], change: Floats, names: Sequence[str]) -> Recipe:
    """The recipe with the weights of the cells `on` changed, and a row for each of the regions `names`."""
    known = {cell.key: cell for cell in recipe.cells}
    for i, y in zip(on, change, strict=True):
        key = cells.keys[i]
        known[key] = Cell(key[0], key[1], float(np.clip(cells.start[i] + y, -1.0, 2.0)), key[2])
    rows = {**recipe.rows, **{r: recipe.row(r) for r in names}}
    return recipe.with_(cells=tuple(known.values()), rows=rows)


def _cells(judge: Judge, recipe: Recipe, corners: NDArray, bary: Floats, axes: NDArray) -> _Cells:
    """The recipe's own cells that move the place, and the new ones that move it most."""
    mixer = judge.mixer
    at_point = lambda field: bary @ np.asarray(field[corners], dtype=np.float64)  # noqa: E731
    regions = [ALL, *(r for r, m in mixer.masks.items() if r != REMAINDER and float(at_point(m)) > LEAST_MASK)]
    whole = recipe.with_(rows={**recipe.rows, **{r: recipe.row(r) for r in regions}})
    share = mixer.shares(whole)
    known = {cell.key: cell.weight for cell in recipe.cells}
    moving = {s: at_point(mixer.head.shape(s).delta) for s in usable(mixer)}
    size = {(r, s, False): float(at_point(share[r])) * np.linalg.norm(axes[:2] @ moving[s])
            for r in regions for s in moving}  # fmt: skip
    own = [key for key in known if key[1] in moving and np.linalg.norm(moving[key[1]]) > 0.05
           and float(at_point(share[key[0]])) > 1e-3]  # fmt: skip
    new = sorted((key for key in size if key not in known and size[key] > 0.05), key=lambda key: -size[key])[:STRONGEST]
    keys, before = [*own, *new], judge.pose(whole)
    u, free = [], []
    for key in keys:
        at = known.get(key, 0.0)
        step = 0.5 if at <= 0.5 else -0.5
        cells = {c.key: c for c in recipe.cells} | {key: Cell(key[0], key[1], at + step, key[2])}
        u.append((judge.pose(whole.with_(cells=tuple(cells.values()))) - before) / step)
        move = mixer.motion(Cell(*key[:2], 1.0, key[2]))
        free.append(recipe.strength * (move.at(at + step) - move.at(at)) / step)
    shape = (len(keys), mixer.head.n_vertices, 3)
    start = np.array([known.get(key, 0.0) for key in keys])
    return _Cells(keys, len(own), start, np.array(u).reshape(shape), np.array(free).reshape(shape))


def usable(mixer: Mixer) -> list[str]:
    """The shapes that a pull may give weights to."""
    return [one.name for one in mixer.head.expressions if one.name not in mixer.correctives.names]


def _normals(places: NDArray, triangles: NDArray) -> Floats:
    a, b, c = (np.take(places, triangles[:, i], axis=0) for i in range(3))
    return cross(b - a, c - a)


def _summed(face: NDArray, normals: Floats, count: int) -> Floats:
    """(count, 3) the normals (t, 3) of triangles summed by their faces (t,)."""
    return np.stack([np.bincount(face, along, count) for along in normals.T], axis=1)
