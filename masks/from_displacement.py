"""Regions from what moves together in a library, for heads that nobody has marked.

The head's own motion is taken out of every shape (`composer.geometry.common_motion`), for scans are never quite
still. What is left is
read as amounts, a profile for every vertex: how far each shape moves it, each shape and each vertex put on a like
scale, so that a dropped jaw does not speak louder than every brow and lid together. On a symmetric head the two sides
are laid on one another, and a place knows how far each shape moves it and its partner; so the sides come out as mirror
images. The profiles are taken apart into sparse localised components (`masks.localised`); every vertex goes to its
strongest, pieces that touch and move alike are joined (Ward 1963, "Hierarchical grouping to optimize an objective
function"), and a soft border is laid between. The same library gives the same regions, however numbered.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy.sparse as sp
from numpy.typing import ArrayLike, NDArray
from scipy.sparse.csgraph import connected_components

from composer.errors import MoueError
from composer.geometry.common_motion import without_head_motion
from composer.geometry.marching import Marching
from composer.geometry.surface import Floats, Surface
from masks.localised import localised_components, strongest_place
from masks.soften import smoothstep

MOVES = 0.1
"""A vertex belongs to a region where a shape moves it by this share of the most that any vertex is moved."""
QUIET, NOISE = 0.1, 4.0
"""What the quietest tenth of the skin does in a shape is the scanner's noise, and so is four times as much anywhere."""
FAINT = 0.2
"""Of a strong motion: where a vertex moves less than this, its profile counts for less."""
FINEST = 32
"""Components sought, both sides counted, however few regions are asked for: pieces that move alike are joined."""
REACH = 2.3
"""How far a component reaches, in mean widths of the components."""
ALIKE = 0.02
"""Touching pieces whose profiles differ by less than this (one less the cosine) are one region."""
CENTRAL = 0.28
"""A region and its mirror image are one where they lie no further from the midline, in the mean, than this share of
the width of both; a square across the midline has 1/4.
"""
CRUMB = 0.12
"""A piece of a region smaller than this share of it goes to its neighbours."""


@dataclass(frozen=True, eq=False)
class MovingRegions:
    """`masks` {name: (n,)} summing to at most 1, strongest first, a left one before its mirror image; `seeds` {name:
    vertex}, where each is most itself; `held`, the share of the library's motion (squared displacement by area, less
    the head's) under the masks; `ramp_mm` between them.
    """

    masks: dict[str, Floats]
    seeds: dict[str, int]
    held: float
    ramp_mm: float


def from_displacement(
    surface: Surface,
    deltas: Sequence[ArrayLike] | NDArray,
    n_regions: int = 12,
    ramp_mm: float | None = None,
    skin: ArrayLike | None = None,
    partner: ArrayLike | None = None,
) -> MovingRegions:
    """Regions of what moves together in `deltas`, s arrays (n, 3) in mm.

    `n_regions` at most; fewer where the library has less to part. `ramp_mm` between them: unless said, by the
    regions' widths. `skin` (n,) bool leaves parts out. With `partner` (n,), the vertex on the other side of
    each, regions are mirror images of each other or of themselves. Raises MoueError where there is no shape, none
    moves the skin, shapes or mirror map do not fit, or no region is asked for.
    """
    n = surface.n_vertices
    on_skin = np.ones(n, dtype=bool) if skin is None else np.asarray(skin, dtype=bool)
    if on_skin.shape != (n,):
        raise MoueError("the skin must be one flag a vertex")
    if n_regions < 1:
        raise MoueError("at least one region must be asked for")
    other = None if partner is None else np.asarray(partner, dtype=np.int64)
    if other is not None and (other.shape != (n,) or not np.array_equal(np.sort(other), np.arange(n))):
        raise MoueError(f"the mirror map is not a permutation of the mesh's {n} vertices")
    amounts = _amounts(surface, deltas, on_skin)
    energy = np.einsum("sn,sn->n", amounts, amounts) * surface.mass
    if not energy.sum() > 0:
        raise MoueError("no shape moves the skin, so nothing moves together")
    map_ = _Moving.of(surface, amounts, other)
    parted = _parted(map_, n_regions)
    ramp = _ramp(parted) if ramp_mm is None else float(ramp_mm)
    weights, seeds = _softened(Marching(surface, ~on_skin), map_, parted, ramp)
    held = float((np.sum(weights, axis=0) * energy).sum() / energy.sum())
    digits = max(2, len(str(len(weights))))
    names = [f"moves_{rank + 1:0{digits}d}" for rank in range(len(weights))]
    return MovingRegions(dict(zip(names, weights, strict=True)), dict(zip(names, seeds, strict=True)), held, ramp)


