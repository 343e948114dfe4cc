"""A head as a picture: rays through a long lens, matt bone, window light, no window system and no GL.

`render_head` makes one picture. `Studio` keeps the data that poses of one head share, so that a sheet of expressions
costs little more than its rays. The same input gives the same bytes on the same machine.

A first picture has one ray a pixel; the edges in it are rendered again with eight. The window has sixteen panes: each
pixel samples two of them, in a four-by-four pattern, and the results of the sixteen pixels around are averaged where
they have the same depth, twice (Keller and Heidrich 2001, "Interleaved sampling"). Shadow rays start from a point
lifted to the smooth surface, so that large triangles show no facets (Hanika 2021, "Hacking the shadow terminator").
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons
from composer.geometry.vectors import cross
from composer.head.head import Head, Part
from composer.head.landmarks import Landmarks
from composer.picture.camera import Camera, unit
from composer.picture.colour import to_linear, to_srgb
from composer.picture.eyeball import paint
from composer.picture.figure import Figure, Posed
from composer.picture.light import Light, develop
from composer.picture.views import FILL, camera_of

if TYPE_CHECKING:
    from PIL.Image import Image

Floats = NDArray[np.float64]
BACKGROUND = (152, 154, 158)
_SUBPIXELS = np.array([(1, 5), (3, 1), (5, 7), (7, 3), (0, 2), (2, 6), (4, 0), (6, 4)]) / 8.0 + 1.0 / 16.0
_PATTERN = np.array([0, 8, 2, 10, 12, 4, 14, 6, 3, 11, 1, 9, 15, 7, 13, 5])
AT_ONCE = 8192
"""Pixels that are coloured together, so that their arrays stay in the processor's cache (our choice)."""
_EDGE = 0.045
"""Difference of neighbouring pixels, in sRGB from 0 to 1, from which on they are an edge (our choice)."""
_EVEN = 0.55
"""Share of the shading that a heat map removes, so that its colours match the legend (our choice)."""


class Studio:
    """Pictures of poses of one head; it is built once for a head."""

    def __init__(self, figure: Figure) -> None:
        self.figure = figure

    @classmethod
    def of(cls, head: Head, level: int = 1, cameras: Sequence[Camera] = ()) -> Studio:
        """The studio of a head, at a level (0 to 8), for any camera or for pictures by `cameras` alone."""
        return cls(Figure.of(head, level, cameras))

    def camera(
        self, view: str, size: tuple[int, int], poses: Sequence[NDArray] = (), fill: float = FILL
    ) -> Camera:
        """A camera of a named view that holds the neutral and all of `poses` (n, 3): one frame for a whole
        sheet.
        """
        points = np.concatenate([self.figure.neutral, *poses]) if poses else self.figure.neutral
        return camera_of(view, points, size, fill)

    def picture(
        self,
        positions: NDArray | None = None,
        *,
        posed: Posed | None = None,
        view: str = "front",
        size: tuple[int, int] = (480, 600),
        camera: Camera | None = None,
        colours: NDArray | None = None,
    ) -> Image:
        """A pose (n, 3) mm of the cage, or the neutral, as an RGB picture of `size` (width, height).

        `posed` is the same pose, prepared by `figure.posed` for several pictures. `camera` replaces view and size.
        `colours` (n, 3) or (n, 4) in sRGB, [0, 1], cover the bone; the fourth column is their share, and a row of NaN
        keeps the bone. Raises MoueError for an unknown view.
        """
        pose = posed or (self.figure.rest if positions is None else self.figure.posed(positions))
        eye = camera or camera_of(view, self.figure.neutral if positions is None else positions, size)
        return self._taken(pose, eye, [colours])[0]

    def pictures(self, camera: Camera, covers: Sequence[NDArray | None]) -> list[Image]:
        """The neutral as `picture` takes it, once for each of `covers`, which are `colours` or None: they share their
        rays, and cost little more than one."""
        return self._taken(self.figure.rest, camera, covers)

    def _taken(self, pose: Posed, camera: Camera, covers: Sequence[NDArray | None]) -> list[Image]:
        from PIL import Image

        shot = _Shot(self.figure, pose, camera, [self._cover(colours) for colours in covers])
        return [Image.fromarray(np.round(one * 255.0).astype(np.uint8), "RGB") for one in shot.take()]

    def _cover(self, colours: NDArray | None) -> tuple[Floats, Floats | None]:
        """Albedo (n', 3) of the fine level and how much of it is covered by given colours (n',), or None."""
        if colours is None:
            return self.figure.albedo, None
        given = np.asarray(colours, dtype=np.float64)
        amount = given[:, 3] if given.shape[1] == 4 else np.ones(len(given))
        amount = np.where(np.isfinite(given).all(axis=1), amount, 0.0)
        paint = to_linear(np.where(amount[:, None] > 0.0, given[:, :3], 0.0)) * amount[:, None]
        amount = self.figure.lift(amount)
        return self.figure.lift(paint) + (1.0 - amount)[:, None] * self.figure.albedo, amount


