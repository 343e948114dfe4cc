"""Regions from what moves together in a library, for heads that nobody has marked.

How far each shape moves each place (`masks.motion_amounts`) makes a profile for every place (`masks.moving_places`);
places that move alike are joined into pieces (`masks.moving_pieces`), and between them lie soft borders, each with a
ramp of its own (`masks.border_ramps`). On a symmetric head the regions are mirror images of each other or of
themselves. The same library gives the same regions, however numbered.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from composer.errors import MoueError
from composer.geometry.marching import Marching
from composer.geometry.surface import Floats, Surface
from masks.border_ramps import Territories, half_ramps, softened, widest
from masks.localised import strongest_place
from masks.motion_amounts import motion_amounts
from masks.moving_pieces import MovingPiece, moving_pieces
from masks.moving_places import MovingPlaces
from masks.soften import inward_distance
from masks.turned_faces import MOST_STEPS, STEP, FaceTurns, tight_borders

FLOOR_EDGES, FLOOR_SHARE = 2.0, 0.06
"""No ramp is narrower than two edges of the mesh, nor than 6 percent of the face's width, unless asked for: a mask
needs some vertices to change over, and of narrower ones mixed faces turn over (set on five heads)."""
CRUMB_WIDTHS = 1.2
"""A piece of a region whose width is less than this many floors of a ramp cannot hold its two ramps: it goes to a
neighbour."""
REACH_SHARE = 0.35
"""Of the face's width: how far from a region its distance is told, and so the most that half a ramp can be."""


@dataclass(frozen=True, eq=False)
class MovingRegions:
    """`masks` {name: (n,)} summing to at most 1, strongest first, a left one before its mirror image; `seeds` {name:
    vertex}, where each is most itself; `held`, the share of the library's motion on the skin (squared displacement by
    area, less the head's own motion) under the masks; `ramps_mm` {(name, name): mm} from full to none between regions
    that meet; `uncertain`, the shapes (by number) in which the head's own motion is a guess.
    """

    masks: dict[str, Floats]
    seeds: dict[str, int]
    held: float
    ramps_mm: dict[tuple[str, str], float]
    uncertain: tuple[int, ...] = ()


def from_displacement(
    surface: Surface,
    deltas: Sequence[ArrayLike] | NDArray,
    n_regions: int = 12,
    ramp_mm: float | None = None,
    skin: ArrayLike | None = None,
    partner: ArrayLike | None = None,
    softness: float = 1.0,
) -> MovingRegions:
    """Regions of what moves together in `deltas`, s arrays (n, 3) in mm.

    `n_regions` at most; fewer where the library has less to part. `ramp_mm`, from full to none, between all of them;
    unless said each border has `softness` times the width over which the motion itself falls off there (1.6 is soft).
    `skin` (n,) bool leaves parts out. With `partner` (n,), the vertex on the other side of each, regions are mirror
    images of each other or of themselves. Raises MoueError where there is no shape, none moves the skin, shapes or
    mirror map do not fit, no region is asked for, or a ramp is negative.
    """
    on_skin, other = _checked(surface.n_vertices, n_regions, skin, partner)
    if softness <= 0 or (ramp_mm is not None and ramp_mm < 0):
        raise MoueError("a ramp cannot be negative")
    moved = motion_amounts(surface, deltas, on_skin)
    if not moved.told.any():
        raise MoueError("no shape moves the skin, so nothing moves together")
    moving = MovingPlaces.of(surface, moved.told, other)
    floor = max(FLOOR_EDGES * float(np.median(surface.edge_lengths)), FLOOR_SHARE * moving.width)
    pieces = moving_pieces(moving, n_regions, (CRUMB_WIDTHS * floor) ** 2)
    ground, seeds = _territories(Marching(surface, ~on_skin), moving, pieces, ramp_mm)
    if ramp_mm is None:
        half = half_ramps(ground, moved.told, surface.mass, floor, moving.width, softness)
        half, weights = _unturned(FaceTurns(surface, on_skin, moved.still), ground, half, surface.mass, floor)
    else:
        half = np.full((len(seeds),) * 2, 0.5 * ramp_mm)
        weights = softened(ground, half, 0.5 * ramp_mm)
    weights *= on_skin
    held = float(weights.sum(axis=0) @ moved.energy / moved.energy.sum())
    digits = max(2, len(str(len(weights))))
    names = [f"moves_{rank + 1:0{digits}d}" for rank in range(len(weights))]
    ramps = {(names[a], names[b]): 2.0 * float(half[a, b]) for b in range(len(names)) for a in range(b) if half[a, b]}
    return MovingRegions(
        dict(zip(names, weights, strict=True)), dict(zip(names, seeds, strict=True)), held, ramps,
        tuple(int(i) for i in np.flatnonzero(moved.uncertain)),
    )  # fmt: skip


