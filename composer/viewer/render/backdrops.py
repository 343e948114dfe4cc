"""Pictures that lie flat behind the head or over it, and neither turn nor come nearer with it."""

from __future__ import annotations

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
                self._program.set(picture=0, opacity=each.opacity, corners=each.corners(size))
                gl.glDrawArrays(gl.GL_TRIANGLE_STRIP, 0, 4)
        gl.glDisable(gl.GL_BLEND)
        gl.glDepthMask(gl.GL_TRUE)

    def close(self) -> None:
        """Give everything back."""
        self._program.close()
        self._nothing.close()
        for each in self._pictures:
            each.close()
