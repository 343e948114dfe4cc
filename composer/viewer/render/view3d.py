"""The head in the window: drawn into its own picture, and only when something it shows has changed.

The look is that of `composer.picture`, for a card: matt bone by a window at three quarters on a calm grey ground,
eyes that look. What is sent to the card is only what differs from what it has. On a rasteriser that runs on the
processor edges stay rough while things move and are smoothed once they stand still.
"""

from __future__ import annotations

import ctypes
from collections.abc import Sequence

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from pyglet import gl
from scipy.sparse.csgraph import connected_components, dijkstra

from composer.errors import MoueError
from composer.head.head import Head
from composer.picture import eyeball as painted
from composer.picture import light as window_light
from composer.picture.light import Light
from composer.picture.material import BROW, brow_weights, materials
from composer.picture.render import BACKGROUND
from composer.viewer.render.camera import Eye
from composer.viewer.render.daylight import TERMS, harmonics
from composer.viewer.render.eyes import Eyes
from composer.viewer.render.gl import (
    Arrays,
    Buffer,
    BufferTexture,
    Canvas,
    Picture,
    Program,
    integer,
    is_software,
    renderer,
)
from composer.viewer.render.look import Line, Look, Mark

Range = tuple[int, int]
SKIN = "skin"
SAMPLES = 4
IN_MOUTH = 0.42  # how open the inside of the mouth is taken to be as long as nobody has said
MOUTH_SEES = 0.7  # of the window, at most
WIRE_INK = (0.10, 0.11, 0.14, 0.34)
LIFT = 4e-4  # of the eye's distance: how far lines are drawn before the surface
_INSIDE = ("mouth", "teeth", "gum", "tongue")


