"""Pictures that lie flat behind the head or over it, and neither turn nor come nearer with it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from pyglet import gl

from composer.viewer.render.gl_buffers import Arrays
from composer.viewer.render.gl_canvas import Picture
from composer.viewer.render.gl_program import Program
from composer.viewer.render.look import Backdrop


class Backdrops:
    """Draws them; needs a current GL context."""

    def __init__(self) -> None:
        self._program = Program("backdrop.vert", "backdrop.frag")
        self._nothing = Arrays()
        self._pictures: list[Picture] = []

    def draw(self, backdrops: tuple[Backdrop, ...], over: bool, size: tuple[int, int]) -> None:
        """Draw those that lie `over` the head, or those behind it, into what is bound, of `size` in pixels. Blending is
        off before and afterwards."""
        if not any(each.over == over for each in backdrops):
            return
        gl.glDisable(gl.GL_DEPTH_TEST)
        gl.glDepthMask(gl.GL_FALSE)
        gl.glEnable(gl.GL_BLEND)
        gl.glBlendFuncSeparate(gl.GL_SRC_ALPHA, gl.GL_ONE_MINUS_SRC_ALPHA, gl.GL_ONE, gl.GL_ONE_MINUS_SRC_ALPHA)
        self._nothing.use()
        self._program.use()
        for place, each in enumerate(backdrops):
            if each.over == over and each.opacity > 0.0:
                while len(self._pictures) <= place:
                    self._pictures.append(Picture(raw=True))
                self._pictures[place].use(0, each.picture)
                self._program.set(picture=0, opacity=each.opacity, corners=corners_of(each, size))
                gl.glDrawArrays(gl.GL_TRIANGLE_STRIP, 0, 4)
        gl.glDisable(gl.GL_BLEND)
        gl.glDepthMask(gl.GL_TRUE)

    def close(self) -> None:
        """Give everything back."""
        for each in (self._program, self._nothing, *self._pictures):
            each.close()


def corners_of(backdrop: Backdrop, size: tuple[int, int]) -> NDArray[np.float32]:
    """(4,) left, lower, right and upper in clip space, -1 to 1, of a backdrop in a picture of `size` in pixels."""
    high, wide = backdrop.picture.shape[:2]
    per_height = size[1] / size[0]
    half_wide, half_high = backdrop.height * wide / high * per_height, backdrop.height
    x, y = 2.0 * backdrop.middle[0] * per_height, 2.0 * backdrop.middle[1]
    return np.array([x - half_wide, y - half_high, x + half_wide, y + half_high], dtype=np.float32)
