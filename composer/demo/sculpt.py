"""Dense sculpts: the same faces as triangle meshes in a topology that has nothing of the cage.

A sculpt is like an artist's scan: some ninety thousand triangles without loops, symmetric connectivity or a vertex
order, with fine relief of its own. It starts from the triangles of the cage's level 1, each quad cut along a random
diagonal. A vertex is set inside every triangle and all old edges are flipped, so that none of them remains (the
square-root-of-three step, Kobbelt 2000). Then vertices are shifted over the smooth surface at random, more edges are
flipped at random where the triangles stay sound, and everything is renumbered.

Every vertex is a known place of the smooth surface, so the true place of each cage vertex on the sculpt is known.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.demo.character import Character
from composer.demo.flips import flip_at_random
from composer.demo.layout import EAR_RINGS, EYE_RINGS, MOUTH_RINGS, ring
from composer.demo.neutral import DemoNeutral, build_neutral
from composer.demo.surface_point import SmoothSkin
from composer.demo.weather import relief
from composer.geometry.closest_on_triangle import closest_on_triangles
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface
from composer.head.head import Head, Part
from composer.head.landmarks import Landmarks, SurfacePoint

Rows = NDArray[np.float64]
Ints = NDArray[np.int64]
_CORNER_UV = np.array([(0, 0), (1, 0), (1, 1), (0, 1)], dtype=float)


@dataclass(frozen=True, eq=False)
class Sculpt:
    """A dense head: skin triangles first, then the two eyeballs as shells of their own.

    `true_triangle` (c, 3) sculpt vertices and `true_bary` (c, 3) weights are the place of each of the cage's c skin
    vertices; `landmarks` are those of the cage as such places.
    """

    character: Character
    polygons: Polygons
    positions: Rows
    n_skin: int
    parts: tuple[Part, ...]
    landmarks: Landmarks
    true_triangle: Ints
    true_bary: Rows

    def head(self) -> Head:
        """The sculpt as a head without shapes."""
        return Head(self.character.name, self.polygons, self.positions, parts=self.parts, landmarks=self.landmarks)

    def true_positions(self) -> Rows:
        """(c, 3) mm where the cage's skin vertices belong on the sculpt."""
        return np.einsum("ij,ijk->ik", self.true_bary, self.positions[self.true_triangle])


def build_sculpt(character: Character, neutral: DemoNeutral | None = None) -> Sculpt:
    """The sculpt of a character; the same character gives the same bytes. Pass its neutral if it is there already."""
    base = neutral or build_neutral(character)
    rng = np.random.default_rng(character.seed)
    cage = _skin_polygons(base)
    skin = SmoothSkin(cage, base.positions[: base.n_skin])
    place, triangles = _places(skin, rng)
    at = skin.at(*place)
    triangles = flip_at_random(triangles, at, rng, rounds=4)
    corners = skin.at(*_own_places(skin, base.n_skin))
    true_triangle, true_bary = _nearest_places(corners, triangles, at)
    at = at + _outward(triangles, at) * relief(character, at, _calm(base, at), base.eye_left)[:, None]

    order = rng.permutation(len(at))
    rank = np.empty(len(at), dtype=np.int64)
    rank[order] = np.arange(len(at))
    skin_triangles = rank[triangles][rng.permutation(len(triangles))]
    turn = (rng.integers(0, 3, len(skin_triangles))[:, None] + np.arange(3)) % 3
    skin_triangles = np.take_along_axis(skin_triangles, turn, axis=1)
    eyes, eye_triangles, parts = _eyeballs(base, len(at))
    everything = np.concatenate([skin_triangles, eye_triangles])
    positions = np.concatenate([at[order], eyes])
    polygons = Polygons(np.full(len(everything), 3), everything.ravel(), len(positions))
    true_triangle = rank[true_triangle]
    return Sculpt(
        character, polygons, positions, len(at), parts, _carried(base.landmarks, true_triangle, true_bary),
        true_triangle, true_bary,
    )  # fmt: skip


def _skin_polygons(base: DemoNeutral) -> Polygons:
    quads = base.polygons.indices.reshape(-1, 4)
    quads = quads[(quads < base.n_skin).all(1)]
    return Polygons(np.full(len(quads), 4), quads.ravel(), base.n_skin)


def _own_places(skin: SmoothSkin, count: int) -> tuple[Ints, Rows, Rows]:
    """The first `count` vertices of level 1 as places: some quad, and the corner of it that they are."""
    vertices = skin.polygons.indices
    first = np.full(skin.polygons.n_vertices, -1, dtype=np.int64)
    first[vertices[::-1]] = np.arange(len(vertices))[::-1]
    corner = first[:count]
    return corner // 4, *_CORNER_UV[corner % 4].T


