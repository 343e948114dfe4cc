"""The linear join: a recipe on a head gives a pose.

With D_s(w) the displacement of a shape at a weight, B = sum of D_s(W[all, s]) the base row and R_r = sum of
D_s(W[r, s]) a region's row, and the rows' shares as in `composer.mixing.shares`,

    P = N + strength ( (1 - sum of g^_r) B + sum of g^_r R_r (rows that replace) + sum of g_r R_r (rows that add) )

plus strength times the correction by the recipe's correctives (`composer.mixing.corrective`). What stands on the skin
takes the product of share and row from the skin under it (`composer.mixing.standing`).
A vertex whose displacement is zero keeps the neutral bit for bit. `Mixer` prepares what many recipes on one head
share; `pose` evaluates a single recipe.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from copy import copy
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.head.head import Head
from composer.head.symmetry import MirrorMap
from composer.mixing.anchors import Anchors, anchors
from composer.mixing.corrective import Corrective, Correctives, felt_in
from composer.mixing.displacement import Motion, motion
from composer.mixing.hinge import Hinge
from composer.mixing.recipe import Cell, Recipe
from composer.mixing.shares import Masks, shares
from composer.mixing.standing import Standing

Hinges = Mapping[str, Hinge]


class Mixer:
    """A head with its effective masks, prepared for any number of recipes; masks are lifted to parts once."""

    def __init__(
        self, head: Head, masks: Masks, *, mirror: MirrorMap | None = None, hinges: Hinges | None = None,
        correctives: Sequence[Corrective] = (),
    ) -> None:  # fmt: skip
        """Take effective `masks` (n,) in [0, 1] by region, a `mirror` map and `hinges` by shape.

        Only mirrored cells need the mirror map. The vertices of parts take their masks from their anchors on the
        skin. Raises MoueError where a hinge or a corrective names an unknown shape, a mask does not fit the head, or
        the shape of a corrective has a hinge or in-betweens.
        """
        self.head, self.mirror = head, mirror
        self.hinges = dict(hinges or {})
        for name in self.hinges:
            head.shape(name)
        self.correctives = Correctives(correctives)
        for name in self.correctives.names:
            if head.shape(name).inbetweens or name in self.hinges:
                hint = "remove them: a corrective moves in a straight line"
                raise MoueError(f"corrective {name!r} has in-betweens or a hinge", hint=hint)
        for region, mask in masks.items():
            if np.shape(mask) != (head.n_vertices,):
                raise MoueError(
                    f"the mask of region {region!r} has {np.size(mask)} values, the head {head.n_vertices} vertices"
                )
        if mirror is not None and mirror.n_vertices != head.n_vertices:
            raise MoueError(f"the mirror map has {mirror.n_vertices} vertices, the head {head.n_vertices}")
        self.given: Masks = masks
        self._motions: dict[str, Motion] = {}

    @cached_property
    def anchors(self) -> Anchors:
        """Where the vertices of parts take their masks from."""
        return anchors(self.head)

    @cached_property
    def standing(self) -> Standing:
        """The vertices of parts that move as the skin under them."""
        return Standing.of(self.anchors)

    @cached_property
    def masks(self) -> dict[str, NDArray[np.float64]]:
        """The effective masks (n,) by region with the parts' values taken from their anchors."""
        return self.anchors.lift_all(self.given) if self.head.parts else dict(self.given)

    def with_masks(self, further: Masks) -> Mixer:
        """This mixer with `further` effective masks (n,) by region; all that is prepared is shared. Raises MoueError
        where a mask does not fit the head."""
        for region, mask in further.items():
            if np.shape(mask) != (self.head.n_vertices,):
                raise MoueError(f"the mask of region {region!r} has {np.size(mask)} values, not {self.head.n_vertices}")
        lifted = self.anchors.lift_all(further) if self.head.parts else dict(further)
        other = copy(self)
        other.given = {**self.given, **further}
        vars(other)["masks"] = {**self.masks, **lifted}
        return other

    def motion(self, cell: Cell) -> Motion:
        """The motion of a cell's shape, mirrored where the cell is.

        Raises MoueError for an unknown shape, or a mirrored cell on a head without a mirror map.
        """
        if cell.shape not in self._motions:
            self._motions[cell.shape] = motion(self.head, self.head.shape(cell.shape), self.hinges.get(cell.shape))
        if not cell.mirrored:
            return self._motions[cell.shape]
        if self.mirror is None:
            raise MoueError(
                f"the cell {cell.region} x {cell.shape} is mirrored and this head has no mirror map",
                hint="give it one, or use unmirrored cells",
            )
        return self._motions[cell.shape].mirrored(self.mirror)

    def shares(self, recipe: Recipe) -> dict[str, NDArray[np.float64]]:
        """(n,) in [0, 1], the share of each row of the recipe, `all` included, as in `composer.mixing.shares`."""
        return shares(self.masks, recipe, self.head.n_vertices)

    def rows(self, recipe: Recipe) -> dict[str, NDArray[np.float64]]:
        """(n, 3) mm, the unmasked row R_r of each region with cells, B under `all`."""
        rows: dict[str, NDArray[np.float64]] = {}
        for cell in recipe.cells:
            if cell.region not in rows:
                rows[cell.region] = np.zeros(self.head.neutral.shape)
            move = self.motion(cell)
            for amount, field in zip(move.amounts(cell.weight), move.fields, strict=True):
                if amount != 0.0:
                    rows[cell.region] += np.multiply(field, amount, dtype=np.float64)
        return rows

    def correction(self, recipe: Recipe) -> NDArray[np.float64] | None:
        """(n, 3) mm, the sum of a recipe's active correctives, before its strength; None if none is active."""
        total: NDArray[np.float64] | None = None
        for name, amount in self.correctives.amounts(felt_in(recipe)).items():
            part = np.multiply(self.head.shape(name).delta, amount, dtype=np.float64)
            total = part if total is None else np.add(total, part, out=total)
        return total

    def displacement(self, recipe: Recipe, strength: float | None = None) -> NDArray[np.float64]:
        """(n, 3) mm, P - N of a recipe, by default at its own strength."""
        share = self.shares(recipe)
        total = np.zeros(self.head.neutral.shape)
        for region, row in self.rows(recipe).items():
            total += self.standing.masked(row, share[region])
        fix = self.correction(recipe)
        if fix is not None:
            total += fix
        total *= recipe.strength if strength is None else strength
        return total

    def pose(self, recipe: Recipe, strength: float | None = None) -> NDArray[np.float64]:
        """(n, 3) mm, the vertices of a recipe; without cells the neutral, bit for bit."""
        return moved(self.head.neutral, self.displacement(recipe, strength))


