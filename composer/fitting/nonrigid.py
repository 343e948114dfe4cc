"""The fit itself: a cage bent onto a sculpt, coarse to fine, so that its loops land where the landmarks say.

1. *Align*: the similarity of the landmark pairs; from here on all is done in the head's own space and size, so that a
   moved or scaled sculpt gives the moved or scaled fit.
2. *Warp*: a radial basis through the landmarks (and through some places of the curves) gives P0.
3. *Bend*: the unknown is the deviation d from P0. In rounds, every vertex is given its closest point of the sculpt,
   and d is the least of
       sum_i m_i w_i (n_i . (P0_i + d_i - c_i))^2 / sigma^2 + landmarks and curves
       + (1 / p^2) (l / 2 pi)^6 |grad Lap d|^2
   with lengths in units of the head's diagonal, p how far off the warp foretells landmarks that are left out, m the
   share of the surface, n the sculpt's normal, w robust and zero where normals disagree, at borders and in free zones:
   point to plane against a tri-Laplacian of d, which is small because the warp has turned the surface already.
   Local-global (Bouaziz et al. 2012, "Shape-up"): the closest points are the local step, d the global one. First d is
   sought among the surface's smoothest functions only (`composer.geometry.eigenbasis`), in which the tri-Laplacian is a
   number for each: what varies faster than a person could tell from the relief is noise, and would carry the rest
   astray. Then, more stiffly, what that leaves to be done here and there: a coupled system solved by conjugate
   gradients, preconditioned by one scalar factorisation.
4. *Settle*: `composer.fitting.project.settle` brings the vertices onto the sculpt itself; nothing is left folded.

How closely to follow the sculpt is measured, not assumed: a sculpt has detail of its own, and a cage that chases it
slides away from its true places. `own_detail` compares the fine relief of both surfaces where they meet; the more it
differs, the larger sigma and the stiffer the first stage. What was tried is in DEVELOPERS.md.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import scipy.linalg as la
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.fitting.align import Pairs, Similarity, similarity
from composer.fitting.closest import ClosestSurface
from composer.fitting.curves import on_polyline
from composer.fitting.loops import Loops
from composer.fitting.project import settle
from composer.fitting.sculpt import coarser
from composer.fitting.warp import warp
from composer.geometry.eigenbasis import smoothest
from composer.geometry.polygons import Polygons, read_only
from composer.geometry.surface import Surface, factorise
from composer.geometry.vectors import unit_rows
from composer.head.head import Head
from composer.progress import Progress

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]
Blocks = NDArray[np.float64]
Solve = Callable[[Rows], Rows]

PRIOR = (5e-4, 0.01)
LANDMARK = 3e-4
CURVE = 6e-4
SIGMA = (5e-4, 4e-3)
SMOOTH = (0.18, 0.27)
LOCAL = 0.30
ROUGHNESS_WIDTH = 0.01
"""Lengths in units of the head's diagonal: the range of how far a deviation may be expected to go, how well landmarks
and curves hold, the range of sigma, the first stage's wavelength for a smooth sculpt and for a rough one, the second
stage's, and the width at which roughness is measured."""
WAVES = 300
ENOUGH, COARSEST = 6_000, 5
"""How many smooth functions there are, how many vertices at most say which of them are wanted, and how many there
are at least to one function."""
ROUGHNESS_NONE, ROUGHNESS_GAIN = 5e-5, 30.0
ROUNDS = (4, 1)
SETTLE = 0.03
MANY = 200_000
CG_STEPS, CG_ERROR = 40, 1e-3
AGREE = 0.5
FOLLOWS = 12.0


@dataclass(frozen=True)
class BendPass:
    """What one pass of the bend came to: its name, the wavelength it may bend, sigma, and the median distance of the
    vertices that were matched, in mm."""

    name: str
    wavelength: float
    sigma: float
    median_mm: float
    matched: int


@dataclass(frozen=True, eq=False)
class Fitted:
    """The fitted head: `positions` (n, 3) mm in the sculpt's space, parts carried by the similarity only (see
    `composer.fitting.parts`); `aligned` the similarity; `warped` (n, 3) after the landmarks' warp; `rejected` and
    `filled` (n,) as `settle` says; `own_detail` the roughness in mm that the sculpt has beyond the cage; `stages`.
    """

    positions: Rows
    aligned: Similarity
    warped: Rows
    rejected: Flags
    filled: Flags
    own_detail: float
    stages: tuple[BendPass, ...] = field(default=())