def _places(skin: SmoothSkin, rng: np.random.Generator) -> tuple[tuple[Ints, Rows, Rows], Ints]:
    """Places (v,) and triangles (t, 3) over them, before any random flips; border vertices stay where they are."""
    quads = skin.polygons.indices.reshape(-1, 4).astype(np.int64)
    n, f = skin.polygons.n_vertices, len(quads)
    other = rng.random(f) < 0.5
    cut = np.where(other[:, None], [[1, 2, 3, 1, 3, 0]], [[0, 1, 2, 0, 2, 3]]).reshape(f, 2, 3)
    old = np.take_along_axis(quads[:, None], cut, axis=2).reshape(-1, 3)
    border = skin.polygons.border_vertices

    quad, u, v = _own_places(skin, n)
    inward = 0.18 * rng.random((n, 2)) * ~border[:, None]
    corner = np.stack([u, v], axis=1)
    mine = corner + inward * (1 - 2 * corner)
    weights = 1 / 3 + 0.20 * (rng.random((len(old), 3)) - 0.5)
    weights /= weights.sum(1, keepdims=True)
    inside = np.einsum("ij,ijk->ik", weights, _CORNER_UV[cut.reshape(-1, 3)])
    places = np.concatenate([mine, inside])
    which = np.concatenate([quad, np.repeat(np.arange(f), 2)])
    return (which, places[:, 0], places[:, 1]), _root_three(old, n)


def _root_three(old: Ints, n: int) -> Ints:
    """Triangles after a vertex n + i is set into every triangle i and all inner edges are flipped."""
    a = old.ravel()
    b = np.roll(old, -1, axis=1).ravel()
    owner = np.repeat(np.arange(len(old)), 3) + n
    key = np.minimum(a, b) * (n + 1) + np.maximum(a, b)
    order = np.argsort(key, kind="stable")
    same = np.flatnonzero(key[order][1:] == key[order][:-1])
    one, two = order[same], order[same + 1]
    alone = np.ones(len(a), dtype=bool)
    alone[one] = alone[two] = False
    return np.concatenate([
        np.stack([a[one], owner[two], owner[one]], axis=1),
        np.stack([b[one], owner[one], owner[two]], axis=1),
        np.stack([a[alone], b[alone], owner[alone]], axis=1),
    ])  # fmt: skip


def _nearest_places(points: Rows, triangles: Ints, at: Rows) -> tuple[Ints, Rows]:
    """For each cage vertex i, which is sculpt vertex i before renumbering, the nearest place in its two-ring."""
    import scipy.sparse as sp

    rows = np.repeat(np.arange(len(triangles)), 3)
    meets = sp.csr_matrix((np.ones(triangles.size), (triangles.ravel(), rows)), shape=(len(at), len(triangles)))
    near = (meets[: len(points)] @ meets.T @ meets).tocoo()
    candidates = at[triangles[near.col]]
    bary, away = closest_on_triangles(points[near.row], candidates)
    order = np.lexsort((away, near.row))
    best = order[np.unique(near.row[order], return_index=True)[1]]
    return triangles[near.col[best]], bary[best]


def _outward(triangles: Ints, at: Rows) -> Rows:
    polygons = Polygons(np.full(len(triangles), 3), triangles.ravel(), len(at))
    return Surface(polygons, at).vertex_normals


def _calm(base: DemoNeutral, at: Rows) -> Rows:
    """(m,) 1 on lids, lips, nostrils and inside, falling to 0 over some millimetres."""
    from scipy.spatial import cKDTree

    rings = base.rings
    still = np.concatenate(
        [rings[f"eye_{side}"][ring(EYE_RINGS, "tarsal") :].ravel() for side in ("left", "right")]
        + [rings["mouth"][ring(MOUTH_RINGS, "border") :].ravel()]
        + [rings[f"nostril_{side}"][1:].ravel() for side in ("left", "right")]
        + [rings[f"ear_{side}"][ring(EAR_RINGS, "root") : ring(EAR_RINGS, "rim")].ravel() for side in ("left", "right")]
    )
    away = cKDTree(base.positions[still]).query(at)[0]
    return np.clip(1 - (away - 2.0) / 4.0, 0, 1)


def _eyeballs(base: DemoNeutral, first: int) -> tuple[Rows, Ints, tuple[Part, ...]]:
    """The eyeballs of the neutral as triangles, two shells after `first` vertices of skin."""
    points, triangles, parts = [], [], []
    for part in base.parts[:2]:
        faces = base.groups[part.name]
        quads = base.polygons.indices.reshape(-1, 4)[faces].astype(np.int64) - int(part.vertices[0]) + first
        triangles += [quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]
        points.append(base.positions[part.vertices])
        parts.append(Part(part.name, np.arange(first, first + len(part.vertices), dtype=np.int32), "skull"))
        first += len(part.vertices)
    return np.concatenate(points), np.concatenate(triangles), tuple(parts)


def _carried(marks: Landmarks, triangle: Ints, bary: Rows) -> Landmarks:
    def place(vertex: int) -> SurfacePoint:
        a, b, c = (int(i) for i in triangle[vertex])
        x, y, z = (float(w) for w in bary[vertex])
        return SurfacePoint((a, b, c), (x, y, z))

    points = {name: place(vertex) for name, vertex in marks.points.items() if isinstance(vertex, int)}
    curves = {name: tuple(place(int(i)) for i in np.asarray(line)) for name, line in marks.curves.items()}
    return Landmarks(points=points, curves=curves)