def moved(neutral: NDArray, displacement: NDArray) -> NDArray[np.float64]:
    """(n, 3) neutral + displacement, where a displacement of zero keeps the neutral's bits (even a minus zero)."""
    return np.where(displacement == 0.0, neutral, neutral + displacement)


def pose(
    head: Head,
    masks: Masks,
    recipe: Recipe,
    *,
    mirror: MirrorMap | None = None,
    hinges: Hinges | None = None,
    strength: float | None = None,
) -> NDArray[np.float64]:
    """(n, 3) mm, the pose of one recipe, freshly evaluated. Arguments and errors as for `Mixer`.

    `masks` are effective masks (n,) by region; `all` is 1 everywhere and may be left out. Raises MoueError for
    an unknown region or shape, and for a mirrored cell without a mirror map.

    >>> from composer.geometry.polygons import Polygons
    >>> from composer.head.head import Shape
    >>> from composer.mixing.recipe import Cell
    >>> lift = Shape("lift", np.array([[0, 2, 0], [0, 2, 0], [0, 2, 0]], dtype=np.float32))
    >>> head = Head("h", Polygons.from_faces([[0, 1, 2]], 3), np.eye(3), (lift,))
    >>> masks = {"brow": np.array([1.0, 0.5, 0.0])}
    >>> (pose(head, masks, Recipe("r", (Cell("brow", "lift", 0.5),))) - head.neutral)[:, 1].tolist()  # mm
    [1.0, 0.5, 0.0]
    """
    return Mixer(head, masks, mirror=mirror, hinges=hinges).pose(recipe, strength)
