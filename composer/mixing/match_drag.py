"""Direct manipulation: points of the face are dragged, and the weights follow with the least change.

Of all weights that bring the points to their goals, the solution is nearest to the weights before the drag: it
minimises |p(x) - goal|^2 + stay |x - x_0|^2 (Lewis and Anjyo 2010, "Direct manipulation blendshapes") within bounds. By
the matrix inversion lemma a step solves a system of only three rows a point, for any number of cells. Where shapes
have hinges, in-betweens or correctives, p is not linear: a few Gauss-Newton steps follow, each halved until it comes
nearer.

Start every move of one drag from the recipe at the time the point was grabbed. Then the same position of the pointer
gives the same weights, by any path.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.head.places import SurfacePoint
from composer.mixing.linear import Mixer
from composer.mixing.match import Bounds
from composer.mixing.match_bounded import Floats, Quadratic, bounded
from composer.mixing.recipe import ALL, Cell, CellKey, Recipe
from composer.mixing.shares import shares

STAY = 1e-4
"""The penalty on changes of weight, as a fraction of the mean squared movement of the points by the weights. Points
that the cells can reach stop short by about 0.01 percent of the way. A design choice, no source.
"""
ROUNDS, ARRIVED = 8, 1e-3
"""For motions that are not linear: the most Gauss-Newton rounds, and the fraction of the way at which they end. A
design choice, no source.
"""
STEP = 1e-4
"""Half the weight difference of the central difference that gives a shape's speed. A design choice, no source."""


OnFace = int | SurfacePoint
"""A point of the face: a vertex, or a place on a triangle."""


