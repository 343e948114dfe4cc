"""One picture being taken: rays through the camera, shadow rays to the window, and the colours of what they meet.

A first picture has one ray a pixel; the edges in it are rendered again with eight. The window has sixteen panes: each
pixel samples one of them, in a four-by-four pattern, and the results of the sixteen pixels around are averaged where
they have the same depth, twice (Keller and Heidrich 2001, "Interleaved sampling").
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from composer.picture import skin_light as skin
from composer.picture.camera import Camera
from composer.picture.colour import to_linear, to_srgb
from composer.picture.eye_paint import seen_of
from composer.picture.figure import Figure, Posed
from composer.picture.ground import ground_rows
from composer.picture.lamps import FOLLOWING
from composer.picture.light import Light, develop
from composer.picture.place import Ground, Place
from composer.picture.planes import Single, as_planes, as_rows, column, dot
from composer.picture.rays import Hits

AT_ONCE = 8192
"""Pixels that are coloured together, so that their arrays stay in the processor's cache (our choice)."""
_SUBPIXELS = np.array([(1, 5), (3, 1), (5, 7), (7, 3), (0, 2), (2, 6), (4, 0), (6, 4)]) / 8.0 + 1.0 / 16.0
_PATTERN = np.array([0, 8, 2, 10, 12, 4, 14, 6, 3, 11, 1, 9, 15, 7, 13, 5])
_EDGE = 0.045
"""Difference of neighbouring pixels, in sRGB from 0 to 1, from which on they are an edge (our choice)."""
_INSIDE = column(np.array(skin.INSIDE))


