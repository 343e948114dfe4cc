"""The head in the window: drawn into its own picture, and only when something it shows has changed.

The look is that of `composer.picture`, for a card: matt bone by a window at three quarters on a calm grey ground,
eyes that look. What is sent to the card is only what differs from what it has. On a rasteriser that runs on the
processor edges stay rough while things move and are smoothed once they stand still. Heads of many vertices are lit at
their vertices while they move there, and a large one moves by the triangles of its coarser level, which stand on the
same vertices; its edges stay as they are.
"""

from __future__ import annotations

import ctypes
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from pyglet import gl

from composer.errors import MoueError
from composer.head.coarse import LARGE
from composer.head.head import Head
from composer.picture import eyeball as painted
from composer.picture.light import BLEED, Light
from composer.picture.render import BACKGROUND
from composer.viewer.render.backdrops import Backdrops
from composer.viewer.render.camera import Eye
from composer.viewer.render.discs import Discs
from composer.viewer.render.gl_buffers import Arrays, BufferTexture
from composer.viewer.render.gl_canvas import Canvas, Picture
from composer.viewer.render.gl_program import Program
from composer.viewer.render.gl_state import integer, is_software, renderer
from composer.viewer.render.head_buffers import SKIN, HeadBuffers
from composer.viewer.render.line_strips import LineStrips
from composer.viewer.render.look import Look
from composer.viewer.render.pose_buffers import PoseBuffers, Range