class Drag:
    """Dragged points of one head; the cells `regions` x `shapes` may change."""

    def __init__(self, mixer: Mixer, regions: Sequence[str], shapes: Sequence[str], places: Sequence[OnFace]) -> None:
        """Raises MoueError for an unknown region or shape, or a place that is not on the head."""
        self.mixer, self.regions, self.shapes = mixer, list(regions), list(shapes)
        corners = [_corners(place) for place in places]
        self._at = np.array(sorted({v for vertices, _ in corners for v in vertices}), dtype=np.int64)
        if len(self._at) and not 0 <= self._at[0] <= self._at[-1] < mixer.head.n_vertices:
            raise MoueError(f"vertex {int(self._at[-1])} is not on this head of {mixer.head.n_vertices}")
        self._means = np.zeros((len(places), len(self._at)))
        for row, (vertices, weights) in zip(self._means, corners, strict=True):
            row[np.searchsorted(self._at, vertices)] += weights
        self._masks = {name: mask[self._at] for name, mask in mixer.masks.items()}
        self._fields: dict[str, tuple[list[Floats], Callable[[float], Sequence[float]]]] = {}
        self.keys: list[CellKey] = [(region, shape, False) for region in self.regions for shape in self.shapes]

    def weights(
        self, recipe: Recipe, to: NDArray, locked: Collection[CellKey] = (), bounds: Bounds | None = None
    ) -> dict[CellKey, float]:
        """The weights by cell that bring the points to their goals `to` (p, 3) mm. `locked` cells and those outside
        `regions` x `shapes` keep their weights in `recipe`. Raises MoueError where `to` has another shape or is not
        finite.
        """
        to = np.asarray(to, dtype=np.float64)
        if to.shape != (len(self._means), 3) or not np.isfinite(to).all():
            raise MoueError(f"{len(self._means)} points are dragged; each needs a goal of three finite numbers")
        bounds = bounds or Bounds()
        held = {cell.key: cell.weight for cell in recipe.cells}
        share, fixed = self._shares(recipe), set(locked)
        felt = {region for region in self.regions if share[region].any()}
        free = [key for key in self.keys if key[0] in felt and key not in fixed]
        if recipe.strength == 0.0 or not free:
            return {key: held.get(key, 0.0) for key in self.keys}
        begin = np.array([held.get(key, 0.0) for key in free])
        x, best, nearest, arrived = begin, begin, np.inf, 0.0
        for rounds_left in range(ROUNDS if self._bends(free) else 1, -1, -1):
            now = {**held, **dict(zip(free, x.tolist(), strict=True))}
            away = (to - self._points(now, share, recipe)).ravel()
            far = float(np.linalg.norm(away))
            arrived = arrived or ARRIVED * far
            if far >= nearest:
                x = 0.5 * (best + x)
                continue
            best, nearest = x, far
            if not rounds_left or far <= arrived:
                break
            rows = self._rows(free, x, now, share, recipe)
            x = _nearest(rows, away + rows @ (x - begin), begin, bounds)
        solved = dict(zip(free, best.tolist(), strict=True))
        return {key: solved.get(key, held.get(key, 0.0)) for key in self.keys}

    def _shares(self, recipe: Recipe) -> dict[str, Floats]:
        """(v,) the share of every row at the points' vertices."""
        rows = {**recipe.rows, **{region: recipe.row(region) for region in self.regions}}
        return shares(self._masks, recipe.with_(rows=rows), len(self._at))

    def _points(self, weights: dict[CellKey, float], share: dict[str, Floats], recipe: Recipe) -> Floats:
        """(p, 3) mm, the positions of the points at some weights."""
        total = np.zeros((len(self._at), 3))
        for (region, shape, mirrored), weight in weights.items():
            if weight != 0.0:
                fields, amounts = self._field(shape, mirrored)
                for amount, field in zip(amounts(weight), fields, strict=True):
                    total += amount * share[region][:, None] * field
        total += self._correction(weights, recipe)
        return self._means @ (self.mixer.head.neutral[self._at] + recipe.strength * total)

    def _correction(self, weights: dict[CellKey, float], recipe: Recipe) -> Floats:
        """(v, 3) mm, the sum of active correctives at the points' vertices, before the strength."""
        total = np.zeros((len(self._at), 3))
        amounts = self.mixer.correctives.amounts(lambda key: weights.get(key, 0.0) * recipe.row(key[0]).amount)
        for name, amount in amounts.items():
            total += amount * self.mixer.head.shape(name).delta[self._at].astype(np.float64)
        return total

    def _rows(
        self, keys: Sequence[CellKey], x: Floats, weights: dict[CellKey, float], share: dict[str, Floats],
        recipe: Recipe,
    ) -> Floats:  # fmt: skip
        """(3 p, k) mm, the derivative of the points by each weight, at weights `x` (k,) of the cells `keys` and
        `weights` of all cells."""
        rows = np.empty((len(self._means), 3, len(keys)))
        along = {region: self._means * share[region] for region in {key[0] for key in keys}}
        moves = {shape: self._speed(shape, 0.0) for shape in {key[1] for key in keys}}
        for i, (region, shape, _) in enumerate(keys):
            rows[:, :, i] = along[region] @ (moves[shape] if x[i] == 0.0 else self._speed(shape, float(x[i])))
            if self.mixer.correctives.triggered_by(keys[i]):
                low, high = (self._correction({**weights, keys[i]: x[i] + way * STEP}, recipe) for way in (-1, 1))
                rows[:, :, i] += self._means @ (high - low) / (2.0 * STEP)
        return recipe.strength * rows.reshape(-1, len(keys))

    def _speed(self, shape: str, weight: float) -> Floats:
        """(v, 3) mm, the derivative of a shape's displacement by its weight; at a kink the mean of both sides."""
        fields, amounts = self._field(shape, False)
        if len(fields) == 1:
            return fields[0]
        total = np.zeros((len(self._at), 3))
        for field, low, high in zip(fields, amounts(weight - STEP), amounts(weight + STEP), strict=True):
            total += (high - low) / (2.0 * STEP) * field
        return total

    def _field(self, shape: str, mirrored: bool) -> tuple[list[Floats], Callable[[float], Sequence[float]]]:
        """The fields of a shape at the points' vertices, and their amounts by weight."""
        name = f"{shape}\n{mirrored}"
        if name not in self._fields:
            move = self.mixer.motion(Cell(ALL, shape, 1.0, mirrored))
            fields_at_points = [np.asarray(field[self._at], dtype=np.float64) for field in move.fields]
            self._fields[name] = (fields_at_points, move.amounts)
        return self._fields[name]

    def _bends(self, keys: Sequence[CellKey]) -> bool:
        """Whether the points are not linear in the weights."""
        straight = all(len(self._field(shape, False)[0]) == 1 for shape in {key[1] for key in keys})
        return not straight or bool(self.mixer.correctives.names)


def _nearest(rows: Floats, away: Floats, begin: Floats, bounds: Bounds) -> Floats:
    """(k,) the weights x in bounds that minimise |rows (x - begin) - away|^2 + stay |x - begin|^2.

    A weight that starts out of bounds may keep its value.
    """
    gram = rows @ rows.T
    stay = STAY * (float(np.trace(gram)) / len(gram) if len(gram) else 0.0)
    if stay <= 0.0:
        return begin

    def newton(free: NDArray[np.intp], g: Floats) -> Floats:
        free_rows = rows[:, free]
        small = free_rows @ free_rows.T
        small[np.diag_indices(len(small))] += stay
        return (g - free_rows.T @ np.linalg.solve(small, free_rows @ g)) / stay

    problem = Quadratic(lambda y: rows.T @ (rows @ y) + stay * y, newton, rows.T @ away)
    low, high = np.minimum(bounds.low - begin, 0.0), np.maximum(bounds.high - begin, 0.0)
    weights = begin + bounded(problem, low, high, np.zeros(len(begin)))
    return np.clip(weights, np.minimum(bounds.low, begin), np.maximum(bounds.high, begin))


def _corners(place: OnFace) -> tuple[list[int], list[float]]:
    if isinstance(place, SurfacePoint):
        return [int(v) for v in place.triangle], [float(b) for b in place.bary]
    return [int(place)], [1.0]
