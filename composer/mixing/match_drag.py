"""Direct manipulation: points of the face are pulled, and the weights follow by as little as they can.

Of all weights that bring the points to where they are wanted, those nearest to the weights before: min |p(x) - want|^2
+ stay |x - x_0|^2 (Lewis and Anjyo 2010, "Direct manipulation blendshapes"), within bounds. A few points see the
hundreds of cells through a few numbers, so that a step costs a system as small as three times the points (the
matrix inversion lemma). Where shapes turn, pass through in-betweens or bring correctives in, p is followed by a few
Gauss-Newton steps, each halved where it comes no nearer.

Begin every move of one drag from the recipe as it was when the point was taken: then the same place of the pointer
gives the same weights, whichever way it came.
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
"""How much a change of weights counts, of how much the points move by them: the points arrive within about a hundredth
of a percent of the way where the cells can take them there."""
ROUNDS, ARRIVED = 8, 1e-3
"""Places looked at for cells that do not go straight, at most, and of the way to go, what may be left."""
STEP = 1e-4
"""Half the difference of weights from which the movement of a shape that does not go straight is told."""


OnFace = int | SurfacePoint
"""A point of the face: a vertex, or a place on a triangle."""


class Drag:
    """Points of one head under pull; `regions` x `shapes` are the cells that may follow."""

    def __init__(
        self, mixer: Mixer, regions: Sequence[str], shapes: Sequence[str], places: Sequence[OnFace]
    ) -> None:
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
        """The weights of the cells that may follow, by key, for points wanted at `to` (p, 3) mm; `locked` ones and
        those of other cells stay as `recipe` has them. Raises MoueError where `to` is no place.
        """
        to = np.asarray(to, dtype=np.float64)
        if to.shape != (len(self._means), 3) or not np.isfinite(to).all():
            raise MoueError(f"{len(self._means)} points were taken, and are wanted at places that are none")
        bounds = bounds or Bounds()
        held = {cell.key: cell.weight for cell in recipe.cells}
        share, fixed = self._shares(recipe), set(locked)
        felt = {region for region in self.regions if share[region].any()}
        free = [key for key in self.keys if key[0] in felt and key not in fixed]
        if recipe.strength == 0.0 or not free:
            return {key: held.get(key, 0.0) for key in self.keys}
        begin = np.array([held.get(key, 0.0) for key in free])
        x, best, nearest, arrived = begin, begin, np.inf, 0.0
        for left in range(ROUNDS if self._bends(free) else 1, -1, -1):
            now = {**held, **dict(zip(free, x.tolist(), strict=True))}
            away = (to - self._points(now, share, recipe)).ravel()
            far = float(np.linalg.norm(away))
            arrived = arrived or ARRIVED * far
            if far >= nearest:
                x = 0.5 * (best + x)
                continue
            best, nearest = x, far
            if not left or far <= arrived:
                break
            rows = self._rows(free, x, now, share, recipe)
            x = _nearest(rows, away + rows @ (x - begin), begin, bounds)
        found = dict(zip(free, best.tolist(), strict=True))
        return {key: found.get(key, held.get(key, 0.0)) for key in self.keys}

    def _shares(self, recipe: Recipe) -> dict[str, Floats]:
        """(v,) the share of every row at the points' vertices."""
        rows = {**recipe.rows, **{region: recipe.row(region) for region in self.regions}}
        return shares(self._masks, recipe.with_(rows=rows), len(self._at))

    def _points(self, weights: dict[CellKey, float], share: dict[str, Floats], recipe: Recipe) -> Floats:
        """(p, 3) mm, where the points are at some weights."""
        total = np.zeros((len(self._at), 3))
        for (region, shape, mirrored), weight in weights.items():
            if weight != 0.0:
                fields, amounts = self._field(shape, mirrored)
                for amount, field in zip(amounts(weight), fields, strict=True):
                    total += amount * share[region][:, None] * field
        total += self._correction(weights, recipe)
        return self._means @ (self.mixer.head.neutral[self._at] + recipe.strength * total)

    def _correction(self, weights: dict[CellKey, float], recipe: Recipe) -> Floats:
        """(v, 3) mm, what correctives bring to the points' vertices at some weights, before the strength."""
        total = np.zeros((len(self._at), 3))
        amounts = self.mixer.correctives.amounts(lambda key: weights.get(key, 0.0) * recipe.row(key[0]).amount)
        for name, amount in amounts.items():
            total += amount * self.mixer.head.shape(name).delta[self._at].astype(np.float64)
        return total

    def _rows(
        self, keys: Sequence[CellKey], x: Floats, weights: dict[CellKey, float], share: dict[str, Floats],
        recipe: Recipe,
    ) -> Floats:  # fmt: skip
        """(3 p, k) mm, how the points move by each weight, at weights `x` (k,) of the cells that may follow and
        `weights` of all."""
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
        """(v, 3) mm, how a shape's displacement changes with its weight; the mean of both sides at a kink."""
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
            here = [np.asarray(field[self._at], dtype=np.float64) for field in move.fields]
            self._fields[name] = (here, move.amounts)
        return self._fields[name]

    def _bends(self, keys: Sequence[CellKey]) -> bool:
        """Whether the points do not go straight with the weights."""
        straight = all(len(self._field(shape, False)[0]) == 1 for shape in {key[1] for key in keys})
        return not straight or bool(self.mixer.correctives.names)


def _nearest(rows: Floats, away: Floats, begin: Floats, bounds: Bounds) -> Floats:
    """(k,) the weights in bounds that bring |rows (x - begin) - away|^2 and their change to the least.

    A weight that is out of bounds already may stay where it is.
    """
    seen = rows @ rows.T
    stay = STAY * (float(np.trace(seen)) / len(seen) if len(seen) else 0.0)
    if stay <= 0.0:
        return begin

    def newton(free: NDArray[np.intp], g: Floats) -> Floats:
        own = rows[:, free]
        small = own @ own.T
        small[np.diag_indices(len(small))] += stay
        return (g - own.T @ np.linalg.solve(small, own @ g)) / stay

    problem = Quadratic(lambda y: rows.T @ (rows @ y) + stay * y, newton, rows.T @ away)
    low, high = np.minimum(bounds.low - begin, 0.0), np.maximum(bounds.high - begin, 0.0)
    found = begin + bounded(problem, low, high, np.zeros(len(begin)))
    return np.clip(found, np.minimum(bounds.low, begin), np.maximum(bounds.high, begin))


def _corners(place: OnFace) -> tuple[list[int], list[float]]:
    if isinstance(place, SurfacePoint):
        return [int(v) for v in place.triangle], [float(b) for b in place.bary]
    return [int(place)], [1.0]