def fit(
    head: Head, sculpt: ClosestSurface, pairs: Pairs, free: NDArray | None = None, *, aligned: Similarity | None = None,
    settled: bool = True, progress: Progress | None = None,
) -> Fitted:  # fmt: skip
    """Fit a head's cage onto a sculpt, in the four steps above.

    `pairs` are the landmarks (at least three points off one line); `free` (n,) in [0, 1] is 1 where the sculpt is not
    to be followed (mouth interior, eye sockets); `aligned` is the similarity to begin with, otherwise the pairs'.
    Without `settled` the vertices are left where the stages put them, near the sculpt but not on it.
    Raises MoueError where landmarks do not give a similarity or a mask has another length.
    """
    say: Progress = progress or (lambda fraction, words: None)
    say(0.0, "aligning")
    move = aligned or similarity(pairs.head, pairs.sculpt)
    n = head.n_vertices
    open_ = np.zeros(n) if free is None else np.clip(np.asarray(free, dtype=np.float64), 0.0, 1.0)
    if open_.shape != (n,):
        raise MoueError(f"the free mask has {len(open_)} values, the head {n} vertices")
    skin = Skin.of(head)
    back = move.inverse()
    there, sculpt = sculpt, ClosestSurface(back(sculpt.positions), sculpt.triangles)
    pairs = pairs.moved(back)
    place, scale = head.neutral, head.diagonal
    say(0.05, "warping through the landmarks")
    through, left_out = warp(pairs, place[skin.vertices], scale)
    warped = through(place)
    surface = Surface(skin.polygons, warped[skin.vertices])
    rough = own_detail(surface, sculpt, open_[skin.vertices], scale)
    rest = surface.at(place[skin.vertices])
    prior = float(np.clip(left_out / scale, *PRIOR))
    bend = _Bend(surface, rest, sculpt, 1.0 - open_[skin.vertices], _Marks.of(skin, pairs, place), scale, prior)
    sigma = float(np.clip(ROUGHNESS_GAIN * (rough - ROUGHNESS_NONE), *SIGMA))
    share = (sigma - SIGMA[0]) / (SIGMA[1] - SIGMA[0])
    say(0.1, "bending, the whole")
    stages = [bend.whole(SMOOTH[0] + share * (SMOOTH[1] - SMOOTH[0]), sigma, ROUNDS[0])]
    say(0.6, "bending, here and there")
    stages.append(bend.local(LOCAL, sigma, ROUNDS[1]))
    positions = warped.copy()
    rejected, filled = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
    positions[skin.vertices] = bend.positions
    if settled:
        say(0.85, "settling on the sculpt")
        ideal = head.neutral[skin.vertices]
        done = settle(
            surface.at(bend.positions), sculpt, SETTLE * scale, loops=Loops(skin.polygons, ideal), ideal=ideal,
            free=open_[skin.vertices] >= 0.5, rays=False, marks=skin_marks(skin, pairs), mended=True,
        )  # fmt: skip
        positions[skin.vertices] = done.positions
        rejected[skin.vertices], filled[skin.vertices] = done.rejected, done.filled
        settled_at = move(positions)
        on = ~done.filled
        snapped = there.nearby(settled_at[skin.vertices[on]])
        settled_at[skin.vertices[on]] = snapped.points
        positions = settled_at
    else:
        positions = move(positions)
    say(1.0, "fitted")
    return Fitted(
        read_only(positions), move, read_only(move(warped)), rejected, filled, rough * scale * move.scale,
        tuple(stages),
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Skin:
    """The skin of a head as a mesh of its own: `vertices` (s,) of the head, `polygons` over them, and `rank` (n,) the
    place of each head vertex among them, -1 for parts and loose vertices."""

    vertices: NDArray[np.int64]
    polygons: Polygons
    rank: NDArray[np.int64]

    @classmethod
    def of(cls, head: Head) -> Skin:
        """The polygons of a head all of whose vertices are skin."""
        polygons = head.polygons
        whole = np.logical_and.reduceat(head.skin[polygons.indices], polygons.starts[:-1])
        corners = polygons.indices[whole[polygons.corner_face]]
        vertices = np.unique(corners).astype(np.int64)
        rank = np.full(head.n_vertices, -1, dtype=np.int64)
        rank[vertices] = np.arange(len(vertices))
        return cls(vertices, Polygons(polygons.counts[whole], rank[corners], len(vertices)), rank)


def skin_marks(skin: Skin, pairs: Pairs) -> tuple[NDArray[np.int64], Rows]:
    """The landmarks that are vertices, as numbers of the skin (m,), and their places (m, 3) on the sculpt."""
    known = np.flatnonzero(pairs.vertices >= 0)
    known = known[skin.rank[pairs.vertices[known]] >= 0]
    return skin.rank[pairs.vertices[known]], pairs.sculpt[known]


def own_detail(surface: Surface, sculpt: ClosestSurface, free: Rows, scale: float) -> float:
    """How far the sculpt's fine relief differs from the warped cage's, in units of `scale`: both are
    smoothed over one width, and what that takes away along the normals is compared at closest points (1.4826 times the
    median of the difference, the free zones left out).
    """
    chosen = free < 0.5
    ours = _height(surface, ROUGHNESS_WIDTH * scale)[chosen]
    if len(sculpt.triangles) > MANY:
        sculpt = ClosestSurface(*coarser(sculpt.positions, sculpt.triangles, ROUGHNESS_WIDTH / 4 * scale))
    corners = Polygons(np.full(len(sculpt.triangles), 3), sculpt.triangles.ravel(), len(sculpt.positions))
    theirs = _height(Surface(corners, sculpt.positions), ROUGHNESS_WIDTH * scale)
    where = sculpt.nearby(surface.positions[chosen])
    off = (theirs[sculpt.triangles[where.triangle]] * where.bary).sum(1) - ours
    return float(1.4826 * np.median(np.abs(off)) / scale) if len(off) else 0.0


def smoothed(surface: Surface, values: Rows, width: float, steps: int = 60) -> Rows:
    """(n, k) values spread over `width`: one backward Euler step of diffusion, solved by conjugate gradients."""
    t = 0.5 * width**2
    matrix, mass = surface.laplacian.tocsr(), surface.mass
    diagonal = mass + t * matrix.diagonal()

    def product(x: Rows) -> Rows:
        return mass[:, None] * x + t * (matrix @ x)

    return conjugate_gradients(product, mass[:, None] * values, values, lambda r: r / diagonal[:, None], steps)[0]


def _height(surface: Surface, width: float) -> Rows:
    return ((surface.positions - smoothed(surface, surface.positions, width)) * surface.vertex_normals).sum(1)


def conjugate_gradients(
    product: Solve, right: Rows, start: Rows, precondition: Solve, steps: int, error: float = CG_ERROR
) -> tuple[Rows, int]:
    """The solution (n, k) of one symmetric positive definite system over all columns, and the steps it took."""
    x = start
    residual = right - product(x)
    z = precondition(residual)
    p, rz = z.copy(), float((residual * z).sum())
    first = float(np.sqrt(abs((right * precondition(right)).sum())))
    done = 0
    while done < steps and np.sqrt(abs(rz)) > error * first and first > 0:
        ap = product(p)
        bend = float((p * ap).sum())
        if not bend > 0:  # rounding has taken the matrix's definiteness: what there is, is as good as it gets
            break
        along = rz / bend
        x = x + along * p
        residual = residual - along * ap
        z = precondition(residual)
        following = float((residual * z).sum())
        p = z + (following / rz) * p
        rz = following
        done += 1
    return x, done


@dataclass(frozen=True, eq=False)
class _Marks:
    """What landmarks pull: `at` (k, s) sparse, the place of each on the cage; points' targets (p, 3) first, then the
    curves' places, each with the polyline it slides along and whether it is an end of it."""

    at: sp.csr_matrix
    points: Rows
    lines: tuple[tuple[slice, Rows], ...]

    @classmethod
    def of(cls, skin: Skin, pairs: Pairs, place: Rows) -> _Marks:
        """From pairs on the head's own place (n, 3)."""
        own = ClosestSurface(place[skin.vertices], skin.polygons.triangles)
        rows, columns, data = [], [], []
        count = 0

        def add(vertices: NDArray, positions: Rows) -> None:
            nonlocal count
            known = (vertices >= 0) & (skin.rank[np.maximum(vertices, 0)] >= 0)
            found = own.nearby(positions)
            for i, vertex in enumerate(vertices):
                if known[i]:
                    rows.append([count])
                    columns.append([skin.rank[vertex]])
                    data.append([1.0])
                else:
                    rows.append([count] * 3)
                    columns.append(list(own.triangles[found.triangle[i]]))
                    data.append(list(found.bary[i]))
                count += 1

        add(pairs.vertices, pairs.head)
        lines = []
        for here, there, ids in pairs.curves.values():
            start = count
            add(ids, here)
            lines.append((slice(start, count), there))
        flat = [np.concatenate([np.asarray(v, dtype=float) for v in part]) for part in (data, rows, columns)]
        at = sp.csr_matrix((flat[0], (flat[1].astype(int), flat[2].astype(int))), shape=(count, len(skin.vertices)))
        return cls(at, pairs.sculpt, tuple(lines))

    def pulls(self, positions: Rows) -> tuple[Rows, Blocks, Rows]:
        """Targets (k, 3), projectors (k, 3, 3) and weights (k,) at the skin's positions (s, 3)."""
        here = self.at @ positions
        target = np.empty_like(here)
        block = np.tile(np.eye(3), (len(here), 1, 1))
        weight = np.full(len(here), 1.0 / LANDMARK**2)
        p = len(self.points)
        target[:p] = self.points
        for rows, line in self.lines:
            target[rows], along = on_polyline(here[rows], line)
            block[rows] -= along[:, :, None] * along[:, None, :]
            weight[rows] = 1.0 / CURVE**2
        return target, block, weight


@dataclass(frozen=True, eq=False)
class _Pull:
    """What one round wants: for each vertex (s,) the `weight` of its plane, the plane's `normal` (s, 3) and how far
    `off` it is; for each landmark (k,) a `block` (k, 3, 3) and how far it is to be `moved` (k, 3) in all."""

    weight: Rows
    normal: Rows
    off: Rows
    block: Blocks
    moved: Rows


class _Bend:
    """The stages: holds P0, the deviation so far, and solves one stage after the other."""

    def __init__(
        self, surface: Surface, rest: Surface, sculpt: ClosestSurface, follow: Rows, marks: _Marks, scale: float,
        prior: float,
    ) -> None:  # fmt: skip
        """`surface` is P0; the stiffness is that of `rest`, the head's own, whose triangles no landmark has spoilt;
        `prior`, in units of the diagonal, is how far P0 may be expected to be off."""
        self.surface, self.sculpt, self.marks, self.scale, self.prior = surface, sculpt, marks, scale, prior
        self.follow = follow
        mass = rest.mass / scale**2
        self.mass = np.maximum(mass, 0.05 * np.median(mass))
        self.share = self.mass / self.mass.sum()
        self.laplacian = rest.laplacian.tocsr()
        self.deviation = np.zeros_like(surface.positions)
        self.border = surface.polygons.border_vertices

    @property
    def positions(self) -> Rows:
        """(s, 3) where the skin's vertices are now."""
        return self.surface.positions + self.deviation * self.scale

    def whole(self, wavelength: float, sigma: float, rounds: int) -> BendPass:
        """Some rounds in which the deviation is a sum of the surface's smoothest functions: a small dense system.

        `wavelength` and `sigma` are in units of the diagonal.
        """
        waves = smoothest(self.laplacian, self.mass, min(WAVES, max(len(self.mass) // COARSEST, 1)))
        stiff = self._stiffness(wavelength) * waves.rates**3
        at_marks = self.marks.at @ waves.functions
        heard = np.arange(len(self.mass))
        if len(heard) > ENOUGH:
            heard = np.sort(np.random.default_rng(0).choice(heard, ENOUGH, replace=False))
        here, amounts = waves.functions[heard], np.zeros((waves.functions.shape[1], 3))
        single = here.astype(np.float32)
        for _ in range(rounds):
            pull = self._pull(sigma, moved_by=at_marks @ amounts)
            amounts = _amounts(pull, here, single, at_marks, heard, amounts, stiff)
            self.deviation = waves.functions @ amounts
        return self._stage("whole", wavelength, sigma, pull)

    def local(self, wavelength: float, sigma: float, rounds: int) -> BendPass:
        """Some rounds over every vertex, about the deviation that there is: what is still wanted here and there."""
        inverse = sp.diags(1.0 / self.mass)
        third = (self.laplacian @ inverse @ self.laplacian @ inverse @ self.laplacian).tocsr()
        stiff = third * self._stiffness(wavelength)
        kept = stiff @ self.deviation
        precondition: Solve | None = None
        marks = self.marks.at
        for _ in range(rounds):
            pull = self._pull(sigma, moved_by=marks @ self.deviation)
            blocks = pull.weight[:, None, None] * pull.normal[:, :, None] * pull.normal[:, None, :]
            right = kept + np.einsum("nij,nj->ni", blocks, self.deviation)
            right += (pull.weight * pull.off)[:, None] * pull.normal
            right += marks.T @ np.einsum("nij,nj->ni", pull.block, pull.moved)
            if precondition is None:
                trace = np.einsum("nii->n", pull.block)[:, None] / 3
                hold = sp.diags(np.einsum("nii->n", blocks) / 3) + marks.T @ marks.multiply(trace)
                factor = factorise(stiff + hold)

                def precondition(r: Rows, factor=factor) -> Rows:  # type: ignore[misc]
                    return factor.solve(np.asfortranarray(r))

            def product(x: Rows, blocks: Blocks = blocks, block: Blocks = pull.block) -> Rows:
                held = marks.T @ np.einsum("nij,nj->ni", block, marks @ x)
                return stiff @ x + np.einsum("nij,nj->ni", blocks, x) + held

            self.deviation, _ = conjugate_gradients(product, right, self.deviation, precondition, CG_STEPS)
        return self._stage("local", wavelength, sigma, pull)

    def _pull(self, sigma: float, moved_by: Rows) -> _Pull:
        """What the sculpt and the landmarks want of the skin as it is; `moved_by` (k, 3) is what the deviation does to
        the landmarks."""
        here = self.positions
        found = self.sculpt.nearby(here)
        weight = self._weights(found.normal, found.distance, found.on_border, here, sigma)
        off = ((found.points - here) * found.normal).sum(1) / self.scale
        target, block, strength = self.marks.pulls(here)
        block = block * (strength / len(here))[:, None, None]
        return _Pull(weight, found.normal, off, block, moved_by + (target - self.marks.at @ here) / self.scale)

    def _stage(self, name: str, wavelength: float, sigma: float, pull: _Pull) -> BendPass:
        used = pull.weight > 0
        found = self.sculpt.nearby(self.positions)
        median = float(np.median(found.distance[used])) if used.any() else 0.0
        return BendPass(name, wavelength, sigma, median, int(used.sum()))

    def _stiffness(self, wavelength: float) -> float:
        """What |grad Lap d|^2 costs."""
        return (wavelength / (2 * np.pi)) ** 6 / self.prior**2

    def _weights(self, normal: Rows, distance: Rows, on_border: Flags, here: Rows, sigma: float) -> Rows:
        """(s,) how much each vertex's plane counts: share, free zones, normals, borders and distance."""
        agree = (self.surface.at(here).vertex_normals * normal).sum(1)
        off = distance / self.scale
        usual = max(FOLLOWS * sigma, 3.0 * float(np.median(off)))
        robust = 1.0 / (1.0 + (off / usual) ** 2) ** 2
        fits = (agree > AGREE) & (~on_border | self.border)
        return self.share * self.follow * robust * fits / sigma**2


def _amounts(
    pull: _Pull, here: Rows, single: NDArray[np.float32], at_marks: Rows, heard: NDArray, before: Rows, stiff: Rows
) -> Rows:
    """(k, 3) how much of each of k functions is wanted in a round. `here` (h, k) are their values at the vertices
    `heard` (h,), `single` the same in float32, `at_marks` at the landmarks; `before` (k, 3) is what the deviation was.
    """
    k = here.shape[1]
    weight = pull.weight[heard] * (len(pull.weight) / len(heard))
    normal = pull.normal[heard]
    along = (normal * (here @ before)).sum(1) + pull.off[heard]
    wanted = np.einsum("nij,nj->ni", pull.block, pull.moved)
    left, right = np.empty((3, k, 3, k)), np.empty((3, k))
    for i in range(3):
        right[i] = here.T @ (weight * along * normal[:, i]) + at_marks.T @ wanted[:, i]
        for j in range(i, 3):
            both = (weight * normal[:, i] * normal[:, j]).astype(np.float32)
            part = (single.T @ (both[:, None] * single)).astype(np.float64)
            part += at_marks.T @ (pull.block[:, i, j][:, None] * at_marks)
            left[i, :, j, :], left[j, :, i, :] = part, part.T
        left[i, :, i, :] += np.diag(stiff)
    whole = left.reshape(3 * k, 3 * k)
    return la.solve(whole, right.ravel(), assume_a="sym").reshape(3, k).T


__all__ = ["BendPass", "Fitted", "Skin", "conjugate_gradients", "fit", "own_detail", "smoothed", "unit_rows"]
