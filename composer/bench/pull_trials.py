"""Random pulls on a library, judged from outside: how far the point came, and what happened to the rest of the face.

The judge knows poses alone. It measures the pose of the recipe before and after; what the point could have come is a
search over all triples of the strongest new cells, beside the recipe's own, with nothing but the bounds of weights and
the two limits: nothing moves further elsewhere than 1.5 times the point, beyond what the same shapes do alone, and no
face turns over that none of the shapes turns alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.vectors import cosine, lengths
from composer.head.places import SurfacePoint
from composer.head.spots import spot_on
from composer.mixing.linear import Mixer
from composer.mixing.match_bounded import Quadratic, bounded
from composer.mixing.pull.candidates import LEAST_MASK, slope
from composer.mixing.pull.pull import Pull
from composer.mixing.recipe import ALL, REMAINDER, Cell, CellKey, Recipe
from composer.mixing.seamless_cache import SeamlessJoins
from composer.mixing.seamless import seamless_displacement

Floats = NDArray[np.float64]
FURTHER = 1.5
"""How many times further than the point a place may move elsewhere."""
STRONGEST = 15
"""New cells among which all triples are searched."""
SPOTS_MM = (25.0, 40.0, 60.0, 90.0)
HALVES = 12
"""How often a step of the search is halved until it keeps the limits."""
SHORT = 0.2
"""Where the best is under this fraction of the pull, the place can hardly be moved that way, and the ghost says so."""


@dataclass(frozen=True)
class Figures:
    """One pull: `asked`, `got` and `best` mm along it; `further`, the largest movement elsewhere over the point's
    beyond what shapes alone do; `turned` faces; `new` cells."""

    asked: float
    got: float
    best: float
    further: float
    turned: int
    new: int

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
        self.rest = self._faces(head.neutral)

    def pose(self, recipe: Recipe, spots: Mapping[str, NDArray] | None = None) -> Floats:
        """(n, 3) mm, the pose of a recipe by its own join."""
        mixer = self.mixer.with_masks(spots or {})
        if recipe.join == "linear":
            return mixer.head.neutral + mixer.displacement(recipe)
        join = self.joins.of({r: mixer.given[r] for r in recipe.regions if r != ALL}, recipe.halo)
        return mixer.head.neutral + seamless_displacement(mixer, join, recipe)

    def turned(self, pose: Floats) -> NDArray[np.bool_]:
        """(f,) faces of the skin that are turned over."""
        return cosine(self.rest, self._faces(pose)) < 0.0

    def _faces(self, pose: Floats) -> Floats:
        """(f, 3) twice the vector areas of the skin's faces, summed over their triangles."""
        return np.stack([np.bincount(self.face, along) for along in _normals(pose, self.triangles).T], axis=1)

    def alone(self, recipe: Recipe) -> list[Floats]:
        """(n, 3) mm, what each shape of a recipe moves alone and everywhere at its weight."""
        return [
            self.mixer.motion(c).at(c.weight) * recipe.strength for c in {c.key[1:] + (c.weight,): c for c in recipe.cells}.values()
            if c.weight != 0.0
        ]  # fmt: skip

    def newly_turned(self, before: Floats, after: Floats, recipe: Recipe) -> int:
        """Faces that `after` turns over, and neither `before` nor a shape of `recipe` alone."""
        over = self.turned(after) & ~self.turned(before)
        for moved in self.alone(recipe) if over.any() else ():
            over &= ~self.turned(self.mixer.head.neutral + moved)
        return int(over.sum())

    def further(self, moved: Floats, point: Floats, before: Recipe, after: Recipe) -> float:
        """The largest of |moved| over |point|, at places that move further than the same changes of weight do it
        unmasked."""
        reach = float(np.linalg.norm(point))
        size = lengths(moved)
        if reach < 0.1:
            return 1.0
        beyond = np.flatnonzero(size > FURTHER * reach)
        if len(beyond):
            free = np.zeros((len(beyond), 3))
            known = {c.key: c.weight for c in before.cells}
            most = np.zeros(len(beyond))
            for cell in after.cells:
                change = self.mixer.motion(cell).at(cell.weight) - self.mixer.motion(cell).at(known.get(cell.key, 0.0))
                free += after.strength * change[beyond]
                np.maximum(most, lengths(after.strength * change[beyond]), out=most)
            allowed = np.maximum(np.maximum(lengths(free), most), FURTHER * reach)
            return float((size[beyond] / np.maximum(allowed, 1e-9)).max() * FURTHER)
        return float(size.max() / reach)


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
    return {f"spot_{r:g}": spot_on(mixer.head, place, r, max(SPOTS_MM)) for r in SPOTS_MM}