def _amounts(surface: Surface, deltas: Sequence[ArrayLike] | NDArray, on_skin: NDArray[np.bool_]) -> Floats:
    """(s, n) how far each shape moves each vertex of the skin in mm, the head's own motion taken out."""
    if len(deltas) == 0:
        raise MoueError("the library has no shape to look at")
    n = surface.n_vertices
    mass = surface.mass * on_skin
    amounts = np.zeros((len(deltas), n))
    for i, delta in enumerate(deltas):
        moved = np.asarray(delta)
        if moved.shape != (n, 3):
            raise MoueError(f"shape {i} has {moved.shape} numbers, the mesh {n} vertices")
        if not np.isfinite(moved).all():
            raise MoueError(f"shape {i} moves a vertex by what is not a number")
        if not on_skin.any():
            continue
        still = without_head_motion(surface.positions, mass, moved)
        amount = np.sqrt(np.einsum("ij,ij->i", still, still))
        tremor = NOISE * float(np.quantile(amount[on_skin], QUIET))
        amounts[i] = np.maximum(amount - tremor, 0.0) * on_skin
    return amounts


@dataclass(frozen=True, eq=False)
class _Moving:
    """The m vertices to be parted (with a mirror map those of one side) and what is known of each: `features` (f, m),
    `mass` (m,) mm^2, `graph` (m, m) mm, `aside` (m,) how far it is from the midline in mm, `loudest` (m,) the most
    that a shape moves it, `partner` (n,) or None.
    """

    vertices: NDArray[np.int64]
    features: Floats
    mass: Floats
    graph: sp.csr_matrix
    positions: Floats
    aside: Floats
    loudest: Floats
    partner: NDArray[np.int64] | None

    @classmethod
    def of(cls, surface: Surface, amounts: Floats, partner: NDArray[np.int64] | None) -> _Moving:
        """What moves, and how, from amounts (s, n) in mm."""
        peak = np.sqrt(amounts.max(axis=1, keepdims=True))
        loud = (amounts / np.maximum(peak, 1e-12)).max(axis=0)
        if partner is not None:
            loud = np.maximum(loud, loud[partner])
        moves = loud >= MOVES * loud.max()
        if partner is not None:
            moves &= _one_side(surface.positions, partner)
        vertices = np.flatnonzero(moves)
        size = np.sqrt(np.einsum("sn,sn,n->s", amounts, amounts, surface.mass))
        even = amounts / np.sqrt(np.maximum(size, 1e-12))[:, None]
        here = even[:, vertices]
        if partner is not None:
            here = np.concatenate([here, even[:, partner[vertices]]])
        length = np.sqrt(np.einsum("fm,fm->m", here, here))
        strong = np.sqrt(np.einsum("sn,sn->n", amounts[:, vertices], amounts[:, vertices]))
        faint = FAINT * np.sqrt(np.average(strong**2, weights=surface.mass[vertices]))
        features = here * (strong / np.sqrt(strong**2 + faint**2) / np.maximum(length, 1e-12))
        across = vertices if partner is None else partner[vertices]
        aside = 0.5 * np.linalg.norm(surface.positions[vertices] - surface.positions[across], axis=1)
        graph = surface.ways.graph[vertices][:, vertices].tocsr()
        return cls(
            vertices, features, surface.mass[vertices], graph, surface.positions[vertices], aside, loud[vertices],
            partner,
        )  # fmt: skip


def _one_side(positions: Floats, partner: NDArray[np.int64]) -> NDArray[np.bool_]:
    """(n,) the vertices on one side of the mirror and on the midline: that of larger x, where x tells."""
    across = positions - positions[partner]
    normal = across[np.argmax(np.einsum("ij,ij->i", across, across))]
    normal = normal * np.sign(normal[np.argmax(np.abs(normal) > 1e-6 * np.abs(normal).max())])
    return np.asarray(across @ normal >= 0)


