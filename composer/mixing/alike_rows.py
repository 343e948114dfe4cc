"""Several recipes written with the same rows, so that weights alone lead from one to the other.

A pose between two recipes is wanted in weights, not in displacements: a jaw then stays on its arc, in-betweens and
correctives come in as they do live. That needs the same rows in both. Where rows differ, each recipe is written anew:

- an amount t goes into the weights of its row, which then has the amount 1;
- a region that one recipe replaces is replaced in all, by amount 1, and each recipe says there what it showed before:
  with B the base row and R its own row, replacing by t becomes (1 - t) B + t R, adding by t becomes B + t R.

For shapes that move in straight lines each recipe's pose stays the same, as long as the masks of replacing regions sum
to one at most, which those of one set do. Rows that agree already are left as they are, so that a single recipe is
always itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from composer.mixing.recipe import ALL, CellKey, Recipe, Row

Weights = dict[CellKey, float]


@dataclass(frozen=True)
class AlikeRows:
    """Common `rows`, and for each recipe its `weights` by cell under them."""

    rows: Mapping[str, Row]
    weights: tuple[Weights, ...]


def alike_rows(recipes: Sequence[Recipe], alone: Sequence[CellKey] = ()) -> AlikeRows:
    """The recipes with common rows. Cells `alone` (by key) have weight 1 each in one further entry per cell, at the
    end: they add to whatever the recipes show. Strengths are left out."""
    held = [_Held(dict(recipe.rows), {cell.key: cell.weight for cell in recipe.cells}) for recipe in recipes]
    held += [_Held({}, {key: 1.0}) for key in alone]
    rows: dict[str, Row] = {}
    base = _amount_of(held, ALL)
    if base is None:
        for one in held:
            one.fold(ALL)
    elif base != 1.0:
        rows[ALL] = Row("add", base)
    for region in dict.fromkeys(region for one in held for region in one.regions if region != ALL):
        kinds = {one.row(region) for one in held if one.says_anything}
        if any(row.kind == "replace" for row in kinds):
            if len(kinds) == 1 and not alone:
                rows[region] = next(iter(kinds))
                continue
            for one in held:
                one.replaces(region)
            rows[region] = Row("replace", 1.0)
            continue
        amount = _amount_of(held, region)
        if amount is None:
            for one in held:
                one.fold(region)
        elif amount != 1.0:
            rows[region] = Row("add", amount)
    return AlikeRows(rows, tuple(one.result for one in held))


class _Held:
    """One recipe while it is written anew."""

    def __init__(self, rows: dict[str, Row], weights: Weights) -> None:
        self.rows, self.weights = rows, weights
        self.base = {key: weight for key, weight in weights.items() if key[0] == ALL}
        self.result = dict(weights)

    @property
    def regions(self) -> list[str]:
        return list(dict.fromkeys([key[0] for key in self.weights] + list(self.rows)))

    @property
    def says_anything(self) -> bool:
        """Whether it is more than the face at rest, which is the same under any rows."""
        return bool(self.weights)

    def row(self, region: str) -> Row:
        return self.rows.get(region, Row())

    def fold(self, region: str) -> None:
        """Put the amount of an adding row into its weights."""
        for key in self.weights:
            if key[0] == region:
                self.result[key] = self.weights[key] * self.row(region).amount

    def replaces(self, region: str) -> None:
        """Write the row as one that replaces by 1, and shows what it showed before."""
        row = self.row(region)
        stays = 1.0 - row.amount if row.kind == "replace" else 1.0
        new: Weights = {}
        for key, weight in self.weights.items():
            if key[0] == region:
                new[key] = new.get(key, 0.0) + row.amount * weight
        for key, weight in self.base.items():
            here = (region, key[1], key[2])
            new[here] = new.get(here, 0.0) + stays * self.row(ALL).amount * weight
        self.result = {key: weight for key, weight in self.result.items() if key[0] != region} | new


def _amount_of(held: Sequence[_Held], region: str) -> float | None:
    """The one amount of all rows of a region that have cells; None where they differ. Cells alone have the amount 1."""
    amounts = {one.row(region).amount for one in held if any(key[0] == region for key in one.weights)}
    return 1.0 if not amounts else next(iter(amounts)) if len(amounts) == 1 else None
