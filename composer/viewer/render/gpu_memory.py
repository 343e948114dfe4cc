"""Buffers on the card, counted, and refused in one line where there is no memory for them."""

from __future__ import annotations

import ctypes

from numpy.typing import NDArray
from pyglet import gl

from composer.errors import MoueError
from composer.viewer.render.gpu_context import Way, free_bytes, largest_buffer

FEWER = "show the head at a lower level, or close other windows"


class GpuMemory:
    """The buffers of one pose, by their GL names."""

    def __init__(self, way: Way) -> None:
        self._way = way
        self._sizes: dict[int, int] = {}

    @property
    def bytes_held(self) -> int:
        """Graphics memory held, in bytes."""
        return sum(self._sizes.values())

    @property
    def largest(self) -> int:
        """Bytes that one buffer may have for a shader to read all of it."""
        return largest_buffer(self._way)

    @property
    def names(self) -> list[int]:
        """The GL names of the buffers held."""
        return list(self._sizes)

    def need(self, more: int, largest: int) -> None:
        """Raise MoueError unless `more` bytes are free and one buffer may have `largest` bytes."""
        free, limit = free_bytes(), self.largest
        if free is not None and more > free:
            raise MoueError(f"the pose needs {_mb(more)} of graphics memory, {_mb(free)} are free", hint=FEWER)
        if largest > limit:
            raise MoueError(
                f"the pose needs {_mb(largest)} of graphics memory in one piece, this driver allows {_mb(limit)}",
                hint=FEWER,
            )

    def new(self, data: NDArray) -> int:
        """A new buffer with this data."""
        name = gl.GLuint()
        gl.glGenBuffers(1, ctypes.byref(name))
        self._sizes[name.value] = 0
        self.fill(name.value, data)
        return name.value

    def fill(self, buffer: int, data: NDArray, usage: int = gl.GL_DYNAMIC_DRAW) -> None:
        """Give a buffer this data. Raises MoueError where there is no memory for it."""
        self.room(buffer, data.nbytes, usage)
        gl.glBindBuffer(gl.GL_COPY_WRITE_BUFFER, buffer)
        gl.glBufferSubData(gl.GL_COPY_WRITE_BUFFER, 0, data.nbytes, data.ctypes.data)
        gl.glBindBuffer(gl.GL_COPY_WRITE_BUFFER, 0)

    def room(self, buffer: int, size: int, usage: int = gl.GL_DYNAMIC_DRAW) -> None:
        """Give a buffer room for `size` bytes, a few at least: an empty one cannot be bound for a shader."""
        while gl.glGetError():
            pass
        gl.glBindBuffer(gl.GL_COPY_WRITE_BUFFER, buffer)
        gl.glBufferData(gl.GL_COPY_WRITE_BUFFER, max(16, size), None, usage)
        gl.glBindBuffer(gl.GL_COPY_WRITE_BUFFER, 0)
        if gl.glGetError() == gl.GL_OUT_OF_MEMORY:
            raise MoueError(f"the pose needs {_mb(size)} of graphics memory more than there are", hint=FEWER)
        self._sizes[buffer] = max(16, size)

    def drop(self, buffer: int) -> None:
        """Give a buffer back."""
        gl.glDeleteBuffers(1, gl.GLuint(buffer))
        del self._sizes[buffer]

    def close(self) -> None:
        """Give everything back. May be called twice."""
        for buffer in self._sizes:
            gl.glDeleteBuffers(1, gl.GLuint(buffer))
        self._sizes = {}


def _mb(size: int) -> str:
    return f"{size / 1e6:,.1f} MB"
