"""Correctives: shapes whose weights follow from the cells that trigger them.

With w_i the weight of a trigger's cell times the amount of its row (so that a muted row triggers nothing),
corrective j has the weight

    k_j = product over its triggers of clamp(w_i / at_i, 0, 1)

(after Lewis, Anjyo, Rhee, Zhang, Pighin and Deng 2014, "Practice and Theory of Blendshape Facial Models", section on
combination shapes). Its own pose has every trigger at its `at`. Its shape holds the residual R_j: the sculpt minus
the pose without any corrective. Where triggers overlap, a corrective is active at another's pose too, so all
correctives of a document are solved together: K C = R with K_ij = k_j(pose i), and a pose gets
sum of k_j C_j = sum of a_i R_i with a = K^-T k. At a corrective's own pose a is a unit vector: the pose there is
exactly its sculpt.

A trigger above 0 gives nothing at a negative weight, one below 0 nothing at a positive one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError, shorten
from composer.mixing.recipe import WEIGHT_RANGE, CellKey, Recipe

SINGULAR = 1e-6
"""K counts as singular where its smallest singular value is below this fraction of its largest: its inverse would
multiply rounding in a float32 shape by up to a million. A design choice, no source.
"""
ROUNDING = 1e-12
"""Amounts below this are zero: they are rounding of K's inverse. Above float64 rounding of a well-conditioned K."""
SHOWN = 4
"""An error lists this many names and counts the others."""

Felt = Callable[[CellKey], float]


@dataclass(frozen=True)
class Trigger:
    """A cell, and the weight `at` in [-1, 2], not 0, at which it triggers its corrective fully."""

    region: str
    shape: str
    at: float
    mirrored: bool = False

    @property
    def key(self) -> CellKey:
        """The key of the cell that it watches."""
        return (self.region, self.shape, self.mirrored)


@dataclass(frozen=True)
class Corrective:
    """A shape with its triggers; the corrective has the name of the shape. Raises MoueError where there is no trigger,
    one is at 0 or outside [-1, 2], or two are on one cell.

    >>> fix = Corrective("wink_fix", (Trigger("eye", "blink", 1.0), Trigger("cheek", "joy", 0.5)))
    >>> weights = {("eye", "blink", False): 0.5, ("cheek", "joy", False): 0.5}
    >>> fix.weight(lambda key: weights[key])  # half of the blink, all of the joy that it was sculpted with
    0.5
    """

    shape: str
    triggers: tuple[Trigger, ...]

    def __post_init__(self) -> None:
        if not self.triggers:
            raise MoueError(f"corrective {self.shape!r} has no trigger", hint="name the cells that trigger it")
        for one in self.triggers:
            words = f"the trigger {one.region} x {one.shape} of corrective {self.shape!r}"
            if one.at == 0.0:
                raise MoueError(f"{words} is at 0", hint="give the weight at which the fix was sculpted")
            if not WEIGHT_RANGE[0] <= one.at <= WEIGHT_RANGE[1]:
                raise MoueError(f"{words} is at {one.at:g}, not in [-1, 2]")
        keys = [one.key for one in self.triggers]
        twice = next((key for i, key in enumerate(keys) if key in keys[:i]), None)
        if twice is not None:
            raise MoueError(f"corrective {self.shape!r} has the trigger {twice[0]} x {twice[1]} twice")

    def weight(self, felt: Felt) -> float:
        """The weight k in [0, 1], from the effective weight of each cell."""
        k = 1.0
        for one in self.triggers:
            k *= min(max(felt(one.key) / one.at, 0.0), 1.0)
            if k == 0.0:
                return 0.0
        return k


