"""A head prepared for pictures: subdivided, with its materials, its eyeballs and its openness at rest.

A figure is built once for a head; `posed` adds the positions, normals and openness of a pose. The openness is computed
again only for vertices that move, and for parts and hollows near them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons
from composer.geometry.vectors import cross
from composer.head.head import Head, Part
from composer.head.landmarks import Landmarks
from composer.head.levels import levels, refine
from composer.head.understand.part_words import what_parts_are
from composer.head.understand.veils import veils_among
from composer.picture.camera import Camera, unit
from composer.picture.eyeball import Eyeball, eyeballs_of, turned
from composer.picture.material import BROW, brow_weights, materials
from composer.picture.rays import Hits, Rays, openness

Floats = NDArray[np.float64]
MOVED_MM = 0.4
"""A vertex that moves further than this gets a new openness (our choice)."""
SETTLED = 2
"""How often openness is averaged with the neighbours' (our choice)."""
SHARING = 4
"""What known cameras alone picture looks along every fourth of the directions to the sky, neighbours along others, and
is averaged once more: in single pixels nothing else is to be seen (our choice, by eye)."""
POSE_SHARING = 2
"""The same for a pose, whose parts that moved lie beside others that look along all (our choice, by eye)."""
MOST_SHARED = 250_000
"""Most pixels of such a picture of a pose: in larger ones the noise is seen (our choice, by eye)."""
MOST_KNOWN = 2_000_000
"""Most pixels of a camera whose hits are kept with a pose (our choice; 16 bytes each)."""
MOST_BETWEEN = 12
"""Most rings of vertices that are looked at because they may lie between the pixels of a camera (our choice)."""
SKIN = "skin"
"""What of a head is no part, where it is named beside parts."""
TEETH_OPEN = 0.55
"""Least openness of teeth (our choice): light is reflected between them, so they are brighter than the mouth behind."""


@dataclass(frozen=True, eq=False)
class Posed:
    """One pose prepared for rays: all arrays are of the fine level; `eyes` are the eyeballs in the pose; `seen` what
    the rays through the middles of a camera's pixels meet, row after row, for cameras that are known."""

    positions: Floats
    normals: Floats
    openness: Floats
    rays: Rays
    eyes: tuple[Eyeball, ...]
    seen: tuple[tuple[Camera, Hits], ...] = ()


