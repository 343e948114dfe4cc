"""What the checks look at: one pose of one head, the recipe that made it, and facts computed once.

`HeadFacts` holds what depends on the head alone and is shared by all poses; `CheckSubject` is one pose and
keeps what several checks need, so that each thing is computed once.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from composer.checks.limits import Limits
from composer.errors import MoueError
from composer.geometry.nearest import NearestSurface
from composer.geometry.triangle_metric import area_vectors, metric, stretches
from composer.head.head import Head, Part
from composer.head.symmetry import MirrorMap, mirror_of
from composer.mixing.contact import MixContact
from composer.mixing.linear import Mixer
from composer.mixing.recipe import ALL, REMAINDER, Recipe
from composer.mixing.sources import Source, sources

Floats = NDArray[np.float64]
Kept = TypeVar("Kept")
_CALM = 0.02  # a triangle strained less than this is not compared with the shapes


class HeadFacts:
    """Facts of a head that its checks share: triangles of the skin, their metric at rest, curves by name.

    Made once for a head and asked for any number of poses; not to be used by two threads at once.
    """

    def __init__(self, head: Head, limits: Limits | None = None) -> None:
        self.head = head
        self.limits = (limits or Limits()).of(head.diagonal)
        self._part_surfaces: dict[str, NearestSurface | None] = {}
        self._part_triangles: dict[str, NDArray[np.int32]] = {}
        self._kept: dict[object, tuple[object, object]] = {}

    def kept(self, key: object, about: object, make: Callable[[], Kept]) -> Kept:
        """What `make` gives, made once for `key` as long as it is asked for with the same object `about`."""
        held = self._kept.get(key)
        if held is None or held[0] is not about:
            held = self._kept[key] = (about, make())
        return held[1]  # type: ignore[return-value]

    @cached_property
    def face_is_skin(self) -> NDArray[np.bool_]:
        """(f,) whether all corners of a polygon are skin."""
        polygons = self.head.polygons
        on = np.ones(polygons.n_faces, dtype=bool)
        on[polygons.corner_face[~self.head.skin[polygons.indices]]] = False
        return on

    @cached_property
    def triangles(self) -> NDArray[np.int32]:
        """(t, 3) the triangles of the skin."""
        polygons = self.head.polygons
        return np.ascontiguousarray(polygons.triangles[self.face_is_skin[polygons.triangle_face]])

    @cached_property
    def rest_metric(self) -> Floats:
        """(3, t) the metric of the skin's triangles at rest."""
        return metric(self.head.neutral, self.triangles)

    @cached_property
    def rest_areas(self) -> Floats:
        """(f, 3) the area vectors of all polygons at rest, mm^2."""
        return area_vectors(self.head.polygons, self.head.neutral, np.arange(self.head.polygons.n_faces))

    @cached_property
    def skin_edges(self) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
        """The edges (e, 2) at which exactly two polygons of the skin meet, and those polygons (e, 2).

        The first polygon is the one whose corners run along the edge in the order in which it is given.
        """
        polygons = self.head.polygons
        edge, face = polygons.corner_edge, polygons.corner_face
        start = polygons.indices
        along = start == polygons.edges[edge, 0]
        order = np.lexsort((~along, edge))
        inner = np.flatnonzero(polygons.edge_use == 2)
        first = np.searchsorted(edge[order], inner)
        pair = np.stack([face[order[first]], face[order[first + 1]]], axis=1)
        on = self.face_is_skin[pair].all(axis=1) & (pair[:, 0] != pair[:, 1])
        return polygons.edges[inner[on]], pair[on]

    @cached_property
    def mirror(self) -> MirrorMap:
        """The mirror map of the neutral."""
        return mirror_of(self.head)

    def part_triangles(self, part: Part) -> NDArray[np.int32]:
        """(t, 3) the triangles that lie wholly in a part."""
        if part.name not in self._part_triangles:
            on = np.zeros(self.head.n_vertices, dtype=bool)
            on[part.vertices] = True
            triangles = self.head.polygons.triangles
            self._part_triangles[part.name] = triangles[on[triangles].all(axis=1)]
        return self._part_triangles[part.name]

    def part_surface(self, part: Part) -> NearestSurface | None:
        """A part at rest, to be asked for closest points; made once. None where the part has no faces."""
        if part.name not in self._part_surfaces:
            triangles = self.part_triangles(part)
            found = NearestSurface(self.head.neutral, triangles) if len(triangles) else None
            self._part_surfaces[part.name] = found
        return self._part_surfaces[part.name]

    def curve(self, name: str) -> NDArray[np.int32] | None:
        """The vertices of a landmark curve, or None where the head has none that is made of vertices."""
        marks = self.head.landmarks
        curve = marks.curves.get(name) if marks is not None else None
        return curve if isinstance(curve, np.ndarray) and len(curve) else None

    def steps_from(self, start: NDArray, most: int) -> NDArray[np.int64]:
        """(n,) number of edges from the nearest of `start`, counted up to `most`; `most + 1` beyond."""
        adjacency = self.head.polygons.adjacency
        steps = np.full(self.head.n_vertices, most + 1, dtype=np.int64)
        steps[start] = 0
        front = np.asarray(start)
        for k in range(1, most + 1):
            near = np.unique(adjacency[front].indices)
            front = near[steps[near] > most]
            steps[front] = k
            if not len(front):
                break
        return steps