class Shot:
    """One picture being taken: a pose, a camera, a light, and the covers that are pictured by the same rays."""

    def __init__(
        self, figure: Figure, pose: Posed, camera: Camera, covers: Sequence[tuple[NDArray, NDArray | None]],
        light: str = FOLLOWING, clear: bool = False,
    ) -> None:  # fmt: skip
        """`covers` are the albedo (n', 3) and how much of it is covered (n',), or None, of each picture; `light` is a
        name of `lamps.LIGHTS`; a `clear` picture has alpha in the place of the ground."""
        self.figure, self.pose, self.camera, self.clear = figure, pose, camera, clear
        self.ground = Ground(figure, pose, covers)
        self.light = Light(camera, light)
        self._behind = ground_rows(camera.height)
        self._held = np.zeros((camera.height, camera.width), dtype=np.float32)
        self._albedo = np.asarray(figure.albedo, dtype=np.float32)

    def take(self) -> list[Single]:
        """(height, width, 3) sRGB in [0, 1], for each of the covers; a clear picture has alpha as fourth."""
        images = self._images()
        return [np.dstack([image, self._held]) for image in images] if self.clear else images

    def _images(self) -> list[Single]:
        camera = self.camera
        behind = np.repeat(self._behind[:, None], camera.width, axis=1)
        images = [behind.copy() for _ in range(self.ground.n_covers)]
        left, top, right, bottom = self._box()
        if right <= left or bottom <= top:
            return images
        rows, columns = (at.ravel() for at in np.mgrid[top:bottom, left:right])
        windows = [image[top:bottom, left:right] for image in images]
        evened, depth, tolerance = self._first_pass(windows, columns, rows)
        edges = self._to_refine(windows)
        if self.clear:  # against the ground alone an outline may not show
            edges |= _edges(self._held[top:bottom, left:right, None])
        at = np.flatnonzero(edges)
        for some in np.array_split(at, len(at) // AT_ONCE + 1):
            if len(some):
                again = self._again(columns[some], rows[some], evened[some], depth[some], tolerance)
                for window, light in zip(windows, again, strict=True):
                    window[np.unravel_index(some, window.shape[:2])] = to_srgb(light).T
        return images

    def _to_refine(self, windows: list[Single]) -> NDArray[np.bool_]:
        """The pixels that are to be rendered with more rays. The edges of what stands in space are those of a picture
        without colours laid over it; where there is one, the others add the borders of their colours alone."""
        bare = [window for window, plain in zip(windows, self.ground.bare, strict=True) if plain]
        covered = [window for window, plain in zip(windows, self.ground.bare, strict=True) if not plain]
        if not bare:
            return np.asarray(np.logical_or.reduce([_edges(window) for window in covered]))
        return np.asarray(np.logical_or.reduce([*map(_edges, bare), *map(_bends, covered)]))

    def _box(self) -> tuple[int, int, int, int]:
        seen, _ = self.camera.project(self.pose.positions)
        low = np.floor(seen.min(axis=0)).astype(int) - 2
        high = np.ceil(seen.max(axis=0)).astype(int) + 3
        return (
            max(low[0], 0), max(low[1], 0), min(high[0], self.camera.width), min(high[1], self.camera.height)
        )  # fmt: skip

    def _hits(self, columns: NDArray, rows: NDArray) -> tuple[Single, Hits]:
        """The directions (3, k) of rays through image positions (k,), and what they meet first."""
        sight = self.camera.directions(columns, rows).astype(np.float32)
        return as_planes(sight), self.pose.rays.first(np.broadcast_to(self.camera.eye, sight.shape), sight)

    def _first_hits(self, columns: NDArray, rows: NDArray) -> tuple[Single, Hits]:
        """The same through the middles of pixels (k,), which may be known."""
        for camera, hits in self.pose.seen:
            if camera is self.camera:
                sight = camera.directions(columns + 0.5, rows + 0.5)
                return as_planes(sight), hits.at(rows * camera.width + columns)
        return self._hits(columns + 0.5, rows + 0.5)

    def _first_pass(self, windows: list[Single], columns: NDArray, rows: NDArray) -> tuple[Single, Single, float]:
        """Colour pixels (k,) with one ray each. Returns how much of the window each sees (k,), evened, the distance
        (k,) mm of what it shows, infinite for the ground, and how far apart in mm one surface may lie there."""
        sight, hits = self._first_hits(columns, rows)
        depth = np.full(columns.size, np.inf, dtype=np.float32)
        on = np.flatnonzero(hits.triangle >= 0)
        if not len(on):
            return np.zeros(columns.size, dtype=np.float32), depth, 0.0
        self._held[rows[on], columns[on]] = 1.0
        shape = windows[0].shape[:2]
        lit, places = np.zeros(columns.size, dtype=np.float32), []
        for some in np.array_split(on, len(on) // AT_ONCE + 1):
            pane = _PATTERN[(columns[some] % 4) + 4 * (rows[some] % 4)]
            within = _scattered(columns[some], rows[some])
            place = self._place(hits, some, sight)
            lit[some] = self._lit(place, pane, within)
            places.append((some, place))
        depth[on] = hits.distance[on]
        tolerance = 1.0 + 4.0 * self.camera.pixel_mm(float(depth[on].mean()))
        evened: Single = lit.reshape(shape)
        for step in _steps(self.camera.pixel_mm(float(depth[on].mean()))):
            evened = _average(evened, depth.reshape(shape), tolerance, step)
        smooth = evened.ravel()
        for some, place in places:
            at = np.unravel_index(some, shape)
            for window, light in zip(windows, self._colours(place, smooth[some]), strict=True):
                window[at] = to_srgb(light).T
        return smooth, depth, tolerance

    def _place(self, hits: Hits, some: NDArray, sight: Single) -> Place:
        return Place(self.ground, hits.triangle[some], hits.u[some], hits.v[some], sight.take(some, axis=1))

    def _again(
        self, columns: NDArray, rows: NDArray, evened: Single, depth: Single, tolerance: float
    ) -> list[Single]:
        """(3, k) display light of pixels rendered with eight rays each, for each of the covers: the mean with the
        ground, or of the head alone in a clear picture. What lies where the first ray met the head, as `_first_pass`
        gives it, is lit as evened there, so that edges stand out from their surroundings by no grain."""
        held = np.zeros(len(columns), dtype=np.float32)
        base = np.float32(not self.clear) * to_linear(self._behind[rows]).astype(np.float32).T
        totals = [np.zeros((3, len(columns)), dtype=np.float32) for _ in range(self.ground.n_covers)]
        for i, (dx, dy) in enumerate(_SUBPIXELS):
            sight, hits = self._hits(columns + dx, rows + dy)
            on = np.flatnonzero(hits.triangle >= 0)
            held[on] += 1.0
            for total in totals:
                total += base * (hits.triangle < 0)
            if len(on):
                place = self._place(hits, on, sight)
                within = _scattered(columns[on] + i, rows[on])
                other = np.abs(hits.distance[on] - depth[on]) >= tolerance
                lit = [self._lit(place, np.full(len(on), pane), within, other) for pane in (2 * i, 2 * i + 1)]
                seen = np.where(other, 0.5 * (lit[0] + lit[1]), evened[on]).astype(np.float32)
                for total, light in zip(totals, self._colours(place, seen), strict=True):
                    total[:, on] += light
        self._held[rows, columns] = held / np.float32(len(_SUBPIXELS))
        count = np.maximum(held, 1.0) if self.clear else np.float32(len(_SUBPIXELS))
        return [total / count for total in totals]

    def _lit(self, place: Place, pane: NDArray, within: Single, asked: NDArray | None = None) -> Single:
        """(k,) 1 where the place `within` (2, k) a pane (k,) of the window is seen, else 0, as where it is not
        `asked` (k,)."""
        toward = self.light.toward_window(pane, within)
        facing = np.flatnonzero((dot(place.normals, toward) > 0.0) & (True if asked is None else asked))
        lit = np.zeros(len(pane), dtype=np.float32)
        if len(facing):
            origins, directions = (as_rows(each.take(facing, axis=1)) for each in (place.lifted, toward))
            lit[facing] = ~self.pose.rays.blocked(origins, directions)
        return lit

    def _colours(self, place: Place, lit: Single) -> list[Single]:
        """(3, k) display light in [0, 1], for each of the covers."""
        eye_of = self.figure.eye_of_triangle[place.triangle]
        painted, mirror = [], np.zeros(len(lit), dtype=np.float32)
        for i, ball in enumerate(self.pose.eyes):
            chosen = np.flatnonzero(eye_of == i)
            if not len(chosen):
                continue
            points, sight = (as_rows(each[:, chosen]).astype(np.float64) for each in (place.points, place.sight))
            pixel = self.camera.pixel_mm(float(np.linalg.norm(points.mean(axis=0) - self.camera.eye)))
            seen = seen_of(ball, self.pose.lids[i], points, sight, self.light.window, pixel)
            place.normals[:, chosen] = as_planes(seen.lit_by)
            if self.figure.lids[i] is not None:
                place.free[chosen] = seen.open
                lit[chosen] *= seen.lit
            painted.append((chosen, as_planes(seen.albedo) - place.between(self._albedo, chosen)))
            mirror[chosen] = self.light.on_eye(seen, place.sight[:, chosen], lit[chosen])
        return [self._coloured(place, lit, i, painted, mirror) for i in range(self.ground.n_covers)]

    def _coloured(
        self, place: Place, lit: Single, cover: int, painted: list[tuple[NDArray, Single]], mirror: Single
    ) -> Single:
        """(3, k) display light in [0, 1] of one cover; `painted` are places on eyeballs and what their paint adds."""
        albedo, covered = place.cover(cover)
        bare = np.float32(1.0) - covered
        for chosen, more in painted:
            albedo[:, chosen] += bare[chosen] * more
        albedo = np.where(place.back, albedo * _INSIDE, albedo)
        sheen = place.sheen * ~place.back * bare
        light = self.light.on(place.normals, place.sight, albedo, sheen, place.free, lit, bare)
        if covered.any():
            light += (covered * np.float32(skin.EVEN)) * (albedo * np.float32(skin.EVEN_LIGHT) - light)
        light += mirror * bare
        return develop(light)


def _edges(srgb: Single) -> NDArray[np.bool_]:
    """The pixels (height, width) of a picture (height, width, 3) that differ visibly from a neighbour."""
    edge = np.zeros(srgb.shape[:2], dtype=bool)
    across = (np.abs(np.diff(srgb, axis=1)) > np.float32(_EDGE)).any(axis=2)
    down = (np.abs(np.diff(srgb, axis=0)) > np.float32(_EDGE)).any(axis=2)
    edge[:, 1:] |= across
    edge[:, :-1] |= across
    edge[1:] |= down
    edge[:-1] |= down
    return edge


def _bends(srgb: Single) -> NDArray[np.bool_]:
    """The pixels of a picture that lie visibly off the line between two neighbours, left and right or above and below:
    what runs on evenly over several pixels, such as the colours of a heat map, is no edge, however steep."""
    bend = np.zeros(srgb.shape[:2], dtype=bool)
    bend[:, 1:-1] |= (np.abs(np.diff(srgb, 2, axis=1)) > np.float32(_EDGE)).any(axis=2)
    bend[1:-1] |= (np.abs(np.diff(srgb, 2, axis=0)) > np.float32(_EDGE)).any(axis=2)
    return bend


def _scattered(columns: NDArray, rows: NDArray) -> Single:
    """(2, k) in [0, 1): a place for each pixel, unlike its neighbours', the same every time (the additive
    recurrence of the plastic number's powers; Roberts, The unreasonable effectiveness of quasirandom
    sequences, 2018).
    """
    count = (columns + 61 * rows).astype(np.float64)
    return np.stack([count * 0.7548776662466927 % 1.0, count * 0.5698402909980532 % 1.0]).astype(np.float32)


def _steps(pixel_mm: float) -> list[int]:
    """How far apart, in pixels, the places lie that are averaged, one pass after the other: twice next to each other,
    then ever further until they reach twice as far as the skin softens an edge, which the grain of sixteen panes needs
    in wide half shades (Dammertz, Sewtz, Hanika and Lensch, Edge-avoiding a-trous wavelet transform for fast global
    illumination filtering, 2010)."""
    reach = 2.0 * skin.SOFT_MM / max(pixel_mm, 1e-9)
    return [1, 1, *(step for step in (2, 4, 8) if 1.5 * step <= reach)]


def _average(lit: Single, depth: Single, tolerance: float, step: int = 1) -> Single:
    """The mean of `lit` over four by four pixels around each, `step` apart, of those within `tolerance` mm of its
    depth.
    """
    height, width = lit.shape
    padded = np.pad(lit, 2 * step)
    deep = np.pad(depth, 2 * step, constant_values=np.inf)
    finite = np.where(np.isfinite(depth), depth, np.float32(0.0))
    total, count = np.zeros_like(lit), np.zeros_like(lit)
    for dy in range(0, 4 * step, step):
        for dx in range(0, 4 * step, step):
            near = np.abs(deep[dy : dy + height, dx : dx + width] - finite) < np.float32(tolerance)
            total += padded[dy : dy + height, dx : dx + width] * near
            count += near
    return np.divide(total, np.maximum(count, 1.0), dtype=np.float32)