class Figure:
    """The parts of a picture that do not change from pose to pose of one head."""

    def __init__(
        self,
        polygons: Polygons,
        neutral: NDArray,
        *,
        parts: Sequence[Part] = (),
        groups: Mapping[str, NDArray] | None = None,
        landmarks: Landmarks | None = None,
        level: int = 1,
        are: Mapping[str, str] | None = None,
        cameras: Sequence[Camera] = (),
        hidden: frozenset[str] = frozenset(),
    ) -> None:
        """Take a cage's polygons and `neutral` (n, 3) mm, the level (0 to 8) to picture it at, and what each part is,
        by its name; without `are` its form and its name tell. Where `cameras` are given, the neutral is pictured by
        these alone: what none of them sees counts as open. Parts named in `hidden` are not pictured, nor with "skin"
        what belongs to none.

        Raises MoueError where the level is out of range.
        """
        self.cage = polygons
        self.neutral = np.asarray(neutral, dtype=np.float64)
        self.factors = levels(polygons, level)
        self.polygons = self.factors[-1].polygons if self.factors else polygons
        if are is None:
            are = what_parts_are(Head("figure", polygons, self.neutral, parts=tuple(parts)))
        self.triangles = self._drawn(parts, are, hidden)
        albedo, sheen = materials(polygons, self.neutral, parts, groups, landmarks, are)
        self.albedo, self.sheen = refine(albedo, self.factors), refine(sheen, self.factors)
        self.eye_parts = tuple(part for part in parts if are.get(part.name) == "eye" and len(part.vertices) > 8)
        self.eyes_at_rest = eyeballs_of(self.eye_parts, self.neutral)
        self.eye_of_triangle = self._eye_of_triangle()
        self.is_part = np.zeros(self.polygons.n_vertices, dtype=bool)
        self.least_open = np.zeros(self.polygons.n_vertices)
        for part in parts:
            lifted = self._lift_set(part.vertices)
            self.is_part |= lifted
            if are.get(part.name) == "teeth":
                self.least_open[lifted] = TEETH_OPEN
        if landmarks is not None:
            fine = refine(self.neutral, self.factors)
            hairy = "brow" in are.values()
            hair = brow_weights(fine, ~self.is_part, landmarks, hairy)[:, None]
            self.albedo = self.albedo + hair * (BROW - self.albedo)
        self.reach_mm = 0.16 * float(np.linalg.norm(np.ptp(self.neutral, axis=0)))
        a, b = self.cage.edges.T
        lengths = np.linalg.norm(self.neutral[a] - self.neutral[b], axis=1)
        self.edge_mm = float(np.median(lengths)) / 2 ** len(self.factors)
        self.rest = self._rest(cameras)

    @classmethod
    def of(
        cls, head: Head, level: int = 1, cameras: Sequence[Camera] = (), hidden: frozenset[str] = frozenset()
    ) -> Figure:
        """The figure of a head; `cameras` and `hidden` as above."""
        return cls(
            head.polygons,
            head.neutral,
            parts=head.parts,
            groups=head.groups,
            landmarks=head.landmarks,
            level=level,
            are=what_parts_are(head),
            cameras=cameras,
            hidden=hidden,
        )

    def lift(self, values: NDArray) -> Floats:
        """Values (n,) or (n, k) of the cage at the fine level's vertices."""
        return refine(np.asarray(values, dtype=np.float64), self.factors)

    def posed(self, positions: NDArray, camera: Camera | None = None) -> Posed:
        """A pose (n, 3) mm of the cage, prepared for rays. Where it is pictured by one `camera` alone, what that does
        not see keeps the openness that it has at rest."""
        if positions is self.neutral:
            return self.rest
        fine = self.lift(positions)
        normals = vertex_normals(fine, self.triangles)
        rays = Rays(fine, self.triangles)
        again, sharing = self._again(fine), 1
        met: tuple[tuple[Camera, Hits], ...] = ()
        if camera is not None and camera.width * camera.height <= MOST_KNOWN:
            met = ((camera, rays.through(camera)),)
            sharing = POSE_SHARING if camera.width * camera.height <= MOST_SHARED else 1
            again = np.intersect1d(again, self._seen(met), assume_unique=True)
        free = self.rest_openness.copy()
        free[again] = openness(rays, fine, normals, again, self.reach_mm, 24, sharing)
        free[again] = self._settled(free, SETTLED + 1 if sharing > 1 else SETTLED)[again]
        eyes = tuple(
            turned(ball, self.neutral[part.vertices], np.asarray(positions, dtype=np.float64)[part.vertices])
            for ball, part in zip(self.eyes_at_rest, self.eye_parts, strict=True)
        )
        return Posed(fine, normals, np.maximum(_as_light(free), self.least_open), rays, eyes, met)

    def _rest(self, cameras: Sequence[Camera]) -> Posed:
        fine = self.lift(self.neutral)
        normals = vertex_normals(fine, self.triangles)
        rays = Rays(fine, self.triangles)
        free = np.ones(len(fine))
        met = tuple((camera, rays.through(camera)) for camera in cameras)
        if cameras:
            seen = self._seen(met)
            free[seen] = openness(rays, fine, normals, seen, self.reach_mm, sharing=SHARING)
        else:
            free = openness(rays, fine, normals, np.arange(len(fine)), self.reach_mm)
        self.rest_openness = self._settled(free, SETTLED + 1 if cameras else SETTLED)
        return Posed(
            fine, normals, np.maximum(_as_light(self.rest_openness), self.least_open), rays, self.eyes_at_rest, met
        )  # fmt: skip

    def _seen(self, met: Sequence[tuple[Camera, Hits]]) -> NDArray[np.int64]:
        """The vertices that cameras see, and those whose openness is averaged with theirs."""
        seen, wide = np.zeros(self.polygons.n_vertices), 0.0
        for camera, hits in met:
            on = hits.triangle >= 0
            seen[self.triangles[hits.triangle[on]]] = 1.0
            wide = max(wide, camera.pixel_mm(float(hits.distance[on].max(initial=0.0))))
        between = int(np.clip(np.ceil(wide / max(self.edge_mm, 1e-9)), 1, MOST_BETWEEN))  # between pixels
        for _ in range(SETTLED + between):
            seen += self.polygons.adjacency @ seen
        return np.flatnonzero(seen)

    def _again(self, fine: Floats) -> NDArray[np.int64]:
        """The vertices whose openness a pose may change: those that move, and parts and hollows near them."""
        change = fine - self.rest.positions
        moved = np.einsum("ij,ij->i", change, change) > MOVED_MM**2
        if not moved.any():
            return np.zeros(0, dtype=np.int64)
        low, high = fine[moved].min(axis=0) - 15.0, fine[moved].max(axis=0) + 15.0
        near = ((fine > low) & (fine < high)).all(axis=1)
        return np.flatnonzero(moved | (near & (self.is_part | (self.rest_openness < 0.45))))

    def _settled(self, free: Floats, often: int = SETTLED) -> Floats:
        """Openness (n,) averaged with that of the neighbours, which removes the noise of a few rays."""
        around = self.polygons.adjacency
        count = np.maximum(self.polygons.valence, 1)
        for _ in range(often):
            free = 0.5 * free + 0.5 * (around @ free) / count
        return free

    def _drawn(
        self, parts: Sequence[Part], are: Mapping[str, str], hidden: frozenset[str]
    ) -> NDArray[np.int32]:
        """(t, 3) the triangles that are pictured: without what is hidden, and without sheets over the eyes and lash
        cards, which hide the eyes."""
        triangles = self.polygons.triangles
        without = hidden | set(veils_among(parts, self.cage, self.neutral, are))
        drawn, skin = np.ones(len(triangles), dtype=bool), np.ones(len(triangles), dtype=bool)
        for part in parts if without else ():
            inside = self._lift_set(part.vertices)[triangles].all(axis=1)
            skin &= ~inside
            if part.name in without:
                drawn &= ~inside
        if SKIN in hidden:
            drawn &= ~skin
        return triangles[drawn]

    def _lift_set(self, vertices: NDArray) -> NDArray[np.bool_]:
        on = np.zeros(self.cage.n_vertices)
        on[vertices] = 1.0
        return refine(on, self.factors) > 0.5

    def _eye_of_triangle(self) -> NDArray[np.int8]:
        """(t,) the eyeball that each triangle belongs to, or -1."""
        eye_of = np.full(len(self.triangles), -1, dtype=np.int8)
        for i, part in enumerate(self.eye_parts):
            eye_of[self._lift_set(part.vertices)[self.triangles].all(axis=1)] = i
        return eye_of


def _as_light(free: Floats) -> Floats:
    """The share of light for an openness: bounced light keeps the deepest hollow from being black."""
    return 0.08 + 0.92 * free**0.95


def vertex_normals(positions: Floats, triangles: NDArray) -> Floats:
    """(n, 3) unit normals, the sum of the triangles' normals weighted by area."""
    a, b, c = positions[triangles[:, 0]], positions[triangles[:, 1]], positions[triangles[:, 2]]
    face = cross(b - a, c - a)
    total = np.empty_like(positions)
    for axis in range(3):
        total[:, axis] = np.bincount(
            triangles.ravel(), weights=np.repeat(face[:, axis], 3), minlength=len(positions)
        )
    return unit(total)