@dataclass(frozen=True, eq=False)
class CheckSubject:
    """One pose (n, 3) mm of a head.

    `masks` are the effective masks (n,) by region; `recipe` what made the pose, or None for vertices from
    elsewhere; `mirror` the map that mirrored cells use; `mixer` knows which shapes turn or have
    in-betweens (without it all are straight); `given` are the sources where no recipe can name them;
    `contact` is what parts a recipe that keeps contact.
    Raises MoueError where a length does not fit the head.
    """

    facts: HeadFacts
    pose: NDArray
    name: str = ""
    recipe: Recipe | None = None
    masks: Mapping[str, NDArray] = field(default_factory=dict)
    mirror: MirrorMap | None = None
    mixer: Mixer | None = None
    given: tuple[Source, ...] | None = None
    contact: MixContact | None = None

    def __post_init__(self) -> None:
        n = self.head.n_vertices
        if np.shape(self.pose) != (n, 3):
            raise MoueError(
                f"the pose {self.name!r} has {len(self.pose)} vertices, the head {n}", self.head.path
            )
        if not np.isfinite(self.pose).all():
            bad = int(np.flatnonzero(~np.isfinite(self.pose).all(axis=1))[0])
            raise MoueError(f"the pose {self.name!r} has no position at vertex {bad}", self.head.path)

    @classmethod
    def of(cls, head: Head, pose: NDArray, **more: object) -> CheckSubject:
        """A subject with facts of its own; use the constructor to share facts between poses."""
        return cls(HeadFacts(head), pose, **more)  # type: ignore[arg-type]

    @property
    def head(self) -> Head:
        """The head."""
        return self.facts.head

    @property
    def limits(self) -> Limits:
        """The limits, in the head's size."""
        return self.facts.limits

    @cached_property
    def movement(self) -> Floats:
        """(n,) how far each vertex is from the neutral, mm."""
        away = self.pose - self.head.neutral
        return np.sqrt(np.einsum("ij,ij->i", away, away))

    @cached_property
    def sources(self) -> list[Source]:
        """What each cell of the recipe does alone; an empty list without a recipe.

        A mirrored cell without `mirror` is left out; `unmirrored` names it.
        """
        if self.given is not None:
            return list(self.given)
        if self.recipe is None:
            return []
        mixer = self.mixer if self.mixer is not None else Mixer(self.head, {}, mirror=self.mirror)
        return sources(mixer, self.recipe)

    @property
    def unmirrored(self) -> list[str]:
        """Shapes that the recipe uses mirrored where no mirror map was given."""
        cells = self.recipe.cells if self.recipe and self.mirror is None else ()
        return [cell.shape for cell in cells if cell.mirrored and cell.weight != 0.0]

    @property
    def regions(self) -> list[str]:
        """Regions that the recipe's cells use, without `all` and `remainder`."""
        used = [source.cell.region for source in self.sources] + [
            region
            for region, row in (self.recipe.rows.items() if self.recipe else ())
            if row.kind == "replace"
        ]
        return [region for region in dict.fromkeys(used) if region not in (ALL, REMAINDER)]

    @cached_property
    def stretch(self) -> Floats:
        """(t, 2) principal stretches of the skin's triangles against the neutral, the larger first."""
        return stretches(self.facts.rest_metric, metric(self.pose, self.facts.triangles))

    @cached_property
    def moved_faces(self) -> NDArray[np.int64]:
        """(k,) the polygons of the skin of which some corner moved."""
        polygons = self.head.polygons
        on = np.zeros(polygons.n_faces, dtype=bool)
        on[polygons.corner_face[(self.movement > 0.0)[polygons.indices]]] = True
        return np.flatnonzero(on & self.facts.face_is_skin)

    @cached_property
    def areas(self) -> Floats:
        """(f, 3) the area vectors of the polygons in this pose, mm^2; those of parts are as at rest."""
        areas = self.facts.rest_areas.copy()
        areas[self.moved_faces] = area_vectors(self.head.polygons, self.pose, self.moved_faces)
        return areas

    def areas_alone(self, source: Source, faces: NDArray) -> Floats:
        """(k, 3) the area vectors of some polygons where one source acts alone and everywhere, mm^2."""
        return area_vectors(self.head.polygons, self.head.neutral + source.delta, faces)

    @cached_property
    def beyond(self) -> tuple[Floats, Floats]:
        """(t,) how much longer and (t,) how much shorter than the envelope of the recipe's own shapes allows.

        The envelope of a triangle runs from the smallest to the largest stretch that any cell gives it alone
        and everywhere, and holds 1. Being 0.2 longer than the longest gives 0.2, being 1 / 1.2 of the shortest too.
        """
        large, small = self.stretch[:, 0], self.stretch[:, 1]
        hot = np.flatnonzero((large > 1.0 + _CALM) | (small < 1.0 - _CALM))
        longer, shorter = np.zeros(len(large)), np.zeros(len(large))
        if not len(hot):
            return longer, shorter
        top, bottom = np.ones(len(hot)), np.ones(len(hot))
        triangles, rest = self.facts.triangles[hot], self.facts.rest_metric[:, hot]
        for source in self.sources:
            moves = source.moves
            own = np.flatnonzero(moves[triangles[:, 0]] | moves[triangles[:, 1]] | moves[triangles[:, 2]])
            here = triangles[own]
            alone = stretches(rest[:, own], _metric_of(self.head.neutral[here] + source.delta[here]))
            top[own] = np.maximum(top[own], alone[:, 0])
            bottom[own] = np.minimum(bottom[own], alone[:, 1])
        longer[hot] = np.maximum(large[hot] / top - 1.0, 0.0)
        shorter[hot] = np.maximum(np.maximum(bottom, 1e-3) / np.maximum(small[hot], 1e-3) - 1.0, 0.0)
        return longer, shorter

    @cached_property
    def excess(self) -> Floats:
        """(t,) strain beyond the envelope of the recipe's own shapes, either way; 0 where inside it."""
        return np.maximum(*self.beyond)

    def at_vertices(self, triangles: NDArray, amounts: Floats) -> tuple[NDArray[np.int32], Floats]:
        """The vertices of some of the skin's triangles (indices) and the largest amount around each."""
        corners = self.facts.triangles[triangles]
        vertices, where = np.unique(corners.ravel(), return_inverse=True)
        worst = np.zeros(len(vertices))
        np.maximum.at(worst, where.ravel(), np.repeat(amounts, 3))
        return vertices.astype(np.int32), worst


def _metric_of(corners: Floats) -> Floats:
    e1, e2 = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    return np.stack([np.einsum("ij,ij->i", p, q) for p, q in ((e1, e1), (e1, e2), (e2, e2))])
