"""Marks on the surface of a pose, drawn as discs of a size in pixels."""

from __future__ import annotations

import numpy as np
from pyglet import gl

from composer.viewer.render.gl_buffers import Arrays, Buffer
from composer.viewer.render.gl_program import Program
from composer.viewer.render.look import Mark

_ROW = np.dtype([("corners", np.int32, 4), ("bary", np.float32, 4), ("tint", np.uint8, 4), ("size", np.float32)])


class Discs:
    """The marks now on the card."""

    def __init__(self) -> None:
        self._program = Program("mark.vert", "mark.frag")
        self._rows, self._arrays = Buffer(), Arrays()

    def draw(self, marks: tuple[Mark, ...], uniforms: dict[str, object]) -> None:
        """Draw all of them; of a polygon with more than four corners the four heaviest count."""
        rows = np.zeros(len(marks), dtype=_ROW)
        for row, mark in zip(rows, marks, strict=True):
            heavy = np.argsort(-np.asarray(mark.bary), kind="stable")[:4]
            weight = np.asarray(mark.bary, dtype=np.float64)[heavy]
            row["corners"][: len(heavy)] = np.asarray(mark.corners)[heavy]
            row["bary"][: len(heavy)] = weight / weight.sum()
            row["tint"], row["size"] = mark.colour, mark.size
        self._rows.hold(rows.view(np.uint8).reshape(len(rows), -1))
        self._program.use()
        self._program.set(**uniforms)
        arrays, buffer, step = self._arrays, self._rows.id, _ROW.itemsize
        arrays.use()
        arrays.feed(0, buffer, 4, kind=gl.GL_INT, stride=step, each=1)
        arrays.feed(1, buffer, 4, stride=step, offset=16, each=1)
        arrays.feed(2, buffer, 4, kind=gl.GL_UNSIGNED_BYTE, stride=step, offset=32, each=1, normalised=True)
        arrays.feed(3, buffer, 1, stride=step, offset=36, each=1)
        gl.glDrawArraysInstanced(gl.GL_TRIANGLE_STRIP, 0, 4, len(rows))

    def close(self) -> None:
        """Give everything back."""
        for thing in (self._program, self._rows, self._arrays):
            thing.close()
