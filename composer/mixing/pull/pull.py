"""A point of the face is taken hold of and pulled; the weights of a few cells follow.

The weights are solved once for a direction, for a pull of FULL_MM, and then scaled along that ray: ratios stay, so that
nothing jumps while the pointer goes on in one direction, and a step costs a scaling and one look at the pose. The new
cells are those of the nearest of a few directions, so that weights also change smoothly where the pointer turns.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.head.places import SurfacePoint
from composer.mixing.linear import Mixer
from composer.mixing.live_join import JoinResponses, LiveJoin
from composer.mixing.pull.candidates import Held, candidates
from composer.mixing.pull.few_cells import Costs, Direction, few_cells
from composer.mixing.pull.movements import movements
from composer.mixing.pull.skin import pull_skin
from composer.mixing.pull.trust import Trust
from composer.mixing.recipe import ALL, CellKey, Recipe
from composer.mixing.seamless_cache import SeamlessJoins

Floats = NDArray[np.float64]
FULL_MM = 22.0
"""The pull that is solved for in each direction, mm: 30 pixels where a window shows the whole head. A design choice, no
source."""
SECTORS, FINE_DEG = 24, 3.0
"""Directions in which new cells are chosen, and the angle in degrees between two that are solved. Design choices, no
source."""
LADDER = ((Costs(), Costs(seam=10.0)), (Costs(elsewhere=0.1), Costs(elsewhere=0.1, seam=10.0)))
"""What is tried where the point does not arrive: cheaper movement elsewhere, for shapes that move much of the face, and
of each with stiffer seams where the skin does not hold for all of it. Design choices, no source."""
ARRIVED, AS_FAR = 0.95, 0.9
"""The point has arrived at the first fraction of FULL_MM; the first of LADDER is taken that brings it to the second
fraction of what any does. Design choices, no source."""
FURTHER = 1.3
"""Where the skin does not hold for the whole solution, one for this multiple of what was reached is tried: in it fewer
weights lie at their bounds. A design choice, no source."""
BACK = (1.0, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1)
"""How far a pull goes back where the skin does not hold at the place that it asks for. A design choice, no source."""
DIGITS, LEAST_WEIGHT = 4, 0.002
"""Digits of a weight after a pull, and the least change of a weight in the whole of a solution."""
LOW, HIGH = 0.0, 1.0
"""A pull keeps weights within these; one that lies outside may keep its value or come nearer."""


@dataclass(frozen=True, eq=False)
class Pulled:
    """What a pull gives: the `recipe`, where the `point` (3,) mm now is, how far it was pulled on the screen, how far
    it came along that way, mm, and whether it was `held_back` where the skin would not have held."""

    recipe: Recipe
    point: Floats
    asked_mm: float
    got_mm: float
    held_back: bool = False


@dataclass(frozen=True, eq=False)
class _Ray:
    """The change of weights (k,) for a direction to which the skin holds, how far it brings the point, mm, and whether
    that is the `whole` solution."""

    change: Floats
    got_mm: float
    whole: bool


@dataclass(frozen=True)
class _Plan:
    """How directions of one sector are solved: the new cells (the best for None), the costs, and the length in mm."""

    new: list[int] | None
    costs: Costs
    long_mm: float


class Pull:
    """One point of a pose, taken hold of."""

    def __init__(
        self, mixer: Mixer, recipe: Recipe, place: SurfacePoint, axes: NDArray,
        *, shapes: Iterable[str], spots: Mapping[str, NDArray] | None = None, unjoined: Collection[str] = (),
        locked: Callable[[CellKey], bool] = lambda key: False, joins: SeamlessJoins | None = None,
    ) -> None:  # fmt: skip
        """Take hold of `place` on the skin.

        `axes` (3, 3) are the view's right, up and back. `shapes` may get new cells in the regions at the place, in
        `all` and in `spots`, masks (n,) by the names of regions that the document does not have yet. `locked` cells
        stay. `joins` are needed for a recipe with the seamless join, which leaves the spots and the regions `unjoined`
        as they are; it gets no cells in regions that it does not use, as each would make another join of it.
        Raises MoueError for a place that is not on the head, and as `Mixer` for the recipe.
        """
        head = mixer.head
        corners = np.asarray(place.triangle, dtype=np.int64)
        if not (corners >= 0).all() or not (corners < head.n_vertices).all():
            raise MoueError(f"vertex {int(corners.max())} is not on this head of {head.n_vertices}")
        self.recipe, self.axes = recipe, np.asarray(axes, dtype=np.float64)
        self.point = Held(corners, np.asarray(place.bary, dtype=np.float64))
        mixer = mixer.with_masks(spots or {})
        apart = (ALL, *(spots or {}), *unjoined)
        live: LiveJoin | None = None
        if recipe.join == "seamless" and joins is not None:
            join = joins.of({name: mixer.given[name] for name in recipe.regions if name not in apart}, recipe.halo)
            live, asked = LiveJoin(mixer, join, recipe), locked
            locked = lambda key: asked(key) or not (key[0] in apart or key[0] in join.ramps)  # noqa: E731
        given = candidates(mixer, mixer.masks, recipe, self.point, shapes, spots or {}, locked)
        rows = {**recipe.rows, **{key[0]: recipe.row(key[0]) for key in given.keys}}
        shares = mixer.shares(recipe.with_(rows=rows))
        self.given = movements(mixer, pull_skin(head), shares, recipe.strength, given, self.point)
        joined = JoinResponses(mixer, live.join, shares) if live is not None else None
        self.trust = Trust(mixer, recipe, shares, self.given, joined, None if live is None else live.further)
        at = np.searchsorted(self.given.patch.vertices, corners)
        self._moved_there = self.trust.moved_at(at)
        self._low = np.minimum(LOW - self.given.start, 0.0)
        self._high = np.maximum(HIGH - self.given.start, 0.0)
        self._sectors: dict[int, tuple[_Ray, _Plan, list[_Ray]]] = {}
        self._rays: dict[tuple[int, int], _Ray] = {}
        self.start = np.asarray(self.point.bary @ self.trust.places[at])

    @property
    def moves(self) -> bool:
        """Whether any cell can move the point."""
        return bool(len(self.given.keys))

    def to(self, goal: NDArray) -> Pulled:
        """The recipe that brings the point as near to `goal` (3,) mm on the screen as is allowed. The same goal gives
        the same recipe, by any path."""
        way = np.asarray(goal, dtype=np.float64) - self.start
        right, up = (float(x) for x in self.axes[:2] @ way)
        asked = float(np.hypot(right, up))
        if asked < 1e-9 or not self.moves:
            return Pulled(self.recipe, self.start, asked, 0.0)
        turn_deg = float(np.degrees(np.arctan2(up, right)))
        ray = self._ray(turn_deg)
        unit = (right * self.axes[0] + up * self.axes[1]) / asked
        change, got, stopped = self._held(ray, unit, asked)
        if got < AS_FAR * min(asked, ray.got_mm):  # on the way along this ray there is a place that does not hold
            tried = self._sectors[self._sector(turn_deg)][2]
            others = [self._held(other, unit, asked) for other in tried]
            change, got, stopped = max([(change, got, stopped), *others], key=lambda each: each[1])
        moved = self._moves(change)
        return Pulled(self.trust.with_change(change, DIGITS), self.start + moved, asked, got, stopped)

    def _held(self, ray: _Ray, unit: Floats, asked: float) -> tuple[Floats, float, bool]:
        """The change of weights (k,) on a ray for a pull of `asked` mm along `unit` (3,), gone back to where the skin
        holds; how far it brings the point, mm, and whether it stops short for the skin."""
        wanted = self._share(ray, unit, asked)
        share = next((back * wanted for back in BACK if self.trust.holds(back * wanted * ray.change)), 0.0)
        change = share * ray.change
        return change, float(unit @ self._moves(change)), share < wanted or (wanted == 1.0 and not ray.whole)

    def _sector(self, turn_deg: float) -> int:
        """The number of the sector in which a direction lies."""
        return round(turn_deg * SECTORS / 360.0) % SECTORS

    def _share(self, ray: _Ray, unit: Floats, asked: float) -> float:
        """The fraction of a ray's change at which the point has come `asked` mm along `unit` (3,), at most 1."""
        if ray.got_mm <= asked:
            return 1.0
        low, high, share = 0.0, 1.0, asked / ray.got_mm
        for _ in range(6):
            got = float(unit @ self._moves(share * ray.change))
            if abs(got - asked) < 1e-3 * asked:
                break
            low, high = (share, high) if got < asked else (low, share)
            guess = share * asked / got if got > 0.0 else 0.0
            share = guess if low < guess < high else 0.5 * (low + high)
        return share

    def _moves(self, change: Floats) -> Floats:
        """(3,) mm, how the point moves, exactly."""
        return np.asarray(self.point.bary @ self._moved_there(change))

    def _ray(self, turn_deg: float) -> _Ray:
        """The ray in a direction of the screen, in degrees from right to up; each is solved once."""
        sector, fine = self._sector(turn_deg), round(turn_deg / FINE_DEG)
        if sector not in self._sectors:
            self._sectors[sector] = self._best(sector * 360.0 / SECTORS)
        if (sector, fine) not in self._rays:
            beside, plan, _ = self._sectors[sector]
            ray = self._solved(fine * FINE_DEG, plan)
            got = float(self._unit(fine * FINE_DEG) @ self._moves(beside.change))
            if ray.got_mm < AS_FAR * got:  # the skin holds for the sector's own direction, and less for this one
                ray = _Ray(beside.change, got, beside.whole)
            self._rays[sector, fine] = ray
        return self._rays[sector, fine]

    def _best(self, turn_deg: float) -> tuple[_Ray, _Plan, list[_Ray]]:
        """The ray in a direction, how to solve for those beside it, and every ray tried. Of these it is the first, with
        the dearest costs, that brings the point about as far as any."""
        tried: list[tuple[_Ray, _Plan]] = []
        for soft, stiff in LADDER:
            if self._try(tried, turn_deg, soft, FULL_MM) and not tried[-1][0].whole:
                self._try(tried, turn_deg, stiff, FULL_MM)
            if tried[0][0].got_mm >= ARRIVED * FULL_MM:
                break
        most = max(ray.got_mm for ray, _ in tried)
        if 0.0 < most < ARRIVED * FULL_MM and any(not ray.whole for ray, _ in tried):
            self._try(tried, turn_deg, LADDER[0][0], FURTHER * most)
        ray, plan = _first(tried)
        return ray, plan, [ray for ray, _ in tried]

    def _try(self, tried: list[tuple[_Ray, _Plan]], turn_deg: float, costs: Costs, long_mm: float) -> bool:
        """Add the ray in a direction with the best new cells, and how to solve for others beside it, to those tried;
        unless it would not be taken even if the skin held for the whole of it. Whether it was added."""
        unit, plan = self._unit(turn_deg), _Plan(None, costs, long_mm)
        change = self._change(unit, plan)
        whole = float(unit @ self._moves(change))
        wanted = 0.0
        if tried:
            most, wanted = max(ray.got_mm for ray, _ in tried), _first(tried)[0].got_mm / AS_FAR
            if whole <= most or whole <= wanted:
                return False
        new = [int(i) for i in np.flatnonzero(change) if i >= self.given.own]
        tried.append((self._looked_at(unit, change, wanted / whole if wanted else 0.0), _Plan(new, costs, long_mm)))
        return True

    def _unit(self, turn_deg: float) -> Floats:
        """(3,) the unit vector of a direction of the screen, in degrees from right to up."""
        turn = np.radians(turn_deg)
        return np.asarray(np.cos(turn) * self.axes[0] + np.sin(turn) * self.axes[1])

    def _solved(self, turn_deg: float, plan: _Plan) -> _Ray:
        """The ray in a direction of the screen, in degrees from right to up."""
        unit = self._unit(turn_deg)
        return self._looked_at(unit, self._change(unit, plan))

    def _change(self, unit: Floats, plan: _Plan) -> Floats:
        """(k,) the change of weights for a direction (3,), whether the skin holds or not."""
        pull = Direction(plan.long_mm * unit, self.axes)
        change = few_cells(self.given, self._low, self._high, pull, plan.costs, plan.new)
        change[np.abs(change) < LEAST_WEIGHT] = 0.0
        return change

    def _looked_at(self, unit: Floats, change: Floats, at_least: float = 0.0) -> _Ray:
        """The ray of a change of weights (k,) in a direction (3,), as far as the skin holds; where it does not hold at
        the fraction `at_least`, which alone would be of use, as far as is known."""
        share = self.trust.furthest(change, at_least) if change.any() else 1.0
        return _Ray(share * change, float(unit @ self._moves(share * change)), share == 1.0)


def _first(tried: list[tuple[_Ray, _Plan]]) -> tuple[_Ray, _Plan]:
    """The first ray that brings the point about as far as any."""
    most = max(ray.got_mm for ray, _ in tried)
    return next(each for each in tried if each[0].got_mm >= AS_FAR * most)
