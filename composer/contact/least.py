"""The smallest field of a patch, in its modes, that gives rows what they lack and turns no face over.

A row says that a vertex, less a place across from it, is to move along a direction by at least `lack`. A face row says
that a triangle keeps a share of its area as seen along its normal, which is taken to the first order about the last
field (sequential quadratic programming; Nocedal and Wright, Numerical optimization, 2006, chapter 18). With the modes
of `modes`, every row is a vector over their amounts (q, 3), and the least amounts that give the rows what they lack, or
more, follow from multipliers that are not negative (`solve.not_negative`). Rows are added where the field breaks them,
so that none is solved that does not count.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.contact.solve import LineRows, not_negative
from composer.geometry.vectors import cross, dot, lengths
from masks.soften import smoothstep

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
ROUNDS, AT_ONCE = 12, 64
"""Times at most that rows and faces which the field would break are added, and faces taken about the field anew; rows
that are added at once. Faces are taken about the middle of the last field and the one before it, since about the last
one alone they swing to and fro."""
TOLERATED, TOLERATED_MM = 5e-4, 1e-4
"""Of an edge: a face that has so little less than it may is left so, and mm, a row that lacks so little. With 0.02 of
an edge, a sweep of lids jumps by 5.6 times its plain step when a face comes in, with this by 1.9."""
LET_GO, LEAST = 0.3, 0.05
"""Cosine between a triangle and its corners' mean normal: one turned over by so much is let go wholly, and has no row
where it counts no more than that."""
THIN = 0.01
"""Of its longest edge: a face that is no higher than this has no side to speak of and is let go; one twice as high
counts wholly. Where such slivers are held, one of them holds a whole lip back in one step of a sweep."""
FACE_FIRM = 2e-3
"""How much a face row gives way, beside a typical push's own answer of 1."""


class Faces:
    """The triangles (t, 3) of a patch at places (m, 3) mm, as rows: each keeps `left` of its area along its normal."""

    def __init__(self, places: NDArray, triangles: NDArray, normals: NDArray, left: float) -> None:
        """`normals` (m, 3) of the vertices: a face that looks against its corners' normals is let go."""
        corners = places[triangles]
        e, f = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
        area = cross(e, f)
        size = lengths(area)
        n = area / np.maximum(size, np.finfo(float).tiny)[:, None]
        mean = normals[triangles].sum(axis=1)
        looks = dot(n, mean) / np.maximum(lengths(mean), 1e-9)
        long = np.sqrt(np.maximum(dot(e, e), dot(f, f)))
        flat = size / np.maximum(long * long, np.finfo(float).tiny)
        self.counts = np.clip((looks + LET_GO) / LET_GO, 0.0, 1.0) * smoothstep((flat - THIN) / THIN)
        self.triangles, self.e, self.f, self.normal, self.size = triangles, e, f, n, size
        self._per_area = np.where(flat > THIN, long / np.maximum(size, np.finfo(float).tiny), 0.0)
        self.lack, self.most = -(1.0 - left) * long, long

    def broken(self, field: Floats, kept: Ints, given_way: Floats) -> Ints:
        """The faces that have less than they may in a field (m, 3), those `kept` (k,) by more than they have
        `given_way` (k,) mm for it."""
        d, g = self._moved(field, slice(None))
        row = dot(self.normal, cross(d, self.f) + cross(self.e + d, g)) * self._per_area
        short = self.lack - row
        short[kept] -= given_way
        return np.flatnonzero((short > TOLERATED * self.most) & (self.counts > LEAST))

    def rows(self, chosen: Ints, field: Floats) -> tuple[Floats, Floats]:
        """For `chosen` (k,) faces, about a field (m, 3), the row for a mm of movement of each corner, (k, 3, 3) mm, and
        what it lacks (k,) mm: the area is of second order in the field, and is taken to the first about it."""
        d, g = self._moved(field, chosen)
        n, e, f, per = (each[chosen] for each in (self.normal, self.e, self.f, self._per_area))
        second, third = cross(f + g, n) * per[:, None], cross(n, e + d) * per[:, None]
        return np.stack([-second - third, second, third], axis=1), self.lack[chosen] + dot(n, cross(d, g)) * per

    def _moved(self, field: Floats, chosen: Ints | slice) -> tuple[Floats, Floats]:
        moved = field[self.triangles[chosen]]
        return moved[:, 1] - moved[:, 0], moved[:, 2] - moved[:, 0]