class View3D:
    """Draws one head; needs a current GL context from the first call to the last."""

    def __init__(self, samples: int | None = None) -> None:
        """`samples` a pixel while things move; None chooses by the renderer: 0 on a processor, 4 on a card."""
        self.software = is_software(renderer())
        self._most = max(integer(gl.GL_MAX_SAMPLES), 0)
        chosen = (0 if self.software else SAMPLES) if samples is None else samples
        self.samples = min(chosen, self._most)
        eye = (f"PUPIL {painted.PUPIL_DEG}", f"IRIS {painted.IRIS_DEG}", "EYE", "COVERED")
        self._bone = Program("head.vert", "head.frag")
        self._covered = Program("head.vert", "head.frag", defines=("COVERED",))
        self._eye = Program("head.vert", "head.frag", defines=eye)
        self._skin = Program("head.vert", "head.frag", "head.geom", defines=("TEXTURED", "COVERED"))
        self._ground = Program("ground.vert", "ground.frag")
        self._wire = Program("wire.vert", "wire.frag")
        self._line = Program("line.vert", "line.frag")
        self._mark = Program("mark.vert", "mark.frag")
        self._buffers = {name: Buffer() for name in ("materials", "openness", "balls", "uvs")}
        self._triangles = Buffer(gl.GL_ELEMENT_ARRAY_BUFFER)
        self._edges = Buffer(gl.GL_ELEMENT_ARRAY_BUFFER)
        self._uv_texture, self._places = BufferTexture(), BufferTexture()
        self._main, self._small = _Pose(), _Pose()
        self._marks, self._mark_arrays = Buffer(), Arrays()
        self._nothing = Arrays()
        self._picture = Picture()
        self._strips: list[_Strip] = []
        self._canvases: dict[str, Canvas] = {}
        self._shading = 0
        self._head: Head | None = None
        self._drawn: tuple | None = None
        self._look: Look | None = None

    def open(self, head: Head) -> None:
        """Draw this head from now on: its triangles and edges by part, its materials, its eyeballs."""
        n = head.n_vertices
        self._head = head
        self._eyes = Eyes(head)
        names = [SKIN, *(part.name for part in head.parts)]
        owner = np.zeros(n, dtype=np.int64)
        for i, part in enumerate(head.parts):
            owner[part.vertices] = i + 1
        polygons = head.polygons
        triangles, self._triangle_ranges = _by_part(polygons.triangles, owner, names)
        edges, self._edge_ranges = _by_part(polygons.edges, owner, names)
        self._names = names
        self._eye_names = {part.name for part in self._eyes.parts}
        self._gl_arrays = (triangles.astype(np.uint32), edges.astype(np.uint32))
        self._nothing.use()
        self._triangles.hold(self._gl_arrays[0])
        self._edges.hold(self._gl_arrays[1])
        self._fill("materials", _materials(head))
        self._fill("balls", self._eyes.directions(n))
        self._no_cover = np.zeros((n, 4), dtype=np.uint8)
        self._no_cover.setflags(write=False)
        self._has_uv = head.uv is not None
        if head.uv is not None:
            order = np.argsort(owner[polygons.triangles[:, 0]], kind="stable")
            index = head.uv.indices[polygons.triangle_corners[order]].reshape(-1)
            known = np.append(head.uv.uv, [[0.0, 0.0]], axis=0)
            self._fill("uvs", np.ascontiguousarray(known[index], dtype=np.float32))
        inside = np.zeros(n, dtype=bool)
        for name, faces in head.groups.items():
            if any(word in name.lower() for word in _INSIDE):
                inside[np.concatenate([polygons.face(int(f)) for f in faces] or [np.empty(0, int)])] = True
        for part in head.parts:
            inside[part.vertices] = any(word in part.name.lower() for word in _INSIDE)
        self._inside = inside
        self._unshaded = np.where(inside, IN_MOUTH, 1.0).astype(np.float32)
        self.shade(None)

    def shade(self, openness: NDArray | None, daylight: NDArray | None = None) -> None:
        """How open to the sky every vertex is, (n,) in [0, 1], as `composer.picture.figure` finds it, and from where
        it sees out, (n, 16) as `daylight` gives it; None for unknown, which draws the head open everywhere
        but in the mouth, and casts no shadows.

        Raises MoueError where they do not fit the head.
        """
        n = self._opened().n_vertices
        if openness is not None and openness.shape != (n,):
            raise MoueError(f"{len(openness)} values of openness for a head of {n} vertices")
        if daylight is not None and daylight.shape != (n, TERMS):
            raise MoueError(f"{daylight.shape} values of daylight for a head of {n} vertices")
        free = np.asarray(self._unshaded if openness is None else openness, dtype=np.float32)
        self._fill("openness", free)
        self._daylight = None if daylight is None else np.asarray(daylight, dtype=np.float32)
        self._sees = _soft_step(free, 0.06, 0.60)
        self._shading += 1
        self._drawn = None

    def draw(
        self,
        positions: NDArray[np.float32],
        normals: NDArray[np.float32],
        look: Look,
        eye: Eye,
        size_px: tuple[int, int],
        touched: Range | None = None,
        still: bool = False,
    ) -> int:
        """The id of a GL texture that shows a pose (n, 3) mm with its `normals` (n, 3), lower row first.

        The arrays may be changed in place between calls; `touched` (first, last) are the vertices changed since the
        last call, None if unknown. `still` asks for smooth edges where moving pictures go without. Nothing is drawn
        where the picture already shows all this. GL's state comes back with depth test, blending and scissor off.

        Raises MoueError where no head is open or the arrays do not fit it.
        """
        self._check(positions, normals)
        pose = self._main
        moved = pose.hold(positions, normals, touched)
        if moved or pose.eyes is None:
            pose.eyes = self._eyes.at(positions)
        return self._draw(pose, moved, look, eye, size_px, still)

    def draw_buffers(
        self,
        positions: int,
        normals: int,
        look: Look,
        eye: Eye,
        size_px: tuple[int, int],
        changed: bool = True,
        still: bool = False,
        stride: int = 3,
    ) -> int:
        """As `draw`, from GL buffers that already hold the pose: `stride` float32 a vertex, the first three count.

        `changed` says whether what is in them differs from the last call.
        """
        pose = self._main
        moved = pose.lend(positions, normals, stride) or changed
        if moved or pose.eyes is None:
            pose.eyes = self._eyes.at(self._fetched(positions, stride))
        return self._draw(pose, moved, look, eye, size_px, still)

    def pixels(self) -> NDArray[np.uint8]:
        """(h, w, 3) sRGB: the picture last drawn, upper row first. Raises MoueError where none was."""
        if "shown" not in self._canvases:
            raise MoueError("nothing was drawn yet")
        return self._canvases["shown"].pixels()[:, :, :3]

    def picture(
        self,
        positions: NDArray[np.float32],
        normals: NDArray[np.float32],
        look: Look,
        eye: Eye,
        size_px: tuple[int, int],
    ) -> NDArray[np.uint8]:
        """(h, w, 4) sRGB and cover of a pose (n, 3) mm without its ground, upper row first; what `draw` shows stays.

        Raises MoueError where no head is open or the arrays do not fit it.
        """
        self._check(positions, normals)
        width, height = size_px
        twice = self._canvas("twice", (2 * width, 2 * height), 0)
        small = self._canvas("small", (width, height), 0)
        self._small.hold(positions, normals, None)
        self._small.eyes = self._eyes.at(positions)
        with twice.bound():
            self._paint(self._small, look, eye, twice, False)
            twice.copy_to(small)
        raw = small.pixels()
        share = np.maximum(raw[:, :, 3:].astype(np.uint16), 1)
        raw[:, :, :3] = np.minimum((raw[:, :, :3].astype(np.uint16) * 255 + share // 2) // share, 255)
        return raw

    def close(self) -> None:
        """Give everything back to GL; the view cannot be used afterwards."""
        held: Sequence = (
            self._bone, self._covered, self._eye, self._skin, self._ground, self._wire, self._line, self._mark,
            self._triangles, self._edges, self._uv_texture, self._places, self._main, self._small, self._marks,
            self._mark_arrays, self._nothing, self._picture, *self._buffers.values(), *self._strips,
            *self._canvases.values(),
        )  # fmt: skip
        for thing in held:
            thing.close()
        self._canvases.clear()
        self._head = None

    def _opened(self) -> Head:
        if self._head is None:
            raise MoueError("no head is open in this view")
        return self._head

    def _check(self, *arrays: NDArray) -> None:
        n = self._opened().n_vertices
        for array in arrays:
            if array.shape != (n, 3) or array.dtype != np.float32:
                raise MoueError(f"an array of {array.shape} {array.dtype} for a head of {n} vertices, float32")

    def _fill(self, name: str, array: NDArray) -> None:
        if self._buffers[name].hold(array):
            self._drawn = None

    def _fetched(self, buffer: int, stride: int) -> NDArray[np.float32]:
        """(n, 3) with the vertices that eyes and lids need read back from a GL buffer, the rest zero."""
        out = np.zeros((self._opened().n_vertices, 3), dtype=np.float32)
        wanted = self._eyes.vertices
        gl.glBindBuffer(gl.GL_ARRAY_BUFFER, buffer)
        for run in np.split(wanted, np.flatnonzero(np.diff(wanted) > 256) + 1):
            if len(run):
                data = np.empty((int(run[-1] - run[0]) + 1, stride), dtype=np.float32)
                gl.glGetBufferSubData(gl.GL_ARRAY_BUFFER, int(run[0]) * stride * 4, data.nbytes, data.ctypes.data)
                out[run[0] : run[-1] + 1] = data[:, :3]
        return out

    def _canvas(self, use: str, size: tuple[int, int], samples: int) -> Canvas:
        """The canvas kept for a use, made anew where its size or samples differ."""
        held = self._canvases.get(use)
        if held is None or held.size != size or held.samples != samples:
            if held is not None:
                held.close()
            held = self._canvases[use] = Canvas(size, samples)
            self._drawn = None if use == "shown" else self._drawn
        return held

    def _draw(self, pose: _Pose, moved: bool, look: Look, eye: Eye, size: tuple[int, int], still: bool) -> int:
        size = max(int(size[0]), 1), max(int(size[1]), 1)
        shown = self._canvas("shown", size, 0)
        samples = max(self.samples, min(SAMPLES, self._most)) if still else self.samples
        wanted = (eye, size)
        fresh = self._drawn is not None and not moved and self._drawn[:2] == wanted and look.same_as(self._look)
        if fresh and self._drawn is not None and self._drawn[2] >= samples:
            return shown.texture
        target = self._canvas("smooth", size, samples) if samples else shown
        with target.bound():
            self._paint(pose, look, eye, target, True)
            if samples:
                target.copy_to(shown)
        self._drawn, self._look = (*wanted, samples), look
        return shown.texture

    def _paint(self, pose: _Pose, look: Look, eye: Eye, target: Canvas, ground: bool) -> None:
        head = self._opened()
        cover = self._no_cover if look.cover is None else look.cover
        if cover.shape != (head.n_vertices, 4) or cover.dtype != np.uint8:
            raise MoueError(f"colours of {cover.shape} {cover.dtype} over a head of {head.n_vertices} vertices, uint8")
        size = width, height = target.size
        gl.glViewport(0, 0, width, height)
        for off in (gl.GL_BLEND, gl.GL_SCISSOR_TEST, gl.GL_CULL_FACE, gl.GL_STENCIL_TEST, gl.GL_DEPTH_TEST):
            gl.glDisable(off)
        gl.glClearColor(0.0, 0.0, 0.0, 0.0)
        gl.glDepthMask(gl.GL_TRUE)
        gl.glClear(gl.GL_COLOR_BUFFER_BIT | gl.GL_DEPTH_BUFFER_BIT)
        if ground:
            self._lay_ground(target)
        gl.glEnable(gl.GL_DEPTH_TEST)
        gl.glDepthFunc(gl.GL_LEQUAL)
        to_clip = eye.projection(width, height) @ eye.view_matrix()
        light = Light(eye.camera(width, height))
        pose.cover.hold(cover)
        self._light(pose, light.window)
        pose.feed(self._buffers)
        self._triangles_of(pose, look, eye, to_clip, light)
        gl.glEnable(gl.GL_BLEND)
        gl.glDepthMask(gl.GL_FALSE)
        gl.glBlendFuncSeparate(gl.GL_SRC_ALPHA, gl.GL_ONE_MINUS_SRC_ALPHA, gl.GL_ONE, gl.GL_ONE_MINUS_SRC_ALPHA)
        common = {"to_clip": to_clip, "eye": eye.place, "lift": LIFT * eye.distance}
        if look.wire:
            self._wire.use()
            self._wire.set(**common, ink=WIRE_INK)
            gl.glEnable(gl.GL_CLIP_DISTANCE0)
            gl.glBindBuffer(gl.GL_ELEMENT_ARRAY_BUFFER, self._edges.id)
            for first, count in self._runs(self._edge_ranges, set(self._names) - look.hidden):
                gl.glDrawElements(gl.GL_LINES, 2 * count, gl.GL_UNSIGNED_INT, ctypes.c_void_p(8 * first))
            gl.glDisable(gl.GL_CLIP_DISTANCE0)
        common |= {"stride": float(pose.stride), "size": size, "positions": 0}
        if look.lines or look.marks:
            self._places.use(0, pose.place_buffer)
        if look.lines:
            self._draw_lines(look.lines, common, eye.pixel_mm(height))
        if look.marks:
            self._draw_marks(look.marks, common | {"pixel_mm": eye.pixel_mm(height)})
        gl.glBindVertexArray(0)
        gl.glUseProgram(0)
        gl.glActiveTexture(gl.GL_TEXTURE0)
        gl.glDepthMask(gl.GL_TRUE)
        gl.glDisable(gl.GL_BLEND)
        gl.glDisable(gl.GL_DEPTH_TEST)

    def _lay_ground(self, target: Canvas) -> None:
        """The ground, into a canvas that drawing goes to; without samples it is a copy, painted once a size."""
        held = self._canvases.get("ground")
        if target.samples or held is None or held.size != target.size:
            kept = None if target.samples else self._canvas("ground", target.size, 0)
            gl.glBindFramebuffer(gl.GL_FRAMEBUFFER, (kept or target).id)
            self._nothing.use()
            self._ground.use()
            self._ground.set(ground=np.array(BACKGROUND) / 255.0, aspect=target.size[0] / target.size[1])
            gl.glDrawArrays(gl.GL_TRIANGLES, 0, 3)
        if not target.samples:
            self._canvases["ground"].copy_to(target)
        gl.glBindFramebuffer(gl.GL_FRAMEBUFFER, target.id)

    def _light(self, pose: _Pose, window: NDArray) -> None:
        """How much of the window every vertex sees, at this turn of the head; the same until the eye turns."""
        turn = (self._shading, window.tobytes())
        if pose.turn == turn:
            return
        pose.turn = turn
        lit = self._sees.copy()
        if self._daylight is None:
            lit[self._inside] *= MOUTH_SEES
        else:
            seen = _soft_step(self._daylight @ harmonics(window[None])[0].astype(np.float32), 0.20, 0.85)
            lit *= np.where(self._inside, MOUTH_SEES, seen)  # what a shut mouth hides at rest an open one shows
        pose.lit.hold(lit)

    def _triangles_of(self, pose: _Pose, look: Look, eye: Eye, to_clip: NDArray, light: Light) -> None:
        uniforms = {
            "to_clip": to_clip, "eye": eye.place, "window": light.window, "across": light.across,
            "upward": light.upward, "fill": light.fill, "rim": light.rim,
            "window_half": window_light.WINDOW_HALF, "window_light": window_light.WINDOW_LIGHT,
            "sky_light": window_light.SKY_LIGHT, "floor_light": window_light.FLOOR_LIGHT,
            "fill_light": window_light.FILL_LIGHT, "rim_light": window_light.RIM_LIGHT,
            "bleed_tint": window_light.BLEED,
        }  # fmt: skip
        shown = set(self._names) - look.hidden
        eyes = shown & self._eye_names
        textured = {SKIN} & shown if look.texture is not None and self._has_uv else set()
        gl.glBindBuffer(gl.GL_ELEMENT_ARRAY_BUFFER, self._triangles.id)
        if textured and look.texture is not None:
            self._skin.use()
            self._picture.use(0, look.texture)
            self._uv_texture.use(1, self._buffers["uvs"].id)
            self._skin.set(**uniforms, skin=0, uvs=1)
            self._elements(textured, self._skin)
        bone = self._bone if look.cover is None else self._covered
        bone.use()
        bone.set(**uniforms)
        self._elements(shown - eyes - textured)
        if eyes and pose.eyes is not None:
            self._eye.use()
            self._eye.set(**uniforms, turns=pose.eyes[0], lids=pose.eyes[1], eye_colours=_EYE_COLOURS)
            self._elements(eyes)

    def _elements(self, names: set[str], program: Program | None = None) -> None:
        for first, count in self._runs(self._triangle_ranges, names):
            if program is not None:
                program.set(first_triangle=float(first))
            gl.glDrawElements(gl.GL_TRIANGLES, 3 * count, gl.GL_UNSIGNED_INT, ctypes.c_void_p(12 * first))

    def _runs(self, ranges: dict[str, Range], names: set[str]) -> list[Range]:
        """Where to begin and how many, neighbours joined."""
        runs: list[Range] = []
        for name in self._names:
            first, count = ranges[name]
            if name not in names or not count:
                continue
            if runs and sum(runs[-1]) == first:
                runs[-1] = runs[-1][0], runs[-1][1] + count
            else:
                runs.append((first, count))
        return runs

    def _draw_lines(self, lines: tuple[Line, ...], common: dict[str, object], pixel_mm: float) -> None:
        kept = {id(strip.line): strip for strip in self._strips if any(strip.line is line for line in lines)}
        spare = [strip for strip in self._strips if strip not in kept.values()]
        self._strips = []
        self._line.use()
        self._line.set(**common)
        for line in lines:
            strip = kept.get(id(line)) or (spare.pop() if spare else _Strip())
            self._strips.append(strip)
            strip.hold(line, self._opened().neutral)
            dash = 2.0 ** np.round(np.log2(line.dash * pixel_mm)) if line.dash > 0 else 0.0
            self._line.set(width=line.width, ink=np.array(line.colour) / 255.0, dash=dash)
            strip.arrays.use()
            gl.glDrawArraysInstanced(gl.GL_TRIANGLE_STRIP, 0, 4, strip.count)
        for strip in spare:
            strip.close()

    def _draw_marks(self, marks: tuple[Mark, ...], common: dict[str, object]) -> None:
        rows = np.zeros(len(marks), dtype=_MARK)
        for row, mark in zip(rows, marks, strict=True):
            heavy = np.argsort(-np.asarray(mark.bary), kind="stable")[:4]
            weight = np.asarray(mark.bary, dtype=np.float64)[heavy]
            row["corners"][: len(heavy)] = np.asarray(mark.corners)[heavy]
            row["bary"][: len(heavy)] = weight / weight.sum()
            row["tint"], row["across"] = mark.colour, mark.size
        self._marks.hold(rows.view(np.uint8).reshape(len(rows), -1))
        self._mark.use()
        self._mark.set(**common)
        arrays, step = self._mark_arrays, _MARK.itemsize
        arrays.use()
        arrays.feed(0, self._marks.id, 4, kind=gl.GL_INT, stride=step, each=1)
        arrays.feed(1, self._marks.id, 4, stride=step, offset=16, each=1)
        arrays.feed(2, self._marks.id, 4, kind=gl.GL_UNSIGNED_BYTE, stride=step, offset=32, each=1, normalised=True)
        arrays.feed(3, self._marks.id, 1, stride=step, offset=36, each=1)
        gl.glDrawArraysInstanced(gl.GL_TRIANGLE_STRIP, 0, 4, len(rows))


_MARK = np.dtype([("corners", np.int32, 4), ("bary", np.float32, 4), ("tint", np.uint8, 4), ("across", np.float32)])
_EYE_COLOURS = np.stack([
    painted._IRIS_IN, painted._IRIS_OUT, painted._LIMBUS, painted._PUPIL, painted._WHITE, painted._CORNER,
])[:, :, None]  # fmt: skip


class _Pose:
    """The positions and normals of one pose on the card, its own or lent, and its vertex array."""

    def __init__(self) -> None:
        self.positions, self.normals, self.cover, self.lit = Buffer(), Buffer(), Buffer(), Buffer()
        self.arrays = Arrays()
        self.turn: tuple[int, bytes] | None = None
        self.place_buffer, self.normal_buffer, self.stride = self.positions.id, self.normals.id, 3
        self.eyes: tuple[NDArray, NDArray] | None = None

    def hold(self, positions: NDArray, normals: NDArray, touched: Range | None) -> bool:
        """Show these arrays; normals change a ring beyond the touched vertices, so they are compared."""
        again = self.lend(self.positions.id, self.normals.id, 3)
        still = touched is not None and touched[1] <= touched[0]
        moved = self.positions.hold(positions, touched)
        return self.normals.hold(normals, touched if still else None) or moved or again

    def lend(self, positions: int, normals: int, stride: int) -> bool:
        """Show the buffers of this name; returns whether they are others than before."""
        wanted = (positions, normals, stride)
        before = (self.place_buffer, self.normal_buffer, self.stride)
        self.place_buffer, self.normal_buffer, self.stride = wanted
        return wanted != before

    def feed(self, buffers: dict[str, Buffer]) -> None:
        """Make its vertex array the current one, fed from its own and the head's buffers."""
        self.arrays.use()
        self.arrays.feed(0, self.place_buffer, 3, stride=4 * self.stride)
        self.arrays.feed(1, self.normal_buffer, 3, stride=4 * self.stride)
        self.arrays.feed(2, buffers["materials"].id, 4)
        self.arrays.feed(3, buffers["openness"].id, 1)
        self.arrays.feed(4, self.cover.id, 4, kind=gl.GL_UNSIGNED_BYTE, normalised=True)
        self.arrays.feed(5, buffers["balls"].id, 4)
        self.arrays.feed(6, self.lit.id, 1)

    def close(self) -> None:
        for thing in (self.positions, self.normals, self.cover, self.lit, self.arrays):
            thing.close()


class _Strip:
    """One line on the card."""

    def __init__(self) -> None:
        self.ends, self.along, self.arrays = Buffer(), Buffer(), Arrays()
        self.line: Line | None = None
        self.count = 0

    def hold(self, line: Line, neutral: NDArray) -> None:
        if self.line is line:
            return
        self.line, self.count = line, len(line.a) // 2
        corners, shares = _corners_of(line)
        way = _ways(corners, shares, neutral) if line.dash > 0 and self.count else np.zeros(len(corners))
        along = np.concatenate([shares.reshape(-1, 4), way.reshape(-1, 2)], axis=1).astype(np.float32)
        self.ends.hold(corners.astype(np.int32).reshape(-1, 6))
        self.along.hold(along)
        self.arrays.use()
        for i in range(2):
            self.arrays.feed(i, self.ends.id, 3, kind=gl.GL_INT, stride=24, offset=12 * i, each=1)
        self.arrays.feed(2, self.along.id, 4, stride=24, each=1)
        self.arrays.feed(3, self.along.id, 2, stride=24, offset=16, each=1)

    def close(self) -> None:
        for thing in (self.ends, self.along, self.arrays):
            thing.close()


def _corners_of(line: Line) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """(k, 3) the vertices of each row of a line, and (k, 2) the shares of the second and the third."""
    k = len(line.a)
    b, t = np.reshape(line.b, (k, -1)), np.reshape(line.t, (k, -1))
    if b.shape[1] == 1:
        b, t = np.concatenate([b, b], axis=1), np.concatenate([t, np.zeros((k, 1))], axis=1)
    return np.concatenate([np.reshape(line.a, (k, 1)), b], axis=1).astype(np.int64), t.astype(np.float64)


def _ways(corners: NDArray, shares: NDArray, neutral: NDArray) -> NDArray[np.float64]:
    """(k,) how far along its line each row lies at rest, mm; where a line is closed, the shorter way round."""
    weights = np.concatenate([1.0 - shares.sum(axis=1, keepdims=True), shares], axis=1)
    places = np.einsum("ij,ijk->ik", weights, neutral[corners])
    node = np.unique(np.round(places * 1e4).astype(np.int64), axis=0, return_inverse=True)[1].reshape(-1, 2)
    length = np.linalg.norm(places[1::2] - places[::2], axis=1)
    n = int(node.max()) + 1
    graph = sp.coo_matrix((np.maximum(length, 1e-9), (node[:, 0], node[:, 1])), (n, n)).tocsr()
    piece = connected_components(graph, directed=False)[1]
    ends = np.bincount(node.ravel(), minlength=n)
    order = np.lexsort((ends, piece))
    starts = order[np.r_[True, np.diff(piece[order]) > 0]]
    return dijkstra(graph, directed=False, indices=starts, min_only=True)[node].ravel()


def _soft_step(values: NDArray[np.float32], low: float, high: float) -> NDArray[np.float32]:
    """(n,) 0 up to `low`, 1 from `high`, smooth between."""
    t = np.clip((values - np.float32(low)) * np.float32(1.0 / (high - low)), 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


def _by_part(items: NDArray, owner: NDArray, names: list[str]) -> tuple[NDArray, dict[str, Range]]:
    """Triangles or edges sorted by the part of their first vertex, and where each part begins and how many it has."""
    of = owner[items[:, 0]]
    order = np.argsort(of, kind="stable")
    count = np.bincount(of, minlength=len(names))
    first = np.cumsum(count) - count
    return items[order], {name: (int(f), int(c)) for name, f, c in zip(names, first, count, strict=True)}


def _materials(head: Head) -> NDArray[np.float32]:
    """(n, 4) albedo in linear light and sheen, the brows' stroke laid on."""
    albedo, sheen = materials(head.polygons, head.parts, head.groups, head.landmarks)
    if head.landmarks is not None:
        hair = brow_weights(head.neutral, head.skin, head.landmarks)[:, None]
        albedo = albedo + hair * (BROW - albedo)
    return np.concatenate([albedo, sheen[:, None]], axis=1).astype(np.float32)
