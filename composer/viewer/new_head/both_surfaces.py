"""The sculpt and the library as one head that a view draws: the sculpt's vertices first, then the library's, as a part
of its own that is hidden or shown. The library's edges are drawn as lines over the sculpt."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons
from composer.head.head import Head, Part
from composer.head.places import SurfacePoint
from composer.viewer.render.look import Colour, Line
from composer.viewer.render.normals import Normals
from composer.viewer.render.picking import Frozen, Picker

LIBRARY = "library"
GHOST, DRAWN, HELD = (30, 74, 92, 150), (227, 188, 133, 255), (250, 246, 235, 255)
Range = tuple[int, int]


class BothSurfaces:
    """Both meshes; the library stands at its neutral until it is moved."""

    def __init__(self, sculpt: Head, library: Head) -> None:
        self.n_sculpt = sculpt.n_vertices
        self.library = library
        self.head = _together(sculpt, library)
        self.picker = Picker(self.head)
        self._library_picker = Picker(library)
        self._sculpt = sculpt
        self._frozen: Frozen | None = None
        self.normals = Normals(self.head)
        self.positions: NDArray[np.float32] = self.head.neutral.astype(np.float32)
        edges = library.polygons.edges
        skin = library.skin[edges].all(axis=1)
        ends = (edges[skin] + self.n_sculpt).reshape(-1)
        self.edges = Line(ends, ends, np.zeros(len(ends)), GHOST, 1.0)

    @property
    def sculpt_rays(self) -> Frozen:
        """Picks on the sculpt, which never moves: its tree is built when it is first asked."""
        if self._frozen is None:
            self._frozen = Picker(self._sculpt).freeze(self._sculpt.neutral)
        return self._frozen

    @property
    def on_library(self) -> Picker:
        """Picks on the library alone, in the numbers of its own vertices."""
        return self._library_picker

    @property
    def library_positions(self) -> NDArray[np.float32]:
        """(n, 3) float32 mm, where the library's vertices stand in the view."""
        return self.positions[self.n_sculpt :]

    def move(self, cage: NDArray | None) -> Range:
        """Stand the library's vertices at (n, 3) mm, at the neutral for None; the range of vertices that changed."""
        wanted = np.asarray(self.library.neutral if cage is None else cage, dtype=np.float32)
        changed = np.flatnonzero((wanted != self.library_positions).any(axis=1))
        if not len(changed):
            return 0, 0
        first, last = int(changed[0]), int(changed[-1]) + 1
        self.library_positions[first:last] = wanted[first:last]
        return self.n_sculpt + first, self.n_sculpt + last

    def library_line(self, vertices: NDArray[np.integer], closed: bool, colour: Colour = HELD) -> Line:
        """A line through vertices (k,) of the library."""
        run = np.append(vertices, vertices[:1]) if closed else np.asarray(vertices)
        ends = np.stack([run[:-1], run[1:]], axis=1).reshape(-1) + self.n_sculpt
        return Line(ends, ends, np.zeros(len(ends)), colour, 3.0)


def sculpt_line(points: list[SurfacePoint]) -> Line:
    """A line through places of the sculpt."""
    twice = np.repeat(np.arange(len(points)), 2)[1:-1]
    corners = np.array([place.triangle for place in points])[twice]
    shares = np.array([place.bary for place in points])[twice]
    return Line(corners[:, 0], corners[:, 1:], shares[:, 1:], DRAWN, 2.0)


def _together(sculpt: Head, library: Head) -> Head:
    """Both as one head, the library's vertices last and as one part."""
    a, b = sculpt.polygons, library.polygons
    polygons = Polygons(
        np.concatenate([a.counts, b.counts]), np.concatenate([a.indices, b.indices + a.n_vertices]),
        a.n_vertices + b.n_vertices,
    )  # fmt: skip
    part = Part(LIBRARY, (np.arange(b.n_vertices) + a.n_vertices).astype(np.int32))
    return Head(sculpt.name, polygons, np.concatenate([sculpt.neutral, library.neutral]), parts=(part,))
