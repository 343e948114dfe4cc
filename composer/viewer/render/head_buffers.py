"""What the card holds of a head once for all its poses: triangles and edges by part, materials, eyeballs, textures'
coordinates, and how open to the light each vertex is."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from pyglet import gl

from composer.errors import MoueError
from composer.head.coarse import known_coarse
from composer.head.head import Head
from composer.head.understand.part_words import what_parts_are
from composer.picture.flush import flushed
from composer.picture.material import BROW, brow_weights, materials
from composer.viewer.render.daylight import TERMS, harmonics
from composer.viewer.render.eyes import Eyes
from composer.viewer.render.gl_buffers import Buffer, BufferTexture

Range = tuple[int, int]
SKIN = "skin"
IN_MOUTH = 0.42
"""How open the inside of the mouth is taken to be until the head's openness is known, in [0, 1]; chosen by eye."""
MOUTH_SEES = 0.7
"""Share of the window's light that the inside of the mouth gets at most; chosen by eye."""
OPEN_FROM, OPEN_TO = 0.06, 0.60
"""Openness below which a vertex sees nothing of the window and above which it sees all of it; chosen by eye."""
SEEN_FROM, SEEN_TO = 0.20, 0.85
"""The same for the share of the window that is not behind the head itself; chosen by eye."""
_INSIDE = ("mouth", "teeth", "gum", "tongue")


class HeadBuffers:
    """One head. `names` are "skin" and its parts, `eye_names` those that are eyeballs, `triangle_ranges` and
    `edge_ranges` where each begins and how many it has; `shading` counts changes of its openness. Of a large head whose
    coarser level is known, `rough_triangles` are that level's, over the same vertices, in `rough_ranges`."""

    def __init__(self) -> None:
        self.buffers = {name: Buffer() for name in ("materials", "openness", "balls", "uvs")}
        self.triangles = Buffer(gl.GL_ELEMENT_ARRAY_BUFFER)
        self.rough_triangles = Buffer(gl.GL_ELEMENT_ARRAY_BUFFER)
        self.edges = Buffer(gl.GL_ELEMENT_ARRAY_BUFFER)
        self.uv_texture = BufferTexture()
        self.head: Head | None = None
        self._edge_ranges: dict[str, Range] | None = None
        self.shading = 0

    @property
    def opened(self) -> Head:
        """The head. Raises MoueError where none is open."""
        if self.head is None:
            raise MoueError("no head is open in this view")
        return self.head

    def open(self, head: Head) -> None:
        """Hold this head from now on; the vertex array that is bound must be nobody's."""
        n = head.n_vertices
        self.head, self.eyes = head, Eyes(head)
        self.names = [SKIN, *(part.name for part in head.parts)]
        self.eye_names = {part.name for part in self.eyes.parts}
        owner = np.zeros(n, dtype=np.int64)
        for i, part in enumerate(head.parts):
            owner[part.vertices] = i + 1
        polygons = head.polygons
        triangles, self.triangle_ranges = _by_part(polygons.triangles, owner, self.names)
        self._owner, self._edge_ranges = owner, None
        self.triangles.hold(triangles.astype(np.uint32))
        self.rough_ranges: dict[str, Range] = {}
        level = known_coarse(head.surface)
        if level is not None:
            rough = level.vertices[level.surface.polygons.triangles]
            rough, self.rough_ranges = _by_part(rough, owner, self.names)
            self.rough_triangles.hold(rough.astype(np.uint32))
        self.buffers["balls"].hold(self.eyes.directions(n))
        self.has_uv = head.uv is not None
        if head.uv is not None:
            order = np.argsort(owner[polygons.triangles[:, 0]], kind="stable")
            index = head.uv.indices[polygons.triangle_corners[order]].reshape(-1)
            known = np.append(head.uv.uv, [[0.0, 0.0]], axis=0)
            self.buffers["uvs"].hold(np.ascontiguousarray(known[index], dtype=np.float32))
        self._inside = _inside(head)
        self.shade(None, None)

    @property
    def edge_ranges(self) -> dict[str, Range]:
        """Where the edges of each part begin and how many it has; they are sent when they are first asked for."""
        if self._edge_ranges is None:
            edges, self._edge_ranges = _by_part(self.opened.polygons.edges, self._owner, self.names)
            self.edges.hold(edges.astype(np.uint32))
        return self._edge_ranges

    def shade(self, openness: NDArray | None, daylight: NDArray | None, thinness: NDArray | None = None) -> None:
        """See `View3D.shade`."""
        n = self.opened.n_vertices
        if openness is not None and openness.shape != (n,):
            raise MoueError(f"{len(openness)} values of openness for a head of {n} vertices")
        if daylight is not None and daylight.shape != (n, TERMS):
            raise MoueError(f"{daylight.shape} values of daylight for a head of {n} vertices")
        if thinness is not None and thinness.shape != (n,):
            raise MoueError(f"{len(thinness)} values of thinness for a head of {n} vertices")
        self.buffers["materials"].hold(self._materials(np.zeros(n) if thinness is None else thinness))
        unshaded = np.where(self._inside, IN_MOUTH, 1.0)
        free = np.asarray(unshaded if openness is None else openness, dtype=np.float32)
        self.buffers["openness"].hold(free)
        self._daylight = None if daylight is None else np.asarray(daylight, dtype=np.float32)
        self._sees = _soft_step(free, OPEN_FROM, OPEN_TO)
        self.shading += 1

    def lit_by(self, window: NDArray) -> NDArray[np.float32]:
        """(n,) in [0, 1], how much every vertex sees of the window that lies in direction `window` (3,)."""
        lit = self._sees.copy()
        if self._daylight is None:
            lit[self._inside] *= MOUTH_SEES
        else:
            seen = _soft_step(self._daylight @ harmonics(window[None])[0].astype(np.float32), SEEN_FROM, SEEN_TO)
            lit *= np.where(self._inside, MOUTH_SEES, seen)  # what a shut mouth hides at rest an open one shows
        return lit

    def _materials(self, thinness: NDArray) -> NDArray[np.float32]:
        """(n, 4) albedo in linear light and sheen, the blood under thin skin and the brows' stroke laid on."""
        head, are = self.opened, what_parts_are(self.opened)
        albedo, sheen = materials(head.polygons, head.neutral, head.parts, head.groups, head.landmarks, are)
        albedo, sheen = flushed(albedo, sheen, head.skin, thinness, head.neutral, self.eyes.balls)
        if head.landmarks is not None:
            hair = brow_weights(head.neutral, head.skin, head.landmarks, "brow" in are.values())[:, None]
            albedo = albedo + hair * (BROW - albedo)
        return np.concatenate([albedo, sheen[:, None]], axis=1).astype(np.float32)

    def runs(self, ranges: dict[str, Range], names: set[str]) -> list[Range]:
        """Where the elements of these parts begin and how many they are, neighbours joined."""
        runs: list[Range] = []
        for name in self.names:
            first, count = ranges[name]
            if name not in names or not count:
                continue
            if runs and sum(runs[-1]) == first:
                runs[-1] = runs[-1][0], runs[-1][1] + count
            else:
                runs.append((first, count))
        return runs

    def close(self) -> None:
        """Give everything back."""
        things: Sequence = (self.triangles, self.rough_triangles, self.edges, self.uv_texture, *self.buffers.values())
        for thing in things:
            thing.close()
        self.head = None


