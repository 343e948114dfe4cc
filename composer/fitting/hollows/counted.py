"""What is wrong with a fitted skin, by place, beside the library's own neutral: polygons that cross others, parts that
stand through the skin, skin that is inside out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from composer.fitting.closest import ClosestSurface
from composer.fitting.hollows.library import LibrarySkin
from composer.fitting.hollows.places import ELSEWHERE, PLACES, counted_by_place
from composer.fitting.hollows.visibility import visibility
from composer.fitting.rays import SculptRays
from composer.geometry.self_intersection import crossing_pairs
from composer.geometry.surface import Surface
from composer.geometry.vectors import cross, dot
from composer.head.head import Head, Part
from composer.head.landmarks import Landmarks
from composer.head.understand.part_words import what_parts_are

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]

MANY = 1.5
"""Times the crossing polygons of the library's neutral beyond which a fit warns (our choice)."""
HARD = ("teeth", "gum", "tongue", "eye")
"""What parts are (`head.understand.part_words`) that may not stand through the skin (common practice, no source)."""
OUTSIDE = 1e-3
"""How far a part's vertex must stand out of the skin, beyond the library's own, to be through it, as a share of the
head's diagonal: some 0.4 mm (our choice)."""
BACK_SEEN, BACK_HIDDEN = 0.3, 0.1
"""Skin is inside out where its back has more than the first visibility, and less than the second on the library (our
choice)."""
WHERE_TURNED = ("nose", "ears")
"""The places at which skin is looked at from behind: hollows turned outwards show there."""
RAYS = 64
"""Directions in which a polygon's back looks (our choice)."""


@dataclass(frozen=True)
class Soundness:
    """Polygons that cross others, by place: `crossing` of the result, `crossing_library` of the library's neutral.
    `through` gives for each part how many of its vertices stand out of the skin, `inside_out` for nose and ears how
    many polygons show their back; only what is above 0 is in these two.
    """

    crossing: dict[str, int]
    crossing_library: dict[str, int]
    through: dict[str, int] = field(default_factory=dict)
    inside_out: dict[str, int] = field(default_factory=dict)

    @property
    def many(self) -> bool:
        """Whether more than MANY times as many polygons cross as on the library."""
        return sum(self.crossing.values()) > MANY * sum(self.crossing_library.values())

    @property
    def broken(self) -> bool:
        """Whether a part stands through the skin, or skin is inside out at nose or ears."""
        return bool(self.through or self.inside_out)


def soundness(head: Head, marks: Landmarks, fitted: Rows, crossing: Flags | None = None) -> Soundness:
    """The counts of a head fitted to `fitted` (n, 3) mm, beside its neutral; `marks` are landmarks on the neutral, and
    `crossing` (f,) the skin's polygons that cross others, where they are known."""
    library = LibrarySkin.of(head)
    skin, surface = library.skin, library.surface
    places = library.places(head, marks)
    now = surface.at(fitted[skin.vertices])
    if crossing is None:
        crossing = library.uncrossing.test.crossing_faces(now.positions)
    told = what_parts_are(head)
    hard = [part for part in head.parts if told.get(part.name) in HARD]
    triangles = head.polygons.triangles
    skins = [ClosestSurface(at, triangles[head.skin[triangles].all(axis=1)]) for at in (head.neutral, fitted)]
    through = {part.name: count for part in hard if (count := _through(head, fitted, part, skins))}
    turned = _inside_out(surface, now, places)
    names = library.place_names(head, marks)
    by_place = counted_by_place(names, turned)
    return Soundness(
        counted_by_place(names, crossing), counted_by_place(names, library.uncrossing.known), through,
        {name: count for name, count in by_place.items() if count and name != ELSEWHERE},
    )  # fmt: skip


def _through(head: Head, fitted: Rows, part: Part, skins: Sequence[ClosestSurface]) -> int:
    """How many vertices of a part stand out of the skin of the fitted head, and did not on the library; `skins` are
    that of the library and that of the fitted head.

    Only triangles of the part that cross skin are looked at, where that skin turns its outer side away from the part.
    """
    triangles = head.polygons.triangles
    own = np.zeros(head.n_vertices, dtype=bool)
    own[part.vertices] = True
    hard, skin = triangles[own[triangles].all(axis=1)], skins[0].triangles
    if not len(hard) or not len(skin):
        return 0
    pairs = crossing_pairs(fitted, hard, skin)
    a, b, c = (fitted[skin[pairs[:, 1], i]] for i in range(3))
    away = dot(cross(b - a, c - a), (a + b + c) / 3.0 - fitted[part.vertices].mean(axis=0)) > 0.0
    vertices = np.unique(hard[pairs[away, 0]])
    if not len(vertices):
        return 0
    size = float(np.linalg.norm(np.ptp(fitted[head.skin], axis=0)))
    before, after = (_outwards(each, vertices) for each in skins)
    ratio = size / float(np.linalg.norm(np.ptp(head.neutral[head.skin], axis=0)))
    return int((after - np.maximum(ratio * before, 0.0) > OUTSIDE * size).sum())


def _outwards(skin: ClosestSurface, vertices: NDArray) -> Rows:
    """(k,) mm that `vertices` (k,) of the head lie outside its `skin`; 0 beyond an open border."""
    found = skin.closest(skin.positions[vertices])
    out = dot(skin.positions[vertices] - found.points, found.normal)
    return np.where(found.on_border, 0.0, out)


def _inside_out(before: Surface, now: Surface, places: NDArray[np.int64]) -> Flags:
    """(f,) the polygons at nose and ears that show their back on the skin `now`, and not on the library's, `before`."""
    polygons = now.polygons
    chosen = [i for i, place in enumerate(PLACES) if place in WHERE_TURNED]
    first = places[polygons.indices[polygons.starts[:-1]]]
    faces = np.flatnonzero(np.isin(first, chosen))
    turned = np.zeros(polygons.n_faces, dtype=bool)
    seen = _back_seen(now, faces)
    open_ = faces[seen > BACK_SEEN]
    turned[open_[_back_seen(before, open_) < BACK_HIDDEN]] = True
    return turned


def _back_seen(surface: Surface, faces: NDArray[np.int64]) -> Rows:
    """(k,) the visibility of the backs of polygons `faces` (k,)."""
    polygons = surface.polygons
    if not len(faces):
        return np.zeros(0)
    middle = np.add.reduceat(surface.positions[polygons.indices], polygons.starts[:-1]) / polygons.counts[:, None]
    rays = SculptRays(surface.positions, polygons.triangles)
    return visibility(rays, middle[faces], -surface.face_normals[faces], surface.diagonal_mm, RAYS)
