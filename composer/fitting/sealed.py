"""Openings of the head that a sculpt has sealed: lips in one sheet, lids in one sheet over the eyeball.

A sealed sculpt has no inner lips for the head's inner lips to lie on, and a fit that followed it would tear them apart.
Seals are detected: across an opening the path over the sculpt goes round the corners, across a seal it is as short as
the lips are high. A band of the head about a seal becomes a free zone and is closed after the fit. A map of space, not
of the surface, carries the band and the hollow behind it from the library's neutral: the similarity of the vertices
round the band, plus a radial basis (multiquadric, Hardy 1971) through the residuals of these vertices and of the
landmarks. So both lips follow their common surroundings and keep their own gap, turned and scaled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components, dijkstra
from scipy.spatial import cKDTree

from composer.fitting.align import Pairs, Similarity, similarity
from composer.fitting.closest import ClosestSurface
from composer.fitting.radial_basis import RadialBasis
from composer.fitting.sculpt import Ball
from composer.fitting.skin import Skin
from composer.fitting.warp import ROUND, warp
from composer.head.head import Head
from composer.head.landmarks import Landmarks

Rows = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

BAND = 0.020
"""Width of the band on either side of the line of contact, as a share of the head's diagonal (chosen on one real scan:
.005 and .007 leave folds at the corners of its mouth)."""
SHORT = 1.6
"""A path over the sculpt of at most this many times the straight distance crosses a seal (our choice: round the corners
of a mouth or an eye it is more than 2)."""
STATIONS = np.linspace(0.36, 0.64, 5)
"""Shares of the length from corner to corner at which the path across is measured: the middle third (our choice)."""
ROUND_BAND = 2
"""Rings of vertices about a band whose motion the band follows (our choice)."""
MOST_HOLLOW = 0.2
"""Share of the skin's vertices beyond which a free zone is not the hollow behind a seal but a mask painted by a person
(our choice)."""


@dataclass(frozen=True, eq=False)
class Seam:
    """An opening of the head that a sculpt may have sealed: its `line` of contact as vertices (l,); vertices `above`
    and `below` (k,) on either side of it, in pairs; the places `between` them (k, 3) on the line; and `across` (a, 2),
    vertices of both rims that stand against each other, none where the rims are not known.
    """

    name: str
    line: Ints
    above: Ints
    below: Ints
    between: Rows
    across: Ints = field(default_factory=lambda: np.zeros((0, 2), dtype=np.int64))


def find_seams(head: Head, marks: Landmarks) -> list[Seam]:
    """The mouth and the eyes of a head by its landmark curves; without curves the mouth by its landmark points."""
    tree = cKDTree(head.neutral[head.skin])
    number = np.flatnonzero(head.skin)

    def curve(name: str) -> Ints | None:
        if name not in marks.curves:
            return None
        line = marks.curves[name]
        if isinstance(line, np.ndarray):
            return line.astype(np.int64)
        return number[tree.query(marks.curve_positions(name, head.neutral))[1]]

    def seam(name: str, one: str, two: str, above: str, below: str) -> Seam | None:
        lines = [curve(n) for n in (one, two)]
        sides = [curve(n) for n in (above, below)]
        if any(line is None or len(line) < 3 for line in lines):
            return None
        rims = [line for line in lines if line is not None]
        outer = [line for line in sides if line is not None and len(line) > 2]
        outer = outer if len(outer) == 2 else rims
        rims, outer = ([_along(rims[0], line, head.neutral) for line in some] for some in (rims, outer))
        middle = 0.5 * (head.neutral[_at_stations(rims[0])] + head.neutral[_at_stations(rims[1])])
        line = np.unique(np.concatenate(rims))
        across = _against_each_other(rims[0], rims[1], head.neutral)
        return Seam(name, line, _at_stations(outer[0]), _at_stations(outer[1]), middle, across)

    seams = [
        seam("mouth", "lip_line_upper", "lip_line_lower", "upper_lip", "lower_lip") or _mouth_by_points(head, marks),
        *(seam(f"{s} eye", f"upper_lid_{s}", f"lower_lid_{s}", f"upper_lid_{s}", f"lower_lid_{s}") for s in
          ("left", "right")),
    ]  # fmt: skip
    return [s for s in seams if s is not None]


def _against_each_other(one: Ints, other: Ints, places: Rows) -> Ints:
    """(a, 2) each vertex of one rim with the vertex of the other that is nearest at `places` (n, 3), corners left out.
    """
    nearest = other[cKDTree(places[other]).query(places[one])[1]]
    pairs = np.stack([one, nearest], axis=1)
    return pairs[~np.isin(pairs, np.intersect1d(one, other)).any(axis=1)]


def _at_stations(line: Ints) -> Ints:
    """The vertices of `line` (l,) at STATIONS."""
    return line[np.rint(STATIONS * (len(line) - 1)).astype(int)]


def _along(first: Ints, line: Ints, places: Rows) -> Ints:
    """`line` in the direction of `first`."""
    ends = places[line[[0, -1]]]
    same = np.linalg.norm(places[first[[0, -1]]] - ends, axis=1).sum()
    return line if same <= np.linalg.norm(places[first[[0, -1]]] - ends[::-1], axis=1).sum() else line[::-1]


def _mouth_by_points(head: Head, marks: Landmarks) -> Seam | None:
    """The mouth without curves: along the skin from corner to corner through stomion."""
    names = ("cheilion_right", "stomion", "cheilion_left", "labiale_superius", "labiale_inferius")
    if any(name not in marks.points for name in names):
        return None
    skin = Skin.of(head)
    places = head.neutral[skin.vertices]
    at = cKDTree(places).query(np.array([marks.position(name, head.neutral) for name in names]))[1]
    graph = _edge_graph(places, skin.polygons.edges)
    _, before = dijkstra(graph, directed=False, indices=at[1], return_predecessors=True)
    line = [int(at[1])]
    for corner in (at[0], at[2]):
        step = int(corner)
        while step >= 0 and step != at[1]:
            line.append(step)
            step = int(before[step])
    number = skin.vertices
    return Seam("mouth", np.unique(number[line]), number[at[3:4]], number[at[4:5]], places[at[1:2]])


def _edge_graph(places: Rows, edges: NDArray) -> sp.csr_matrix:
    """(n, n) the length of each of `edges` (e, 2) between `places` (n, 3)."""
    length = np.linalg.norm(places[edges[:, 0]] - places[edges[:, 1]], axis=1)
    return sp.csr_matrix((np.maximum(length, 1e-12), (edges[:, 0], edges[:, 1])), shape=(len(places),) * 2)


def sealed_seams(
    head: Head, marks: Landmarks, pairs: Pairs, aligned: Similarity, sculpt: ClosestSurface, balls: Sequence[Ball] = (),
    start: Rows | None = None,
) -> tuple[list[Seam], list[str]]:
    """The openings of `head` that `sculpt` has sealed, and a sentence for each.

    The warp of `pairs` and the similarity `aligned` bring the places above and below an opening onto the sculpt. It is
    sealed where most paths between them over the sculpt's edges are short. An eye whose ball is among `balls` is open.
    Without landmarks the places are those of `start` (n, 3), the head as it was found on the sculpt.
    """
    seams = find_seams(head, marks)
    if not seams or (not len(pairs.names) and start is None):
        return [], []
    if start is None:
        known = pairs.without([name for name in pairs.curves if not ("lip" in name or "lid" in name)])
        place, _ = warp(known.moved(aligned.inverse()), head.neutral[Skin.of(head).vertices], head.diagonal)
    sealed: list[Seam] = []
    notes: list[str] = []
    for seam in seams:
        if start is None:
            above, below, between = (
                aligned(place(v)) for v in (head.neutral[seam.above], head.neutral[seam.below], seam.between)
            )
        else:
            above, below = start[seam.above], start[seam.below]
            between = 0.5 * (above + below)
        if any(np.linalg.norm(between.mean(axis=0) - ball.centre) < 2.0 * ball.radius for ball in balls):
            continue
        if _one_sheet(sculpt, above, below, between):
            sealed.append(seam)
            what = "lips are" if seam.name == "mouth" else f"{seam.name} is"
            notes.append(f"The sculpt's {what} sealed: the fit closes the opening and follows the skin around it.")
    return sealed, notes


def _one_sheet(sculpt: ClosestSurface, above: Rows, below: Rows, between: Rows) -> bool:
    """Whether most paths over the sculpt from `above` to `below` (k, 3) go straight across `between` (k, 3)."""
    start, end = sculpt.closest(above), sculpt.closest(below)
    straight = np.linalg.norm(start.points - between, axis=1) + np.linalg.norm(between - end.points, axis=1)
    far = SHORT * straight + 2.0 * sculpt.mean_edge
    middle = between.mean(axis=0)
    reach = 2.0 * float(far.max()) + float(np.linalg.norm(between - middle, axis=1).max())
    near = np.linalg.norm(sculpt.positions - middle, axis=1) < reach
    triangles = sculpt.triangles[near[sculpt.triangles].all(axis=1)]
    if not len(triangles):
        return False
    edges = np.unique(np.sort(triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1), axis=0)
    graph = _edge_graph(sculpt.positions, edges)
    first, last = (sculpt.triangles[c.triangle, c.bary.argmax(axis=1)] for c in (start, end))
    length = dijkstra(graph, directed=False, indices=first, limit=float(far.max()))[np.arange(len(first)), last]
    return bool(np.mean(length <= far) > 0.5)


def seam_zone(head: Head, seam: Seam, free: NDArray) -> Flags:
    """(n,) the skin that follows the surroundings of a sealed `seam`: the band about its line, the part of the free
    zone `free` (n,) behind it, and the skin that these enclose.
    """
    skin = Skin.of(head)
    places = head.neutral[skin.vertices]
    band = cKDTree(head.neutral[seam.line]).query(places)[0] < BAND * head.diagonal
    band |= np.isin(skin.vertices, seam.line)
    hollow = np.asarray(free)[skin.vertices] >= 0.5
    zone = band.copy()
    for others in (hollow & ~band, ~hollow & ~band):
        for piece in _pieces(skin, others):
            if _touches(skin, piece, zone) and piece.sum() < MOST_HOLLOW * len(places):
                zone |= piece
    flags = np.zeros(head.n_vertices, dtype=bool)
    flags[skin.vertices[zone]] = True
    return flags


def _pieces(skin: Skin, chosen: Flags) -> list[Flags]:
    """The connected pieces (s,) of the flagged skin vertices `chosen` (s,)."""
    edges = skin.polygons.edges
    edges = edges[chosen[edges].all(axis=1)]
    n = len(chosen)
    label = connected_components(sp.csr_matrix((np.ones(len(edges)), tuple(edges.T)), shape=(n, n)), directed=False)[1]
    return [chosen & (label == number) for number in np.unique(label[chosen])]


def _touches(skin: Skin, one: Flags, other: Flags) -> bool:
    """Whether an edge joins the two sets of flagged skin vertices (s,)."""
    a, b = skin.polygons.edges.T
    return bool(((one[a] & other[b]) | (one[b] & other[a])).any())


def close_seam(head: Head, positions: Rows, zone: Flags, free: NDArray, pairs: Pairs) -> Rows:
    """(n, 3) the fitted head (n, 3) mm with the flagged `zone` (n,) carried along with its surroundings.

    The map is that of the rings of vertices about the zone that are not in `free` (n,), and of the landmarks of `pairs`
    that are vertices of the zone, which go to their places on the sculpt.
    """
    skin = Skin.of(head)
    inside = zone[skin.vertices]
    about = inside.copy()
    for _ in range(ROUND_BAND):
        faces = np.zeros(skin.polygons.n_faces, dtype=bool)
        faces[skin.polygons.corner_face[about[skin.polygons.indices]]] = True
        about[skin.polygons.indices[faces[skin.polygons.corner_face]]] = True
    ring = skin.vertices[about & ~inside & (np.asarray(free)[skin.vertices] < 0.5)]
    moved = np.array(positions, dtype=np.float64)
    if len(ring) < 4:
        return moved
    move = similarity(head.neutral[ring], moved[ring])
    marked = np.flatnonzero((pairs.vertices >= 0) & zone[np.maximum(pairs.vertices, 0)])
    source = head.neutral[np.concatenate([ring, pairs.vertices[marked]])]
    target = np.concatenate([moved[ring], pairs.sculpt[marked]])
    source, first = np.unique(source, axis=0, return_index=True)
    rest = RadialBasis(source, target[first] - move(source), ROUND * head.diagonal, degree=0)
    moved[zone] = move(head.neutral[zone]) + rest(head.neutral[zone])
    return moved