def _inside(head: Head) -> NDArray[np.bool_]:
    """(n,) what lies inside the mouth, by the names of groups and parts."""
    inside = np.zeros(head.n_vertices, dtype=bool)
    for name, faces in head.groups.items():
        if any(word in name.lower() for word in _INSIDE):
            of_group = np.zeros(head.polygons.n_faces, dtype=bool)
            of_group[faces] = True
            inside[head.polygons.indices[of_group[head.polygons.corner_face]]] = True
    for part in head.parts:
        inside[part.vertices] = any(word in part.name.lower() for word in _INSIDE)
    return inside


def _soft_step(values: NDArray[np.float32], low: float, high: float) -> NDArray[np.float32]:
    """(n,) 0 up to `low`, 1 from `high`, smooth between."""
    t = np.clip((values - np.float32(low)) * np.float32(1.0 / (high - low)), 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


def _by_part(items: NDArray, owner: NDArray, names: list[str]) -> tuple[NDArray, dict[str, Range]]:
    """Triangles or edges sorted by the part of their first vertex, and where each part begins and how many it has."""
    if len(names) == 1:
        return items, {names[0]: (0, len(items))}
    of = owner[items[:, 0]]
    order = np.argsort(of, kind="stable")
    count = np.bincount(of, minlength=len(names))
    first = np.cumsum(count) - count
    return items[order], {name: (int(f), int(c)) for name, f, c in zip(names, first, count, strict=True)}