@dataclass(frozen=True, eq=False)
class _Piece:
    """A region in the making: `mine` (m,) its places, and summed over them by area the features (f,), the area itself
    in mm^2 and the distance from the midline. `pair`: its mirror image is a region of its own.
    """

    mine: NDArray[np.bool_]
    summed: Floats
    area: float
    aside: float
    pair: bool

    @classmethod
    def of(cls, map_: _Moving, mine: NDArray[np.bool_]) -> _Piece:
        """The piece of these places (m,)."""
        mass = map_.mass[mine]
        area, aside = float(mass.sum()), float(map_.aside[mine] @ mass)
        pair = map_.partner is not None and not _central(area, aside)
        return cls(mine, map_.features[:, mine] @ mass, area, aside, pair)

    def joined(self, other: _Piece) -> _Piece:
        """Both as one."""
        area, aside = self.area + other.area, self.aside + other.aside
        pair = (self.pair or other.pair) and not _central(area, aside)
        return _Piece(self.mine | other.mine, self.summed + other.summed, area, aside, pair)

    @property
    def regions(self) -> int:
        """How many regions it will be."""
        return 2 if self.pair else 1


def _central(area: float, aside: float) -> bool:
    return aside <= CENTRAL * area * float(np.sqrt(2.0 * area))


def _parted(map_: _Moving, n_regions: int) -> list[_Piece]:
    """The regions, strongest first."""
    folded = map_.partner is not None
    count = max(FINEST, n_regions) // (2 if folded else 1)
    reach = REACH * float(np.sqrt(map_.mass.sum() / count))
    found = localised_components(map_.features, map_.mass, map_.positions, map_.graph, count, reach)
    labels = _whole(map_, np.argmax(found.fields, axis=0))
    pieces = [_Piece.of(map_, labels == label) for label in range(labels.max() + 1)]
    while len(pieces) > 1:
        unlike, a, b = _cheapest(map_, pieces)
        if sum(piece.regions for piece in pieces) <= n_regions and unlike > ALIKE:
            break
        pieces[a] = pieces[a].joined(pieces[b])
        del pieces[b]
    if sum(piece.regions for piece in pieces) > n_regions:
        pieces = [replace(piece, pair=False) for piece in pieces]
    strength = [float(map_.loudest[piece.mine] ** 2 @ map_.mass[piece.mine]) * piece.regions for piece in pieces]
    return [pieces[i] for i in np.argsort(-np.array(strength), kind="stable")]


def _cheapest(map_: _Moving, pieces: list[_Piece]) -> tuple[float, int, int]:
    """The two pieces that are best joined, touching ones first: how unlike they are (1 where apart), and which two.

    What it costs is Ward's increase of the spread, widths in the place of areas, for every region that it saves.
    """
    label = np.zeros(len(map_.mass), dtype=np.int64)
    for number, piece in enumerate(pieces):
        label[piece.mine] = number
    graph = map_.graph.tocoo()
    meet = set(np.unique(label[graph.row] * len(pieces) + label[graph.col]).tolist())
    best = (2, np.inf, 1.0, 0, 1)
    for b, two in enumerate(pieces):
        for a, one in enumerate(pieces[:b]):
            apart = one.summed / one.area - two.summed / two.area
            width = 1.0 / (1.0 / np.sqrt(one.area) + 1.0 / np.sqrt(two.area))
            saved = one.regions + two.regions - one.joined(two).regions
            lengths = float(np.linalg.norm(one.summed) * np.linalg.norm(two.summed))
            unlike = 1.0 - float(one.summed @ two.summed) / max(lengths, 1e-12)
            apart_in_space = a * len(pieces) + b not in meet
            cost = width * float(apart @ apart) / min(max(saved, 0.5), 2)
            best = min(best, (int(apart_in_space), cost, 1.0 if apart_in_space else unlike, a, b))
    return best[2:]


def _ramp(parted: list[_Piece]) -> float:
    """Half the narrowest region's width, or a quarter of the mean one's: what suits a jaw would drown a lid. Mm."""
    widths = np.sqrt([piece.area for piece in parted])
    return float(min(0.5 * widths.min(), 0.25 * widths.mean()))