def _checked(
    n: int, n_regions: int, skin: ArrayLike | None, partner: ArrayLike | None
) -> tuple[NDArray[np.bool_], NDArray[np.int64] | None]:
    on_skin = np.ones(n, dtype=bool) if skin is None else np.asarray(skin, dtype=bool)
    if on_skin.shape != (n,):
        raise MoueError("the skin must be one flag a vertex")
    if n_regions < 1:
        raise MoueError("at least one region must be asked for")
    other = None if partner is None else np.asarray(partner, dtype=np.int64)
    if other is not None and (other.shape != (n,) or not np.array_equal(np.sort(other), np.arange(n))):
        raise MoueError(f"the mirror map is not a permutation of the mesh's {n} vertices")
    return on_skin, other


def _unturned(
    turns: FaceTurns, ground: Territories, half: Floats, mass: Floats, floor_mm: float
) -> tuple[Floats, Floats]:
    """Half ramps (k, k) in mm, widened where a shape cut by a region turned a face over, and the masks (k, n)."""
    most = widest(ground, mass, floor_mm)
    weights = softened(ground, half, floor_mm)
    for _ in range(MOST_STEPS):
        tight = tight_borders(turns, weights, half)
        tight |= tight[ground.mirror][:, ground.mirror]
        wider = np.where(tight & (half > 0), np.minimum(STEP * half, most), half)
        if np.array_equal(wider, half):
            break
        half = wider
        weights = softened(ground, half, floor_mm)
    return half, weights


def _territories(
    marching: Marching, moving: MovingPlaces, pieces: list[MovingPiece], ramp_mm: float | None
) -> tuple[Territories, list[int]]:
    """Whose each vertex is, how far all are from each region, and of each region the place that moves most."""
    partner, n = moving.partner, marching.surface.n_vertices
    vertices: list[NDArray[np.int64]] = []
    seeds: list[int] = []
    mirror: list[int] = []
    for piece in pieces:
        at = moving.vertices[piece.places]
        seed = int(at[strongest_place(moving.loudest[piece.places], moving.positions[piece.places])])
        if partner is None or not piece.pair:
            vertices.append(at if partner is None else np.union1d(at, partner[at]))
            seeds.append(seed)
            mirror.append(len(mirror))
        else:
            vertices += [at, partner[at]]
            seeds += [seed, int(partner[seed])]
            mirror += [len(mirror) + 1, len(mirror)]
    reach = REACH_SHARE * moving.width if ramp_mm is None else 1.5 * ramp_mm
    away = np.stack([_away(marching, each, reach) for each in vertices])
    if partner is not None:
        away = 0.5 * (away + away[mirror][:, partner])
    owner = np.full(n, -1)
    for number, each in enumerate(vertices):
        owner[each] = number
    return Territories(vertices, away, owner, np.array(mirror), partner, reach), seeds


def _away(marching: Marching, vertices: NDArray[np.int64], limit_mm: float) -> Floats:
    """(n,) how far it is from the region of `vertices` (k,) along the surface, `limit_mm` where further. Its border
    runs midway between its vertices and those outside.
    """
    within = np.zeros(marching.surface.n_vertices)
    within[vertices] = 1.0
    if limit_mm > 0:
        return np.clip(-inward_distance(marching.surface, within, marching, limit_mm), 0.0, limit_mm)
    return 1.0 - within