class Correctives:
    """The correctives of one head, solved together."""

    def __init__(self, given: Sequence[Corrective] = ()) -> None:
        """Raises MoueError, with their names, for two correctives of one shape, correctives that trigger each other or
        themselves, and correctives that cannot be told apart (K is singular)."""
        self.given = tuple(given)
        self.names = [one.shape for one in self.given]
        twice = next((name for i, name in enumerate(self.names) if name in self.names[:i]), None)
        if twice is not None:
            raise MoueError(f"corrective {twice!r} is listed twice", hint="remove one")
        _refuse_cycles(self.given)
        self._inverse = _inverse(self.given)
        self._keys = frozenset(trigger.key for one in self.given for trigger in one.triggers)

    def triggered_by(self, key: CellKey) -> bool:
        """Whether the cell of this key is a trigger."""
        return key in self._keys

    def weights(self, felt: Felt) -> dict[str, float]:
        """The weight k in [0, 1] of every corrective, by name, at the effective weights of cells."""
        return {one.shape: one.weight(felt) for one in self.given}

    def amounts(self, felt: Felt) -> dict[str, float]:
        """The amount a of each corrective's residual, by name; those of amount 0 are left out.

        In [0, 1] where triggers do not overlap, unbounded where they do. At its own pose a corrective has the amount
        1 and all others 0.
        """
        k = np.array([one.weight(felt) for one in self.given])
        if not k.any():
            return {}
        return {name: float(a) for name, a in zip(self.names, k @ self._inverse, strict=True) if abs(a) > ROUNDING}


def felt_in(recipe: Recipe) -> Felt:
    """The effective weight of each cell of a recipe: its weight times its row's amount; 0 for any other cell."""
    felt = {cell.key: cell.weight * recipe.row(cell.region).amount for cell in recipe.cells if cell.weight != 0.0}
    return lambda key: felt.get(key, 0.0)


def triggers_of(recipe: Recipe) -> tuple[Trigger, ...]:
    """The triggers whose own pose is this recipe: each cell with an effective weight, at that weight."""
    felt = felt_in(recipe)
    return tuple(Trigger(c.region, c.shape, felt(c.key), c.mirrored) for c in recipe.cells if felt(c.key) != 0.0)


def overlaps(given: Sequence[Corrective]) -> NDArray[np.float64]:
    """(m, m) K: row i holds the weight of each corrective at the pose of corrective i; ones on the diagonal."""
    k = np.empty((len(given), len(given)))
    for i, one in enumerate(given):
        pose: Mapping[CellKey, float] = {trigger.key: trigger.at for trigger in one.triggers}
        k[i] = [other.weight(lambda key, pose=pose: pose.get(key, 0.0)) for other in given]  # type: ignore[misc]
    return k


def _inverse(given: Sequence[Corrective]) -> NDArray[np.float64]:
    if not given:
        return np.zeros((0, 0))
    k = overlaps(given)
    _, sizes, right = np.linalg.svd(k)
    if sizes[-1] < SINGULAR * sizes[0]:
        part = np.abs(right[-1])
        names = [one.shape for one, share in zip(given, part, strict=True) if share > 0.1 * part.max()]
        raise MoueError(f"correctives {_listed(names)} cannot be told apart by their triggers", hint="remove one")
    return np.asarray(np.linalg.inv(k), dtype=np.float64)


def _refuse_cycles(given: Sequence[Corrective]) -> None:
    """Raises MoueError where correctives trigger each other in a circle, or one triggers itself."""
    names = {one.shape for one in given}
    waits_for = {one.shape: {t.shape for t in one.triggers} & names for one in given}
    unresolved = dict(waits_for)
    while resolved := [name for name, needed in unresolved.items() if not needed & unresolved.keys()]:
        for name in resolved:
            del unresolved[name]
    if not unresolved:
        return
    path = [next(iter(unresolved))]
    while path[-1] not in path[:-1]:
        path.append(next(name for name in unresolved if name in unresolved[path[-1]]))
    names_round = path[path.index(path[-1]) : -1]
    words = "triggers itself" if len(names_round) == 1 else "trigger each other"
    kind = "corrective" if len(names_round) == 1 else "correctives"
    raise MoueError(f"{kind} {_listed(names_round)} {words}", hint="take one trigger out")


def _listed(names: Sequence[str]) -> str:
    shown = ", ".join(shorten(repr(name), 30) for name in names[:SHOWN])
    return shown + (f" and {len(names) - SHOWN} more" if len(names) > SHOWN else "")
