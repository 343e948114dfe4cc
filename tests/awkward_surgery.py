"""A head of the tests and what is true of it, and the cuts by which an awkward one is made: pieces added, taken away,
cut apart. Lengths are millimetres; the truth about every vertex follows it through all of them.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons
from composer.head.head import Follows, Head, Part, Shape
from composer.head.landmarks import Landmarks, as_curve

Rows = NDArray[np.float64]
Ints = NDArray[np.int64]

FOLLOWS: dict[str, Follows] = {
    "teeth_lower": "jaw", "gum_lower": "jaw", "tongue": "jaw", "lashes": "surface", "wet": "surface",
    "occlusion": "surface", "hair": "surface", "brow": "surface",
}  # fmt: skip
"""What a part follows, by how its name begins; the skull, where it is not listed."""


@dataclass(frozen=True, eq=False)
class AwkwardHead:
    """A head as a program meets it, with no part and no landmark said, and beside it what is true.

    `part_of` (n,) the part of each vertex by name, "skin" among them; `mirror` (n,) the vertex on the other side, -1
    where there is none; `landmarks`, vertices only; `true_names` {name of a shape: the demo's name of it}; `unit` and
    `neutral_name` are those of its files. `axes` (3, 3): rows are the head's left, up and ahead in its files' space.
    """

    name: str
    head: Head
    part_of: NDArray[np.str_]
    mirror: Ints
    landmarks: Landmarks
    true_names: dict[str, str] = field(default_factory=dict)
    axes: Rows = field(default_factory=lambda: np.eye(3))

    @property
    def positions(self) -> Rows:
        """(n, 3) mm."""
        return self.head.neutral

    @cached_property
    def deltas(self) -> NDArray[np.float32]:
        """(s, n, 3) mm."""
        return np.stack([shape.delta for shape in self.head.shapes])

    @property
    def part_names(self) -> list[str]:
        """The parts there are, the skin left out, in the order of their vertices."""
        return [str(name) for name in dict.fromkeys(self.part_of.tolist()) if name != "skin"]

    def vertices(self, part: str) -> Ints:
        """(k,) the vertices of a part."""
        return np.flatnonzero(self.part_of == part)

    def shape(self, demo_name: str) -> Shape:
        """The shape that the demo calls so."""
        return next(s for s in self.head.shapes if self.true_names.get(s.name, s.name) == demo_name)

    def known(self) -> Head:
        """The head with its true parts and landmarks said."""
        parts = tuple(
            Part(name, self.vertices(name).astype(np.int32), _followed(name)) for name in self.part_names
        )  # fmt: skip
        return self.head.with_(parts=parts, landmarks=self.landmarks)


def _followed(part: str) -> Follows:
    return next((follows for start, follows in FOLLOWS.items() if part.startswith(start)), "skull")


def with_shapes(a: AwkwardHead, deltas: NDArray, names: list[str] | None = None) -> AwkwardHead:
    """Other displacements (s, n, 3) in mm, by the same names or others; true names are kept where names are."""
    called = a.head.shape_names if names is None else names
    moved = np.ascontiguousarray(deltas, dtype=np.float32)
    shapes = tuple(Shape(name, delta) for name, delta in zip(called, moved, strict=True))
    true = {name: a.true_names.get(name, name) for name in called if name in a.head.shape_index}
    return replace(a, head=a.head.with_(shapes=shapes), true_names=true)


def with_neutral(a: AwkwardHead, neutral: Rows) -> AwkwardHead:
    """Another neutral (n, 3) in mm under the same displacements."""
    return replace(a, head=a.head.with_(neutral=np.ascontiguousarray(neutral, dtype=np.float64)))


def with_faces(a: AwkwardHead, quads: Ints, group: str) -> AwkwardHead:
    """More quads (m, 4) over the vertices there are, as a group, which may be there already."""
    old = a.head.polygons
    polygons = Polygons(
        np.concatenate([old.counts, np.full(len(quads), 4)]), np.concatenate([old.indices, quads.ravel()]),
        old.n_vertices,
    )  # fmt: skip
    added = np.arange(old.n_faces, old.n_faces + len(quads), dtype=np.int32)
    faces = np.concatenate([a.head.groups.get(group, np.zeros(0, dtype=np.int32)), added])
    return replace(a, head=a.head.with_(polygons=polygons, groups={**a.head.groups, group: faces}))


def with_vertices(a: AwkwardHead, part: str, at: Rows, deltas: Rows, mirror: Ints) -> tuple[AwkwardHead, Ints]:
    """More vertices (k, 3) of a part, moved by `deltas` (s, k, 3), `mirror` (k,) in the new numbering; and which."""
    old = a.head.polygons
    n, k = old.n_vertices, len(at)
    moved = np.concatenate([a.deltas, np.asarray(deltas, dtype=np.float32)], axis=1)
    shapes = tuple(Shape(s.name, np.ascontiguousarray(d)) for s, d in zip(a.head.shapes, moved, strict=True))
    head = a.head.with_(
        polygons=Polygons(old.counts, old.indices, n + k), neutral=np.concatenate([a.positions, at]), shapes=shapes
    )
    told = np.concatenate([a.part_of, np.full(k, part)])
    return replace(a, head=head, part_of=told, mirror=np.concatenate([a.mirror, mirror])), np.arange(n, n + k)


def with_pair(
    a: AwkwardHead, part: str, sides: list[tuple[Rows, Rows]], quads: Ints, outwards: Rows
) -> AwkwardHead:  # fmt: skip
    """A piece on the left and its like on the right: for each its places (k, 3) and displacements (s, k, 3).

    `quads` (m, 4) count from 0; they are turned so that the left piece's normals point along `outwards` (3,).
    """
    (left, _), (right, _) = sides
    n, k = a.head.n_vertices, len(left)
    corners = left[quads]
    normal = np.cross(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1]).sum(axis=0)
    turned = quads if normal @ outwards > 0 else quads[:, ::-1]
    a, on_left = with_vertices(a, f"{part}_left", *sides[0], mirror=np.arange(n + k, n + k + len(right)))
    a, on_right = with_vertices(a, f"{part}_right", *sides[1], mirror=on_left)
    a = with_faces(a, on_left[turned], f"{part}_left")
    return with_faces(a, on_right[turned[:, ::-1]], f"{part}_right")


def renumbered(a: AwkwardHead, polygons: Polygons, origin: Ints, faces: Ints, mirror: Ints) -> AwkwardHead:
    """The head on other polygons: `origin` (m,) the old vertex of each new one, `faces` (f,) the old polygon of each
    new one, `mirror` (m,) of the new vertices. Landmarks whose vertex is lost are lost.
    """
    new = np.full(a.head.n_vertices, -1)
    new[origin[::-1]] = np.arange(len(origin))[::-1]

    def tables(held: dict[str, NDArray[np.int32]]) -> dict[str, NDArray[np.int32]]:
        kept = {name: np.flatnonzero(np.isin(faces, on)).astype(np.int32) for name, on in held.items()}
        return {name: on for name, on in kept.items() if len(on)}

    shapes = tuple(Shape(s.name, np.ascontiguousarray(s.delta[origin])) for s in a.head.shapes)
    head = a.head.with_(
        polygons=polygons, neutral=a.positions[origin], shapes=shapes, groups=tables(a.head.groups),
        materials=tables(a.head.materials),
    )  # fmt: skip
    points = {name: int(new[int(v)]) for name, v in a.landmarks.points.items() if new[int(v)] >= 0}  # type: ignore[arg-type]
    curves = {name: new[np.asarray(line)] for name, line in a.landmarks.curves.items()}
    whole = {name: as_curve(line) for name, line in curves.items() if (line >= 0).all()}
    return replace(a, head=head, part_of=a.part_of[origin], mirror=mirror, landmarks=Landmarks(points, whole))


def without_faces(a: AwkwardHead, dropped: NDArray[np.bool_]) -> AwkwardHead:
    """Without some polygons (f,) and the vertices that only they use."""
    old = a.head.polygons
    faces = np.flatnonzero(~dropped)
    corners = old.indices[~dropped[old.corner_face]].astype(np.int64)
    origin = np.unique(corners)
    new = np.full(old.n_vertices, -1)
    new[origin] = np.arange(len(origin))
    polygons = Polygons(old.counts[faces], new[corners], len(origin))
    partner = a.mirror[origin]
    return renumbered(a, polygons, origin, faces, np.where(partner >= 0, new[partner], -1))


def without_parts(a: AwkwardHead, *starts: str) -> AwkwardHead:
    """Without the parts whose names begin so."""
    gone = np.array([str(name).startswith(starts) for name in a.part_of])
    return without_faces(a, gone[a.head.polygons.indices[a.head.polygons.starts[:-1]]])


def cut_apart(a: AwkwardHead, label: Ints, other: Ints) -> AwkwardHead:
    """Cut along the borders between labels (f,) of polygons: what two labels use becomes two vertices in one place.

    `other` (l,) the label on the other side of each.
    """
    old, labels = a.head.polygons, len(other)
    key = old.indices.astype(np.int64) * labels + label[old.corner_face]
    found, corners = np.unique(key, return_inverse=True)
    origin, piece = found // labels, found % labels
    polygons = Polygons(old.counts, corners.reshape(-1), len(found))
    across = a.mirror[origin] * labels + other[piece]
    place = np.minimum(np.searchsorted(found, across), len(found) - 1)
    mirror = np.where((a.mirror[origin] >= 0) & (found[place] == across), place, -1)
    return renumbered(a, polygons, origin, np.arange(old.n_faces), mirror)


def in_axes(a: AwkwardHead, axes: Rows) -> AwkwardHead:
    """The head turned so that its left, up and ahead are the rows of `axes` (3, 3), a rotation, in its files' space."""
    turned = with_shapes(with_neutral(a, a.positions @ axes), a.deltas @ axes.astype(np.float32))
    return replace(turned, axes=a.axes @ axes)
