"""Columns: what each active cell adds, masked once, and the sum of all of them.

A cell's column holds, in float32, its region's share times its shape's fields at the vertices that it reaches. Where
it reaches a large part of the vertices in its range, it holds the whole range with zeros in between: a contiguous
read is faster than an indexed one. `Stack` sums many columns: those with whole ranges by one dense product a region,
the others by one sparse product.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.mixing.displacement import Motion
from composer.mixing.recipe import CellKey
from composer.mixing.standing import Standing

Range = tuple[int, int]
NOTHING: Range = (0, 0)
DENSE = 0.35
"""A column holds its whole range if it reaches at least this fraction of the vertices there. It changes speed and
memory only. A design choice, no source.
"""


def widened(one: Range, other: Range) -> Range:
    """The range that holds two others."""
    if NOTHING in (one, other):
        return other if one == NOTHING else one
    return (min(one[0], other[0]), max(one[1], other[1]))


@dataclass(frozen=True, eq=False)
class Column:
    """What a cell adds: masked `fields` (k, 3 m) float32 at the 3 m coordinates `where`.

    Coordinate 3 v + i is the i-th of vertex v. `range` is the first vertex reached and one past the last.
    """

    where: slice | NDArray[np.intp]
    fields: NDArray[np.float32]
    amounts: Callable[[float], Sequence[float]]
    range: Range

    @property
    def nbytes(self) -> int:
        """Bytes held."""
        return self.fields.nbytes + (0 if isinstance(self.where, slice) else self.where.nbytes)


def column(move: Motion, share: NDArray, standing: Standing) -> Column:
    """The column of a motion (fields (n, 3) in mm) under a row's share (n,), with what goes along with the skin."""
    reached = np.zeros(len(share), dtype=bool)
    for field in move.fields:
        reached |= field.any(axis=1)
    reached &= share != 0.0
    beyond = [standing.beyond(field, share) for field in move.fields]
    for each in beyond:
        reached[standing.vertices] |= each.any(axis=1)
    at = np.flatnonzero(reached)
    if not len(at):
        return Column(slice(0, 0), np.zeros((len(move.fields), 0), np.float32), move.amounts, NOTHING)
    span = (int(at[0]), int(at[-1]) + 1)
    whole = len(at) >= DENSE * (span[1] - span[0])
    chosen: slice | NDArray[np.intp] = slice(*span) if whole else at
    fields = np.stack([np.multiply(field[chosen], share[chosen, None]) for field in move.fields])
    along = np.flatnonzero(reached[standing.vertices])
    own = standing.vertices[along]
    place = own - span[0] if whole else np.searchsorted(at, own)
    for masked, each in zip(fields, beyond, strict=True):
        masked[place] += each[along]
    where = slice(3 * span[0], 3 * span[1]) if whole else (3 * at[:, None] + np.arange(3)).ravel()
    return Column(where, fields.reshape(len(fields), -1).astype(np.float32), move.amounts, span)


@dataclass(frozen=True, eq=False)
class _Block:
    """The columns of one region that hold whole ranges: `keys` of their cells and `fields` (K, 3 m) over one range."""

    keys: list[CellKey]
    where: slice
    fields: NDArray[np.float32]


class Stack:
    """Columns packed into a few arrays, to be summed at any weights."""

    def __init__(self, columns: Mapping[CellKey, Column], n_vertices: int) -> None:
        """Copy columns, given by cell, of a mesh of `n_vertices` into a few large arrays."""
        self._amounts = {key: one.amounts for key, one in columns.items()}
        self._size = 3 * n_vertices
        regions: dict[str, list[CellKey]] = {}
        listed: list[CellKey] = []
        for key, one in columns.items():
            if isinstance(one.where, slice):
                regions.setdefault(key[0], []).append(key)
            else:
                listed.append(key)
        self._blocks = [_block(keys, columns) for keys in regions.values()]
        self._listed, self._sparse = listed, _sparse([columns[key] for key in listed], self._size)

    @property
    def nbytes(self) -> int:
        """Bytes that one sum reads: the values of the columns and their indices."""
        return sum(b.fields.nbytes for b in self._blocks) + self._sparse.data.nbytes + self._sparse.indices.nbytes

    def total(self, weight: Callable[[CellKey], float]) -> NDArray[np.float32]:
        """(n, 3) float32 mm, the sum of all columns, each at the weight of its cell."""
        if self._listed:
            total = self._sparse @ self._of(self._listed, weight)
        else:
            total = np.zeros(self._size, dtype=np.float32)
        for block in self._blocks:
            total[block.where] += self._of(block.keys, weight) @ block.fields
        return total.reshape(-1, 3)

    def _of(self, keys: list[CellKey], weight: Callable[[CellKey], float]) -> NDArray[np.float32]:
        return np.array([a for key in keys for a in self._amounts[key](weight(key))], dtype=np.float32)


def _block(keys: list[CellKey], columns: Mapping[CellKey, Column]) -> _Block:
    chosen = [columns[key] for key in keys]
    reached = [one.range for one in chosen if one.range != NOTHING]
    low, high = min((r[0] for r in reached), default=0), max((r[1] for r in reached), default=0)
    fields = np.zeros((sum(len(one.fields) for one in chosen), 3 * (high - low)), dtype=np.float32)
    row = 0
    for one in chosen:
        begin = 3 * (one.range[0] - low) if one.range != NOTHING else 0
        fields[row : row + len(one.fields), begin : begin + one.fields.shape[1]] = one.fields
        row += len(one.fields)
    return _Block(keys, slice(3 * low, 3 * high), fields)


def _sparse(columns: list[Column], size: int) -> sp.csc_matrix:
    """(3 n, sum of k) float32, the fields of columns that list their vertices, side by side."""
    rows, data, counts = [np.zeros(0, np.int32)], [np.zeros(0, np.float32)], []
    for one in columns:
        for field in one.fields:
            nonzero = field != 0.0
            rows.append(np.asarray(one.where)[nonzero].astype(np.int32))
            data.append(field[nonzero])
            counts.append(int(nonzero.sum()))
    starts = np.concatenate([[0], np.cumsum(counts, dtype=np.int64)]).astype(np.int32)
    return sp.csc_matrix((np.concatenate(data), np.concatenate(rows), starts), shape=(size, len(counts)))