class _Shot:
    """One picture being taken: a pose, a camera, a light."""

    def __init__(
        self, figure: Figure, pose: Posed, camera: Camera, covers: Sequence[tuple[Floats, Floats | None]]
    ) -> None:
        """`covers` are the albedo (n', 3) and how much of it is covered (n',), or None, of each picture."""
        self.figure, self.pose, self.camera, self.covers = figure, pose, camera, covers
        self.light = Light(camera)

    def take(self) -> list[Floats]:
        """(height, width, 3) sRGB in [0, 1], for each of the covers."""
        camera = self.camera
        ground = np.tile(to_linear(np.array(BACKGROUND) / 255.0), (camera.height, camera.width, 1))
        images = [ground.copy() for _ in self.covers]
        left, top, right, bottom = self._box()
        if right <= left or bottom <= top:
            return [to_srgb(image) for image in images]
        rows, columns = np.mgrid[top:bottom, left:right]
        windows = [image[top:bottom, left:right] for image in images]
        self._first_pass(windows, columns, rows)
        edges = np.logical_or.reduce([self._edges(to_srgb(window)) for window in windows])
        if edges.any():
            at = np.flatnonzero(edges)
            for some in np.array_split(at, len(at) // AT_ONCE + 1):
                again = self._again(columns.ravel()[some], rows.ravel()[some])
                for window, colour in zip(windows, again, strict=True):
                    window[np.unravel_index(some, columns.shape)] = colour
        return [to_srgb(image) for image in images]

    def _box(self) -> tuple[int, int, int, int]:
        seen, _ = self.camera.project(self.pose.positions)
        low = np.floor(seen.min(axis=0)).astype(int) - 2
        high = np.ceil(seen.max(axis=0)).astype(int) + 3
        return (
            max(low[0], 0), max(low[1], 0), min(high[0], self.camera.width), min(high[1], self.camera.height)
        )  # fmt: skip

    def _first_pass(self, windows: list[Floats], columns: NDArray, rows: NDArray) -> None:
        sight = self.camera.directions(columns.ravel() + 0.5, rows.ravel() + 0.5)
        hits = self.pose.rays.first(np.broadcast_to(self.camera.eye, sight.shape), sight)
        on = np.flatnonzero(hits.triangle >= 0)
        if not len(on):
            return
        lit, places = np.zeros(columns.size), []
        for some in np.array_split(on, len(on) // AT_ONCE + 1):
            column, row = columns.ravel()[some], rows.ravel()[some]
            pane, within = _PATTERN[(column % 4) + 4 * (row % 4)], _scattered(column, row)
            place = _Place(self.figure, self.pose, hits.triangle[some], hits.u[some], hits.v[some], sight[some])
            lit[some] = 0.5 * (self._lit(place, pane, within) + self._lit(place, (pane + 5) % 16, 1.0 - within))
            places.append((some, place))
        depth = np.full(columns.size, np.inf)
        depth[on] = hits.distance[on]
        tolerance = 1.0 + 4.0 * self.camera.pixel_mm(float(depth[on].mean()))
        deep = depth.reshape(columns.shape)
        smooth = _average(_average(lit.reshape(columns.shape), deep, tolerance), deep, tolerance)
        for some, place in places:
            at = np.unravel_index(some, columns.shape)
            for window, colour in zip(windows, self._colours(place, smooth.ravel()[some]), strict=True):
                window[at] = colour

    def _again(self, columns: NDArray, rows: NDArray) -> list[Floats]:
        """(k, 3) display light of pixels rendered with eight rays each, for each of the covers."""
        base = to_linear(np.array(BACKGROUND) / 255.0)
        totals = [np.zeros((len(columns), 3)) for _ in self.covers]
        for i, (dx, dy) in enumerate(_SUBPIXELS):
            sight = self.camera.directions(columns + dx, rows + dy)
            hits = self.pose.rays.first(np.broadcast_to(self.camera.eye, sight.shape), sight)
            on = np.flatnonzero(hits.triangle >= 0)
            for total in totals:
                total[hits.triangle < 0] += base
            if len(on):
                place = _Place(self.figure, self.pose, hits.triangle[on], hits.u[on], hits.v[on], sight[on])
                within = _scattered(columns[on] + i, rows[on])
                lit = [self._lit(place, np.full(len(on), pane), within) for pane in (2 * i, 2 * i + 1)]
                for total, colour in zip(totals, self._colours(place, 0.5 * (lit[0] + lit[1])), strict=True):
                    total[on] += colour
        return [total / len(_SUBPIXELS) for total in totals]

    def _lit(self, place: _Place, pane: NDArray, within: Floats) -> Floats:
        """(k,) 1 where the place `within` (k, 2) a pane (k,) of the window is seen, else 0."""
        toward = self.light.toward_window(pane, within)
        facing = np.flatnonzero(np.einsum("ij,ij->i", place.normals, toward) > 0.0)
        lit = np.zeros(len(pane))
        lit[facing] = ~self.pose.rays.blocked(place.lifted[facing], toward[facing])
        return lit

    def _colours(self, place: _Place, lit: Floats) -> list[Floats]:
        """(k, 3) display light in [0, 1], for each of the covers."""
        sheen, free, normals = place.at(self.figure.sheen), place.at(self.pose.openness), place.normals
        eye_of = self.figure.eye_of_triangle[place.triangle]
        painted, mirror = [], np.zeros(len(lit))
        for i, ball in enumerate(self.pose.eyes):
            chosen = np.flatnonzero(eye_of == i)
            if not len(chosen):
                continue
            colour, out = paint(ball, place.points[chosen])
            normals[chosen] = out
            painted.append((chosen, colour - place.at(self.figure.albedo)[chosen]))
            mirror[chosen] = self.light.mirrored(out, place.sight[chosen]) * np.clip(free[chosen] * 1.6, 0.0, 1.0)
        return [self._coloured(place, lit, cover, sheen, free, painted, mirror) for cover in self.covers]

    def _coloured(
        self, place: _Place, lit: Floats, cover: tuple[Floats, Floats | None], sheen: Floats, free: Floats,
        painted: list[tuple[NDArray, Floats]], mirror: Floats,
    ) -> Floats:  # fmt: skip
        """(k, 3) display light in [0, 1] of one cover; `painted` are places on eyeballs and what their paint adds."""
        albedo = place.at(cover[0])
        covered = np.zeros(len(lit)) if cover[1] is None else place.at(cover[1])
        for chosen, more in painted:
            albedo[chosen] += (1.0 - covered[chosen, None]) * more
        inside = place.back[:, None]
        albedo = np.where(inside, albedo * np.array([0.55, 0.42, 0.38]), albedo)
        light = self.light.on(
            place.normals, place.sight, albedo, sheen * ~place.back * (1.0 - covered), free, lit
        )  # fmt: skip
        light += (covered * _EVEN)[:, None] * (albedo * 0.85 - light)
        return develop(light + (mirror * (1.0 - covered) * 0.85)[:, None])

    def _edges(self, srgb: Floats) -> NDArray[np.bool_]:
        """The pixels that differ visibly from a neighbour."""
        edge = np.zeros(srgb.shape[:2], dtype=bool)
        across = np.abs(np.diff(srgb, axis=1)).max(axis=2) > _EDGE
        down = np.abs(np.diff(srgb, axis=0)).max(axis=2) > _EDGE
        edge[:, 1:] |= across
        edge[:, :-1] |= across
        edge[1:] |= down
        edge[:-1] |= down
        return edge


class _Place:
    """The points where k rays meet the surface, with normals that face the eye, and values at them."""

    def __init__(
        self, figure: Figure, pose: Posed, triangle: NDArray, u: NDArray, v: NDArray, sight: Floats
    ) -> None:
        self.triangle, self.sight = triangle, sight
        self.corners = figure.triangles[triangle]
        self.weights = np.stack([1.0 - u - v, u, v], axis=1).astype(np.float64)
        normals = [pose.normals[self.corners[:, i]] for i in range(3)]
        corner = [pose.positions[self.corners[:, i]] for i in range(3)]
        self.points = self._mix(corner)
        flat = unit(cross(corner[1] - corner[0], corner[2] - corner[0]))
        self.back = np.einsum("ij,ij->i", flat, sight) > 0.0
        side = np.where(self.back, -1.0, 1.0)[:, None]
        self.normals = unit(self._mix(normals)) * side
        lifted = []
        for p, n in zip(corner, normals, strict=True):
            below = np.minimum(np.einsum("ij,ij->i", self.points - p, n), 0.0)
            lifted.append(self.points - below[:, None] * n)
        self.lifted = np.where(self.back[:, None], self.points, self._mix(lifted)) + 0.06 * flat * side

    def _mix(self, corners: Sequence[Floats]) -> Floats:
        w = self.weights
        return corners[0] * w[:, :1] + corners[1] * w[:, 1:2] + corners[2] * w[:, 2:]

    def at(self, values: Floats) -> Floats:
        """Vertex values (n,) or (n, k) where the rays met the surface."""
        if values.ndim == 1:
            return np.einsum("ij,ij->i", values[self.corners], self.weights)
        return self._mix([values[self.corners[:, i]] for i in range(3)])


def _scattered(columns: NDArray, rows: NDArray) -> Floats:
    """(k, 2) in [0, 1): a place for each pixel, unlike its neighbours', the same every time (the additive
    recurrence of the plastic number's powers; Roberts, The unreasonable effectiveness of quasirandom
    sequences, 2018).
    """
    count = (columns + 61 * rows).astype(np.float64)
    return np.stack([count * 0.7548776662466927 % 1.0, count * 0.5698402909980532 % 1.0], axis=1)


def _average(lit: Floats, depth: Floats, tolerance: float) -> Floats:
    """The mean of `lit` over the four by four pixels around each, of those within `tolerance` mm of its
    depth.
    """
    height, width = lit.shape
    padded = np.pad(lit, 2)
    deep = np.pad(depth, 2, constant_values=np.inf)
    finite = np.where(np.isfinite(depth), depth, 0.0)
    total, count = np.zeros_like(lit), np.zeros_like(lit)
    for dy in range(4):
        for dx in range(4):
            near = np.abs(deep[dy : dy + height, dx : dx + width] - finite) < tolerance
            total += np.where(near, padded[dy : dy + height, dx : dx + width], 0.0)
            count += near
    return total / np.maximum(count, 1.0)


def render_head(
    positions: NDArray,
    polygons: Polygons,
    *,
    parts: Sequence[Part] = (),
    groups: Mapping[str, NDArray] | None = None,
    landmarks: Landmarks | None = None,
    view: str = "front",
    size: tuple[int, int] = (480, 600),
    level: int = 1,
    colours: NDArray | None = None,
) -> Image:
    """One picture of a mesh at `positions` (n, 3) mm: the pose itself is taken as the rest of its eyeballs.

    `view` is front, three_quarter, profile, below or back; `size` is (width, height) in pixels; `level`
    subdivides the cage first; `colours` are as in `Studio.picture`.
    Raises MoueError for an unknown view or a level out of range.
    """
    figure = Figure(polygons, positions, parts=parts, groups=groups, landmarks=landmarks, level=level)
    return Studio(figure).picture(view=view, size=size, colours=colours)
