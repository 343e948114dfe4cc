"""The smallest field of a patch, in its modes, that gives rows what they lack.

A row says that a vertex, less a place across from it, is to move along a direction by at least `lack`. With the modes
of `modes`, every row is a vector over their amounts (q, 3), and the least amounts that give the rows what they lack, or
more, follow from multipliers that are not negative and no larger than a row's `bound` (`solve.within_bounds`). Rows are
added where the field breaks them, so that none is solved that does not count.

The programme is convex, so its field is a continuous function of the rows. How fast it changes as a direction turns is
in proportion to the multipliers: without a bound, rows that want opposite things (a lip between teeth and the other
lip) pull with 30 times what each would alone, and the lip jumps where one of them turns.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.contact.solve import LineRows, within_bounds

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
ROUNDS, AT_ONCE = 12, 64
"""Times at most that rows which the field would break are added, and how many at once."""
TOLERATED_MM = 1e-4
"""A row that lacks so little is left so."""


def least_field_of(
    shape: NDArray, rows: LineRows, firm: float, begin: Floats | None = None
) -> tuple[Floats, Floats]:  # fmt: skip
    """(m, 3) mm, the smallest field of modes `shape` (m, q) that gives `rows` what they lack, or more; and the rows'
    multipliers (r,), with which a problem that is little different can `begin`: they change the time alone. A row gives
    way by `firm` over what it counts, and wholly beyond its bound."""
    n = rows.directions
    pull = np.zeros(len(n)) if begin is None else begin
    most = np.full(len(n), np.inf) if rows.bound is None else rows.bound
    on = np.union1d(np.flatnonzero(pull > 0.0), _worst(rows.lack, np.flatnonzero(rows.lack > 0.0)))
    taken = _taken(shape, rows, on)
    own = _felt(taken, taken, n[on], n[on], firm / rows.counts[on])
    for _ in range(ROUNDS):
        found = within_bounds(own, rows.lack[on], most[on], begin=pull[on])
        pull = np.zeros(len(n))
        pull[on] = found
        amounts = taken.T @ (found[:, None] * n[on]).astype(shape.dtype)
        field = (shape @ amounts).astype(np.float64)
        over = rows.lack - _given(field, rows)
        over[on] = 0.0
        fresh = _worst(over, np.flatnonzero(over > TOLERATED_MM))
        if not len(fresh):
            break
        more = _taken(shape, rows, fresh)
        beside = _felt(taken, more, n[on], n[fresh])
        among = _felt(more, more, n[fresh], n[fresh], firm / rows.counts[fresh])
        own = np.block([[own, beside], [beside.T, among]])
        on, taken = np.concatenate([on, fresh]), np.concatenate([taken, more])
    return field, pull


def _worst(lack: Floats, among: Ints) -> Ints:
    """Those `among` (k,) rows that lack the most, at most AT_ONCE."""
    if len(among) <= AT_ONCE:
        return among
    return np.sort(among[np.argpartition(-lack[among], AT_ONCE)[:AT_ONCE]])


def _felt(one: NDArray, other: NDArray, way: Floats, across: Floats, firm: Floats | None = None) -> Floats:
    """(r, k) what rows (r, q) along `way` (r, 3) feel of others; with `firm` (r,), how they give way themselves."""
    felt = np.asarray((one @ other.T) * (way @ across.T), dtype=np.float64)
    if firm is not None:
        felt[np.diag_indices(len(felt))] += firm
    return felt


def _given(field: Floats, rows: LineRows) -> Floats:
    """(r,) mm that a field (m, 3) gives each row."""
    moved = field[rows.vertices]
    if rows.across is not None:
        moved = moved - np.einsum("pk,pki->pi", rows.across.share, field[rows.across.corners])
    return np.einsum("pi,pi->p", rows.directions, moved)


def _taken(shape: NDArray, rows: LineRows, chosen: Ints) -> NDArray:
    """(k, q) what the `chosen` (k,) rows take of modes (m, q)."""
    taken = shape[rows.vertices[chosen]]
    if rows.across is None or not len(chosen):
        return np.asarray(taken)
    corners, share = rows.across.corners[chosen], rows.across.share[chosen]
    with_place = np.flatnonzero(share.any(axis=1))
    across = share[with_place, None].astype(shape.dtype) @ shape[corners[with_place]]
    taken[with_place] -= across[:, 0]
    return np.asarray(taken)