def _whole(map_: _Moving, labels: NDArray[np.int64]) -> NDArray[np.int64]:
    """Labels (m,) numbered from 0, every one in one piece: large pieces become labels of their own, and crumbs go, the
    largest first, to the piece that they touch and that moves most as they do, or lies nearest where they touch none.
    """
    graph = map_.graph.tocoo()
    same = labels[graph.row] == labels[graph.col]
    inside = sp.csr_matrix((graph.data[same], (graph.row[same], graph.col[same])), shape=graph.shape)
    count, piece = connected_components(inside, directed=False)
    area = np.bincount(piece, weights=map_.mass)
    of = np.zeros(count, dtype=np.int64)
    of[piece] = labels
    kept = area >= CRUMB * np.bincount(labels, weights=map_.mass)[of]
    among = sp.csr_matrix((map_.mass / area[piece], (piece, np.arange(len(piece)))), shape=(count, len(piece)))
    centres, profiles = among @ map_.positions, among @ map_.features.T
    profiles /= np.maximum(np.linalg.norm(profiles, axis=1, keepdims=True), 1e-12)
    ones = np.ones(len(graph.row))
    touch = sp.csr_matrix((ones, (piece[graph.row], piece[graph.col])), shape=(count, count))
    order = np.flatnonzero(kept)
    order = order[np.lexsort(centres[order].round(6).T[::-1])]
    rank = np.full(count, -1, dtype=np.int64)
    rank[order] = np.arange(len(order))
    crumbs = np.flatnonzero(~kept)
    waiting = crumbs[np.lexsort((*centres[crumbs].round(6).T[::-1], -area[crumbs].round(6)))].tolist()
    beside = {c: touch.indices[touch.indptr[c] : touch.indptr[c + 1]] for c in waiting}
    while waiting:
        first = next((i for i, c in enumerate(waiting) if (rank[beside[c]] >= 0).any()), None)
        crumb = waiting.pop(first or 0)
        if first is None:
            best = order[np.argmin(np.linalg.norm(centres[order] - centres[crumb], axis=1))]
        else:
            near = beside[crumb][rank[beside[crumb]] >= 0]
            best = near[np.argmax(profiles[near] @ profiles[crumb])]
        rank[crumb] = rank[best]
    return rank[piece]


def _softened(
    marching: Marching, map_: _Moving, parted: list[_Piece], ramp_mm: float
) -> tuple[list[Floats], list[int]]:
    """Masks (n,) with a ramp of `ramp_mm` centred on their borders, 1 in sum on all that moves, fading to 0 over as
    much beyond, where the borders go on; and the place of each that moves most.
    """
    partner = map_.partner
    away: list[Floats] = []
    seeds: list[int] = []
    for piece in parted:
        own = map_.vertices[piece.mine]
        seeds.append(int(own[strongest_place(map_.loudest[piece.mine], map_.positions[piece.mine])]))
        if partner is None or piece.pair:
            away.append(_away(marching, own, 1.5 * ramp_mm))
        else:
            away.append(_evenly(_away(marching, np.union1d(own, partner[own]), 1.5 * ramp_mm), partner))
        if partner is not None and piece.pair:
            away.append(away[-1][partner])
            seeds.append(int(partner[seeds[-1]]))
    out = np.minimum.reduce(away)
    if ramp_mm <= 0:
        masks = [(far == 0).astype(np.float64) for far in away]
        outer = (out == 0).astype(np.float64)
    else:
        masks = [smoothstep(1.0 - (far - out) / (0.5 * ramp_mm)) for far in away]
        outer = smoothstep(1.0 - out / ramp_mm)
    total = np.sum(masks, axis=0)
    if partner is not None:
        total = _evenly(total, partner)
    return [mask * (outer / total) for mask in masks], seeds


def _evenly(values: Floats, partner: NDArray[np.int64]) -> Floats:
    """(n,) values that are the same on both sides, to the bit."""
    return 0.5 * (values + values[partner])


def _away(marching: Marching, vertices: NDArray[np.int64], limit_mm: float) -> Floats:
    """(n,) how far it is from `vertices` (k,) along the surface, `limit_mm` where further."""
    far = np.zeros(marching.surface.n_vertices) + max(limit_mm, 1.0)
    if limit_mm > 0:
        far = np.minimum(marching.from_vertices(vertices, limit_mm), limit_mm)
    far[vertices] = 0.0
    return far
