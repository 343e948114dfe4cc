"""The insides of a face, that is the mouth bag and the eye sockets, where no region grows by itself, and the division
of the lips into upper and lower.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.csgraph import dijkstra

from composer.errors import MoueError
from composer.geometry.marching import Marching
from composer.geometry.surface import Floats, Surface
from masks.from_loops import enclosed
from masks.soften import smoothstep

Flags = NDArray[np.bool_]
HOLLOWS = ("mouth_inner", "socket_left", "socket_right")
LIP_CURVES = ("upper_lip", "lower_lip", "lip_line_upper", "lip_line_lower")


@dataclass(frozen=True, eq=False)
class Hollows:
    """`rims` (n,) vertices at which fronts end; `inside` (n,) vertices behind them; `source` (n,) the rim vertex
    nearest to each inside vertex, itself elsewhere; `depth_mm` (n,) how far behind the rim, 0 elsewhere.
    """

    rims: Flags
    inside: Flags
    source: NDArray[np.int64]
    depth_mm: Floats

    def filled(self, values: Floats, fade_mm: float) -> Floats:
        """(n,) mask values (n,) extended from the rims into the hollows, fading to 0 within `fade_mm`."""
        fading = smoothstep(1.0 - self.depth_mm / fade_mm) if fade_mm > 0 else (self.depth_mm <= 0).astype(float)
        return np.where(self.inside, values[self.source] * fading, values)


def find_hollows(surface: Surface, curves: Mapping[str, NDArray[np.int64]], notes: list[str]) -> Hollows:
    """The hollows behind the curves of HOLLOWS in `curves` (closed lists of vertices); a sentence is added to `notes`
    for each curve that encloses nothing.
    """
    n = surface.n_vertices
    rims, inside = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
    for name in HOLLOWS:
        if name not in curves:
            continue
        rims[curves[name]] = True
        try:
            inside |= enclosed(surface, curves[name])
        except MoueError as error:
            notes.append(f"The curve {name} parts nothing off: {error}; look whether it is closed.")
    inside &= ~rims
    source, depth = np.arange(n), np.zeros(n)
    if inside.any():
        shut = ~inside & ~rims
        graph = Marching(surface, shut).graph
        far, _, nearest = dijkstra(graph, indices=np.flatnonzero(rims), min_only=True, return_predecessors=True)
        deep = inside & np.isfinite(far)
        source[deep], depth[deep] = nearest[deep], far[deep]
        depth[inside & ~deep] = np.inf
    return Hollows(rims, inside, source, depth)


def part_lips(surface: Surface, curves: Mapping[str, NDArray[np.int64]], hollows: Hollows) -> dict[str, Flags] | None:
    """(n,) flags of the vertices of the "upper" and of the "lower" lip: within the borders of the red of the lips,
    and nearer along the surface to its own line of contact than to the other's, the inner side of the lips up to
    the mouth's bag taken with them. The corners, which both lips share, are in neither. None where one of LIP_CURVES
    is missing or has no vertex of its own, or the lips' border parts nothing.
    """
    if any(len(curves.get(name, ())) < 3 for name in LIP_CURVES):
        return None
    upper, lower = curves["upper_lip"], curves["lower_lip"]
    corners = np.intersect1d(upper[[0, -1]], lower[[0, -1]])
    ring = np.concatenate([upper, lower[::-1]])
    middle = int(curves["lip_line_upper"][len(curves["lip_line_upper"]) // 2])
    try:
        red = enclosed(surface, ring, middle)
    except MoueError:
        return None
    lines = {side: curves[f"lip_line_{side}"] for side in ("upper", "lower")}
    shared = np.union1d(np.intersect1d(lines["upper"], lines["lower"]), corners)
    if any(not len(np.setdiff1d(line, shared)) for line in lines.values()):
        return None
    marching = Marching(surface, hollows.rims | hollows.inside)
    limit = float(np.linalg.norm(np.diff(surface.positions[upper], axis=0), axis=1).sum())
    reach = {side: marching.from_vertices(np.setdiff1d(line, shared), limit) for side, line in lines.items()}
    red[np.concatenate([upper, lower])] = True
    red &= ~hollows.inside
    lips: dict[str, Flags] = {}
    for side, other, border in (("upper", "lower", upper), ("lower", "upper", lower)):
        flags = red & (reach[side] < reach[other])
        flags[border] = True
        flags[lines[side]] = True
        flags[lines[other]] = False
        flags[shared] = False
        lips[side] = flags
    lips["upper"][lower] = False
    lips["lower"][upper] = False
    return lips