SAMPLES = 4
"""Samples a pixel where edges are smoothed: what every card with OpenGL 3.3 has."""
QUICK_FROM = 20_000
"""Vertices from which a head that moves is lit at its vertices where a processor draws: they lie a few pixels apart
then. Our choice: of such a head's frame at 1280 x 800 a half goes into the light of each pixel."""
WIRE_INK = (0.10, 0.11, 0.14, 0.34)
LIFT = 4e-4
"""How far lines and marks are drawn before the surface, as a share of the eye's distance; chosen by eye."""
_EYE_COLOURS = np.stack([
    painted._IRIS_IN, painted._IRIS_OUT, painted._LIMBUS, painted._PUPIL, painted._WHITE, painted._CORNER,
])[:, :, None]  # fmt: skip


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
        self._moving = {
            covered: Program("head.vert", "moving.frag", defines=("MOVING", *(("COVERED",) if covered else ())))
            for covered in (False, True)
        }
        self._eye = Program("head.vert", "head.frag", defines=eye)
        self._skin = Program("head.vert", "head.frag", "head.geom", defines=("TEXTURED", "COVERED"))
        self._ground = Program("ground.vert", "ground.frag")
        self._wire = Program("wire.vert", "wire.frag")
        self._held, self._places = HeadBuffers(), BufferTexture()
        self._main, self._small = PoseBuffers(), PoseBuffers()
        self._lines, self._discs, self._backdrops = LineStrips(), Discs(), Backdrops()
        self._nothing, self._picture = Arrays(), Picture()
        self._canvases: dict[str, Canvas] = {}
        self._drawn: tuple | None = None
        self._look: Look | None = None

    def open(self, head: Head) -> None:
        """Draw this head from now on: its triangles and edges by part, its materials, its eyeballs."""
        self._nothing.use()
        self._held.open(head)
        self._no_cover = np.zeros((head.n_vertices, 4), dtype=np.uint8)
        self._no_cover.setflags(write=False)
        self._drawn = None

    def shade(self, openness: NDArray | None, daylight: NDArray | None = None) -> None:
        """How open to the sky every vertex is, (n,) in [0, 1], as `composer.picture.figure` finds it, and from where
        it sees out, (n, 16) as `daylight` gives it; None for unknown, which draws the head open everywhere but in the
        mouth, and casts no shadows.

        Raises MoueError where they do not fit the head.
        """
        self._held.shade(openness, daylight)
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
            pose.eyes = self._held.eyes.at(positions)
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
            pose.eyes = self._held.eyes.at(pose.read(self._held.eyes.vertices, self._held.opened.n_vertices))
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
        rough: bool = False,
    ) -> NDArray[np.uint8]:
        """(h, w, 4) sRGB and cover of a pose (n, 3) mm without its ground, upper row first; what `draw` shows stays.
        A `rough` one of a large head is drawn by the triangles of its coarser level.

        Raises MoueError where no head is open or the arrays do not fit it.
        """
        self._check(positions, normals)
        width, height = size_px
        twice = self._canvas("twice", (2 * width, 2 * height), 0)
        small = self._canvas("small", (width, height), 0)
        self._small.hold(positions, normals, None)
        self._small.eyes = self._held.eyes.at(positions)
        with twice.bound():
            self._paint(self._small, look, eye, twice, False, rough and bool(self._held.rough_ranges))
            twice.copy_to(small)
        raw = small.pixels()
        share = np.maximum(raw[:, :, 3:].astype(np.uint16), 1)
        raw[:, :, :3] = np.minimum((raw[:, :, :3].astype(np.uint16) * 255 + share // 2) // share, 255)
        return raw

    def magnified(self, look: Look, eye: Eye, size_px: tuple[int, int]) -> int:
        """The id of a GL texture that shows what was last drawn from another `eye`, lower row first; what `draw` shows
        stays. The texture is the same at every call of one size."""
        width, height = size_px
        twice = self._canvas("loupe twice", (2 * width, 2 * height), 0)
        small = self._canvas("loupe", (width, height), 0)
        with twice.bound():
            self._paint(self._main, look, eye, twice, True)
            twice.copy_to(small)
        return small.texture

    def beside(
        self, positions: NDArray[np.float32], normals: NDArray[np.float32], look: Look, eye: Eye,
        size_px: tuple[int, int], ground: bool = True,
    ) -> int:  # fmt: skip
        """The id of a GL texture that shows another pose of the same head, lower row first, with or without the ground
        behind it; what `draw` shows stays. The texture is the same at every call of one size.

        Raises MoueError where no head is open or the arrays do not fit it.
        """
        self._check(positions, normals)
        samples = min(SAMPLES, self._most)
        shown = self._canvas("beside", size_px, 0)
        target = self._canvas("beside smooth", size_px, samples) if samples else shown
        self._small.hold(positions, normals, None)
        self._small.eyes = self._held.eyes.at(positions)
        with target.bound():
            self._paint(self._small, look, eye, target, ground)
            if samples:
                target.copy_to(shown)
        return shown.texture

    def close(self) -> None:
        """Give everything back to GL; the view cannot be used afterwards."""
        things: Sequence = (
            self._bone, self._covered, *self._moving.values(), self._eye, self._skin, self._ground, self._wire,
            self._held, self._places,
            self._main, self._small, self._lines, self._discs, self._backdrops, self._nothing, self._picture,
            *self._canvases.values(),
        )  # fmt: skip
        for thing in things:
            thing.close()
        self._canvases.clear()

    def _check(self, *arrays: NDArray) -> None:
        n = self._held.opened.n_vertices
        for array in arrays:
            if array.shape != (n, 3) or array.dtype != np.float32:
                raise MoueError(f"an array of {array.shape} {array.dtype} for a head of {n} vertices, float32")

    def _canvas(self, use: str, size: tuple[int, int], samples: int) -> Canvas:
        """The canvas kept for a use, made anew where its size or samples differ."""
        held = self._canvases.get(use)
        if held is None or held.size != size or held.samples != samples:
            if held is not None:
                held.close()
            held = self._canvases[use] = Canvas(size, samples)
            self._drawn = None if use == "shown" else self._drawn
        return held

    def _draw(self, pose: PoseBuffers, moved: bool, look: Look, eye: Eye, size: tuple[int, int], still: bool) -> int:
        size = max(int(size[0]), 1), max(int(size[1]), 1)
        shown = self._canvas("shown", size, 0)
        large = self.software and self._held.opened.n_vertices >= LARGE
        samples = max(self.samples, min(SAMPLES, self._most)) if still and not large else self.samples
        quick = self.software and not still and self._held.opened.n_vertices >= QUICK_FROM
        wanted = (eye, size)
        fresh = self._drawn is not None and not moved and self._drawn[:2] == wanted and look.same_as(self._look)
        if fresh and self._drawn is not None and self._drawn[2] >= (-1 if quick else samples):
            return shown.texture
        target = self._canvas("smooth", size, samples) if samples else shown
        with target.bound():
            self._paint(pose, look, eye, target, True, quick)
            if samples:
                target.copy_to(shown)
        self._drawn, self._look = (*wanted, -1 if quick else samples), look
        return shown.texture

    def _paint(
        self, pose: PoseBuffers, look: Look, eye: Eye, target: Canvas, ground: bool, quick: bool = False
    ) -> None:
        head = self._held.opened
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
            self._backdrops.draw(look.backdrops, False, size)
        gl.glEnable(gl.GL_DEPTH_TEST)
        gl.glDepthFunc(gl.GL_LEQUAL)
        to_clip = eye.projection(width, height) @ eye.view_matrix()
        light = Light(eye.camera(width, height), look.light)
        pose.cover.hold(cover)
        turn = (self._held.shading, light.window.tobytes())
        if pose.turn != turn:
            pose.turn = turn
            pose.lit.hold(self._held.lit_by(light.window))
        pose.feed(self._held.buffers)
        self._triangles_of(pose, look, eye, to_clip, light, quick)
        gl.glEnable(gl.GL_BLEND)
        gl.glDepthMask(gl.GL_FALSE)
        gl.glBlendFuncSeparate(gl.GL_SRC_ALPHA, gl.GL_ONE_MINUS_SRC_ALPHA, gl.GL_ONE, gl.GL_ONE_MINUS_SRC_ALPHA)
        common = {"to_clip": to_clip, "eye": eye.place, "lift": LIFT * eye.distance}
        if look.wire:
            self._wire.use()
            self._wire.set(**common, ink=WIRE_INK)
            gl.glEnable(gl.GL_CLIP_DISTANCE0)
            ranges = self._held.edge_ranges
            gl.glBindBuffer(gl.GL_ELEMENT_ARRAY_BUFFER, self._held.edges.id)
            for first, count in self._held.runs(ranges, set(self._held.names) - look.hidden):
                gl.glDrawElements(gl.GL_LINES, 2 * count, gl.GL_UNSIGNED_INT, ctypes.c_void_p(8 * first))
            gl.glDisable(gl.GL_CLIP_DISTANCE0)
        common |= {"stride": float(pose.stride), "size": size, "positions": 0}
        if look.lines or look.marks:
            self._places.use(0, pose.place_buffer)
        if look.lines:
            self._lines.draw(look.lines, common, eye.pixel_mm(height), head.neutral)
        if look.marks:
            self._discs.draw(look.marks, common | {"pixel_mm": eye.pixel_mm(height)})
        if ground:
            self._backdrops.draw(look.backdrops, True, size)
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

    def _triangles_of(
        self, pose: PoseBuffers, look: Look, eye: Eye, to_clip: NDArray, light: Light, quick: bool
    ) -> None:
        uniforms = {
            "to_clip": to_clip, "eye": eye.place, "window": light.window, "across": light.across,
            "upward": light.upward, "fill": light.fill, "rim": light.rim,
            "window_half": light.lamps.window_half, "window_light": light.lamps.window_light,
            "sky_light": light.lamps.sky_light, "floor_light": light.lamps.floor_light,
            "fill_light": light.lamps.fill_light, "rim_light": light.lamps.rim_light,
            "bleed_tint": BLEED,
        }  # fmt: skip
        shown = set(self._held.names) - look.hidden
        eyes = shown & self._held.eye_names
        textured = {SKIN} & shown if look.texture is not None and self._held.has_uv else set()
        rough = quick and not textured and bool(self._held.rough_ranges)
        ranges = self._held.rough_ranges if rough else self._held.triangle_ranges
        gl.glBindBuffer(
            gl.GL_ELEMENT_ARRAY_BUFFER, self._held.rough_triangles.id if rough else self._held.triangles.id
        )
        if textured and look.texture is not None:
            self._skin.use()
            self._picture.use(0, look.texture)
            self._held.uv_texture.use(1, self._held.buffers["uvs"].id)
            self._skin.set(**uniforms, skin=0, uvs=1)
            self._elements(textured, ranges, self._skin)
        bone = self._bone if look.cover is None else self._covered
        if quick and not textured and self.software:
            bone = self._moving[look.cover is not None]
        bone.use()
        bone.set(**uniforms)
        self._elements(shown - eyes - textured, ranges)
        if eyes and pose.eyes is not None:
            self._eye.use()
            self._eye.set(**uniforms, turns=pose.eyes[0], lids=pose.eyes[1], eye_colours=_EYE_COLOURS)
            self._elements(eyes, ranges)

    def _elements(self, names: set[str], ranges: dict[str, Range], program: Program | None = None) -> None:
        for first, count in self._held.runs(ranges, names):
            if program is not None:
                program.set(first_triangle=float(first))
            gl.glDrawElements(gl.GL_TRIANGLES, 3 * count, gl.GL_UNSIGNED_INT, ctypes.c_void_p(12 * first))