def judged(
    judge: Judge, recipe: Recipe, place: SurfacePoint, way: Floats, axes: NDArray, with_spots: bool = False
) -> Figures:
    """One pull of `place` by `way` (3,) mm, done and judged; `with_spots` lets the search use spots too."""
    mixer = judge.mixer
    spots = spots_about(mixer, place)
    pull = Pull(mixer, recipe, place, axes, shapes=_usable(mixer), spots=spots, joins=judge.joins)
    asked = float(np.linalg.norm(way))
    unit = way / asked
    before = judge.pose(recipe)
    corners, bary = np.array(place.triangle), np.array(place.bary)
    done = pull.to(bary @ before[corners] + way)
    after = judge.pose(done.recipe, {name: spots[name] for name in spots if name in done.recipe.regions})
    moved = after - before
    point = bary @ moved[corners]
    best = best_of_three(judge, recipe, place, way, axes, spots if with_spots else {})
    known = {cell.key for cell in recipe.cells}
    return Figures(
        asked, float(unit @ point), best, judge.further(moved, point, recipe, done.recipe),
        judge.newly_turned(before, after, done.recipe),
        sum(cell.key not in known and cell.weight != 0.0 for cell in done.recipe.cells),
    )  # fmt: skip


def best_of_three(
    judge: Judge, recipe: Recipe, place: SurfacePoint, way: Floats, axes: NDArray, spots: Mapping[str, NDArray]
) -> float:
    """The furthest, in mm along `way` (3,), that the recipe's own cells and three of the STRONGEST new ones bring the
    point, within the bounds and both limits. Every triple is solved for the point alone, in the view's plane; the step
    is then halved until it keeps the limits."""
    mixer = judge.mixer.with_masks(spots)
    corners, bary = np.array(place.triangle), np.array(place.bary)
    at_point = lambda field: bary @ np.asarray(field[corners], dtype=np.float64)  # noqa: E731
    asked = float(np.linalg.norm(way))
    unit = way / asked
    regions = [r for r, m in mixer.masks.items() if r != REMAINDER and float(at_point(m)) > LEAST_MASK]
    share = mixer.shares(recipe.with_(rows={**recipe.rows, **{r: recipe.row(r) for r in [ALL, *regions]}}))
    known = {cell.key: cell.weight for cell in recipe.cells}
    moving = [s for s in _usable(mixer) if np.linalg.norm(at_point(mixer.head.shape(s).delta)) > 0.05]

    def moves(key: CellKey) -> Floats:
        return recipe.strength * float(at_point(share[key[0]])) * at_point(slope(mixer, key, known.get(key, 0.0)))

    own = [key for key in known if key[1] in moving and key[0] in share and np.linalg.norm(moves(key)) > 1e-3]
    new = [(r, s, False) for r in [ALL, *regions] for s in moving if (r, s, False) not in known]
    new = sorted(new, key=lambda key: -np.linalg.norm(axes[:2] @ moves(key)))[:STRONGEST]
    plane = {key: axes[:2] @ moves(key) for key in [*own, *new]}
    tried: list[tuple[float, Sequence[CellKey], Floats]] = []
    for triple in combinations(new, min(3, len(new))):
        keys = [*own, *triple]
        rows = np.array([plane[key] for key in keys]).T
        start = np.array([known.get(key, 0.0) for key in keys])
        gram = rows.T @ rows + 1e-6 * np.eye(len(keys))
        problem = Quadratic(lambda y: gram @ y, lambda f, g: np.linalg.solve(gram[np.ix_(f, f)], g),  # noqa: B023
                            rows.T @ (axes[:2] @ way))  # fmt: skip
        change = bounded(problem, np.minimum(-start, 0.0), np.maximum(1.0 - start, 0.0), np.zeros(len(keys)))
        tried.append((float((axes[:2] @ unit) @ rows @ change), keys, change))
    tried.sort(key=lambda one: -one[0])
    before, best = judge.pose(recipe), 0.0
    linear = mixer.displacement(recipe)
    for reach, keys, change in tried:
        if min(reach, asked) <= best * 1.02:
            break
        best = max(best, _kept(judge, mixer, recipe, keys, change, known, before, linear, corners, bary, unit, best))
    return min(best, asked)


def _kept(
    judge: Judge, mixer: Mixer, recipe: Recipe, keys: Sequence[CellKey], change: Floats, known: Mapping[CellKey, float],
    before: Floats, linear: Floats, corners: NDArray, bary: NDArray, unit: Floats, best: float,
) -> float:  # fmt: skip
    """How far a change brings the point once it is shortened to keep both limits; 0 where it does not beat `best`."""
    share = 1.0
    for _ in range(HALVES):
        cells = {cell.key: cell for cell in recipe.cells}
        for key, y in zip(keys, change, strict=True):
            cells[key] = Cell(key[0], key[1], known.get(key, 0.0) + share * float(y), key[2])
        after = recipe.with_(cells=tuple(cells.values()))
        moved = mixer.displacement(after) - linear
        point = bary @ moved[corners]
        got = float(unit @ point)
        if got <= best:
            return 0.0
        if judge.further(moved, point, recipe, after) <= FURTHER:
            if not judge.newly_turned(before, before + moved, after):
                return got
            share *= 0.75
        else:
            return 0.0
    return 0.0


def _usable(mixer: Mixer) -> list[str]:
    return [name for name in mixer.head.shape_names if name not in mixer.correctives.names]


def _normals(places: NDArray, triangles: NDArray) -> Floats:
    a, b, c = (places[triangles[:, i]] for i in range(3))
    return np.cross(b - a, c - a)
