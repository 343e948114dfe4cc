"""Soft shadows and ambient occlusion on the card: the head's depth from the window and from the eye.

The window's soft box throws half shadows as wide as the gap to what throws them (percentage-closer soft shadows,
Fernando 2005); how much of the sky a place sees is estimated from the depths about it (McGuire, Osman, Bukowski and
Hennessy, The Alchemy screen-space ambient obscurance algorithm, 2011).
"""

from __future__ import annotations

import ctypes
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from pyglet import gl

from composer.picture.light import Light
from composer.viewer.render.camera import Eye
from composer.viewer.render.gl_canvas import Bound
from composer.viewer.render.gl_program import Program
from composer.viewer.render.gl_state import new_texture

SIDE_PX = 2048
"""Side of the picture of depths as the window sees them."""
FROM_WINDOW, FROM_EYE = 3, 4
"""Texture units of the two."""


class DepthPicture:
    """A framebuffer that holds depths alone, in a texture."""

    def __init__(self, size: tuple[int, int]) -> None:
        self.size, self.texture = size, new_texture()
        name = gl.GLuint()
        gl.glGenFramebuffers(1, ctypes.byref(name))
        self.id = name.value
        gl.glBindTexture(gl.GL_TEXTURE_2D, self.texture)
        gl.glTexImage2D(
            gl.GL_TEXTURE_2D, 0, gl.GL_DEPTH_COMPONENT24, *size, 0, gl.GL_DEPTH_COMPONENT, gl.GL_UNSIGNED_INT, None
        )
        for key, value in (
            (gl.GL_TEXTURE_MIN_FILTER, gl.GL_NEAREST), (gl.GL_TEXTURE_MAG_FILTER, gl.GL_NEAREST),
            (gl.GL_TEXTURE_WRAP_S, gl.GL_CLAMP_TO_EDGE), (gl.GL_TEXTURE_WRAP_T, gl.GL_CLAMP_TO_EDGE),
        ):  # fmt: skip
            gl.glTexParameteri(gl.GL_TEXTURE_2D, key, value)
        with Bound(self.id):
            gl.glFramebufferTexture2D(gl.GL_FRAMEBUFFER, gl.GL_DEPTH_ATTACHMENT, gl.GL_TEXTURE_2D, self.texture, 0)
            gl.glDrawBuffer(gl.GL_NONE)
            gl.glReadBuffer(gl.GL_NONE)

    def close(self) -> None:
        """Give it back."""
        gl.glDeleteFramebuffers(1, ctypes.byref(gl.GLuint(self.id)))
        gl.glDeleteTextures(1, ctypes.byref(gl.GLuint(self.texture)))


class SoftLight:
    """The two pictures of depths of one view."""

    def __init__(self) -> None:
        self._program = Program("depth.vert", "depth.frag")
        self._window = DepthPicture((SIDE_PX, SIDE_PX))
        self._eye: DepthPicture | None = None

    def prepare(
        self, points: NDArray, light: Light, eye: Eye, size: tuple[int, int], to_clip: NDArray,
        draw: Callable[[], None],
    ) -> dict[str, object]:  # fmt: skip
        """Take both pictures, by `draw`, which draws all triangles that throw shadows, the vertex array being current;
        return the uniforms of `soft.glsl`. `points` (n, 3) mm are the head at rest."""
        if self._eye is None or self._eye.size != size:
            if self._eye is not None:
                self._eye.close()
            self._eye = DepthPicture(size)
        low, high = points.min(axis=0), points.max(axis=0)
        middle, reach = 0.5 * (low + high), 0.62 * float(np.linalg.norm(high - low))
        axes = np.stack([light.across, light.upward, -light.window]) / reach
        to_window = np.eye(4)
        to_window[:3, :3], to_window[:3, 3] = axes, -axes @ middle
        gl.glEnable(gl.GL_DEPTH_TEST)
        gl.glDepthFunc(gl.GL_LEQUAL)
        self._program.use()
        for picture, matrix in ((self._window, to_window), (self._eye, to_clip)):
            with Bound(picture.id):
                gl.glViewport(0, 0, *picture.size)
                gl.glClear(gl.GL_DEPTH_BUFFER_BIT)
                self._program.set(to_clip=matrix)
                draw()
        for unit, picture in ((FROM_WINDOW, self._window), (FROM_EYE, self._eye)):
            gl.glActiveTexture(gl.GL_TEXTURE0 + unit)
            gl.glBindTexture(gl.GL_TEXTURE_2D, picture.texture)
        gl.glActiveTexture(gl.GL_TEXTURE0)
        lens = eye.projection(*size)
        return {
            "from_window": FROM_WINDOW, "from_eye": FROM_EYE, "to_window": to_window, "depth_mm": 2.0 * reach,
            "view": eye.view_matrix(), "lens": (lens[0, 0], lens[1, 1], lens[2, 2], lens[2, 3]), "window_box":
            light.lamps.window_half, "pixels": size,
        }  # fmt: skip

    def close(self) -> None:
        """Give everything back."""
        for thing in (self._program, self._window, self._eye):
            if thing is not None:
                thing.close()