def least_field_of(
    shape: NDArray, rows: LineRows, faces: Faces | None, firm: float, begin: Floats | None = None
) -> tuple[Floats, Floats]:  # fmt: skip
    """(m, 3) mm, the smallest field of modes `shape` (m, q) that gives `rows` what they lack, or more, and keeps
    `faces`; and the rows' multipliers (r,), with which a problem that is little different can `begin`: they change the
    time alone. A row gives way by `firm` over what it counts."""
    pull = np.zeros(len(rows.lack)) if begin is None else begin
    n, on = rows.directions, np.union1d(np.flatnonzero(pull > 0.0), _worst(rows.lack, np.flatnonzero(rows.lack > 0.0)))
    kept = np.zeros(0, dtype=np.int64)
    field, about = np.zeros((len(shape), 3)), None
    taken = _taken(shape, rows, on)
    own = _felt(taken, taken, n[on], n[on], firm / rows.counts[on])
    hold = given_way = np.zeros(0)
    for _ in range(ROUNDS):
        matrix, lack = own, rows.lack[on]
        sides = np.zeros((0, 3, shape.shape[1]), dtype=shape.dtype)
        if faces is not None and len(kept):
            about = field if about is None else 0.5 * (about + field)
            slopes, also = faces.rows(kept, about)
            sides = np.matmul(slopes.transpose(0, 2, 1).astype(shape.dtype), shape[faces.triangles[kept]])
            between = sum((n[on, i, None].astype(shape.dtype) * taken) @ sides[:, i].T for i in range(3))
            flat = sides.reshape(len(sides), -1)
            held = (flat @ flat.T).astype(np.float64)
            soft = (faces.counts[kept] - LEAST) / (1.0 - LEAST)
            gives = FACE_FIRM + np.diagonal(held) * (1.0 / soft - 1.0)
            held[np.diag_indices(len(kept))] += gives
            matrix, lack = np.block([[own, between], [between.T, held]]), np.r_[lack, also]
        both = not_negative(matrix, lack, begin=np.r_[pull[on], hold, np.zeros(len(kept) - len(hold))])
        pull, hold = np.zeros(len(n)), both[len(on) :]
        given_way = gives * hold if len(hold) else np.zeros(len(kept))
        pull[on] = both[: len(on)]
        amounts = taken.T @ (pull[on, None] * n[on]).astype(shape.dtype)
        amounts += np.tensordot(hold.astype(shape.dtype), sides, 1).T
        field = (shape @ amounts).astype(np.float64)
        over = rows.lack - _given(field, rows) - firm * pull / rows.counts
        over[on] = 0.0
        fresh = _worst(over, np.flatnonzero(over > TOLERATED_MM))
        broken = np.zeros(0, dtype=np.int64) if faces is None else faces.broken(field, kept, given_way)
        if not len(fresh) and not len(broken):
            break
        if len(fresh):
            more = _taken(shape, rows, fresh)
            beside = _felt(taken, more, n[on], n[fresh])
            among = _felt(more, more, n[fresh], n[fresh], firm / rows.counts[fresh])
            own = np.block([[own, beside], [beside.T, among]])
            on, taken = np.concatenate([on, fresh]), np.concatenate([taken, more])
        fresh_faces = np.setdiff1d(broken, kept)
        kept = np.concatenate([kept, fresh_faces])
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
