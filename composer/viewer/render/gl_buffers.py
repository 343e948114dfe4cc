"""Arrays on the card, and how they feed shaders.

Every upload of vertices goes through `Buffer.hold`, which compares what the buffer has with what it should have and
sends the difference.
"""

from __future__ import annotations

import ctypes

import numpy as np
from numpy.typing import NDArray
from pyglet import gl

from composer.viewer.render.gl_state import new_texture


def difference(held: NDArray, wanted: NDArray) -> tuple[int, int]:
    """The smallest range (first, last) of rows outside which two arrays of one shape and type are the same bytes;
    (0, 0) where they are the same throughout.
    """
    if not held.size:
        return 0, 0
    one, two = (a.reshape(len(a), -1).view(np.uint8).reshape(len(a), -1) for a in (held, wanted))
    word = next(size for size in (4, 2, 1) if one.shape[1] % size == 0)
    kind = {4: np.uint32, 2: np.uint16, 1: np.uint8}[word]
    differs = (one.view(kind) != two.view(kind)).reshape(-1)
    width = one.shape[1] // word
    first = int(np.argmax(differs))
    if not differs[first]:
        return 0, 0
    return first // width, (len(differs) - 1 - int(np.argmax(differs[::-1]))) // width + 1


class Buffer:
    """An array on the card."""

    def __init__(self, target: int = gl.GL_ARRAY_BUFFER) -> None:
        name = gl.GLuint()
        gl.glGenBuffers(1, ctypes.byref(name))
        self.id = name.value
        self.target = target
        self._held: NDArray | None = None
        self._given: NDArray | None = None

    def hold(self, wanted: NDArray, touched: tuple[int, int] | None = None) -> bool:
        """Have the buffer hold `wanted`, whose rows may have changed in `touched` (first, last) alone, or anywhere
        where that is None; returns whether anything had to be sent. Read-only arrays are known by identity.
        """
        held = self._held
        if held is None or held.shape != wanted.shape or held.dtype != wanted.dtype:
            self._held = np.array(wanted, order="C")
            gl.glBindBuffer(self.target, self.id)
            gl.glBufferData(self.target, max(self._held.nbytes, 4), self._held.ctypes.data, gl.GL_DYNAMIC_DRAW)
            self._given = wanted
            return True
        if wanted is self._given and not wanted.flags.writeable:
            return False
        self._given = wanted
        wanted = np.ascontiguousarray(wanted)
        first, last = difference(held, wanted) if touched is None else touched
        if last <= first:
            return False
        held[first:last] = wanted[first:last]
        row = held.nbytes // len(held)
        gl.glBindBuffer(self.target, self.id)
        gl.glBufferSubData(self.target, first * row, (last - first) * row, held[first:last].ctypes.data)
        return True

    def close(self) -> None:
        """Give it back."""
        gl.glDeleteBuffers(1, ctypes.byref(gl.GLuint(self.id)))


class Arrays:
    """A vertex array: which buffers feed which attributes."""

    def __init__(self) -> None:
        name = gl.GLuint()
        gl.glGenVertexArrays(1, ctypes.byref(name))
        self.id = name.value
        self._fed: dict[int, tuple] = {}

    def use(self) -> None:
        """Make it the current one."""
        gl.glBindVertexArray(self.id)

    def feed(
        self, place: int, buffer: int, count: int, *, kind: int = gl.GL_FLOAT, stride: int = 0, offset: int = 0,
        each: int = 0, normalised: bool = False,
    ) -> None:  # fmt: skip
        """Let `count` numbers of `kind` from a buffer be attribute `place` of the current vertex array, new at every
        vertex, or at every `each`-th instance. Integers that are not `normalised` stay integers.
        """
        key = (buffer, count, kind, stride, offset, each, normalised)
        if self._fed.get(place) == key:
            return
        self._fed[place] = key
        gl.glBindBuffer(gl.GL_ARRAY_BUFFER, buffer)
        if kind != gl.GL_FLOAT and not normalised:
            gl.glVertexAttribIPointer(place, count, kind, stride, offset)
        else:
            gl.glVertexAttribPointer(place, count, kind, gl.GL_TRUE if normalised else gl.GL_FALSE, stride, offset)
        gl.glEnableVertexAttribArray(place)
        gl.glVertexAttribDivisor(place, each)

    def close(self) -> None:
        """Give it back."""
        gl.glDeleteVertexArrays(1, ctypes.byref(gl.GLuint(self.id)))


class BufferTexture:
    """A buffer of numbers as shaders read it by index."""

    def __init__(self, form: int = gl.GL_R32F) -> None:
        self.id = new_texture()
        self.form = form
        self._buffer = 0

    def use(self, unit: int, buffer: int) -> None:
        """Bind it to a texture unit, over this buffer."""
        gl.glActiveTexture(gl.GL_TEXTURE0 + unit)
        gl.glBindTexture(gl.GL_TEXTURE_BUFFER, self.id)
        if self._buffer != buffer:
            self._buffer = buffer
            gl.glTexBuffer(gl.GL_TEXTURE_BUFFER, self.form, buffer)

    def close(self) -> None:
        """Give it back."""
        gl.glDeleteTextures(1, ctypes.byref(gl.GLuint(self.id)))
