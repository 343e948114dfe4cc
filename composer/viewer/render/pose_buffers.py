"""The positions and normals of one pose on the card, uploaded here or made there by a `GpuPose`."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from pyglet import gl

from composer.viewer.render.gl_buffers import Arrays, Buffer

Range = tuple[int, int]
APART = 256
"""Unwanted vertices between two wanted ones from which on they are read in two pieces; chosen, not measured."""


class PoseBuffers:
    """One pose, the colours over it, how much of the window's light each vertex sees, and its vertex array."""

    def __init__(self) -> None:
        self.positions, self.normals, self.cover, self.lit = Buffer(), Buffer(), Buffer(), Buffer()
        self.arrays = Arrays()
        self.turn: tuple[int, bytes] | None = None
        self.place_buffer, self.normal_buffer, self.stride = self.positions.id, self.normals.id, 3
        self.eyes: tuple[NDArray, NDArray] | None = None

    def hold(self, positions: NDArray, normals: NDArray, touched: Range | None) -> bool:
        """Show arrays (n, 3) float32 whose rows `touched` (first, last) may have changed, None for any; whether they
        differ from before. Normals change a ring beyond the touched vertices, so they are compared."""
        other = self.lend(self.positions.id, self.normals.id, 3)
        still = touched is not None and touched[1] <= touched[0]
        moved = self.positions.hold(positions, touched)
        wide = touched is not None and 2 * (touched[1] - touched[0]) > len(normals)
        here = touched if still else (0, len(normals)) if wide else None
        return self.normals.hold(normals, here) or moved or other

    def lend(self, positions: int, normals: int, stride: int) -> bool:
        """Show GL buffers of `stride` float32 a vertex; whether they are others than before."""
        wanted = (positions, normals, stride)
        before = (self.place_buffer, self.normal_buffer, self.stride)
        self.place_buffer, self.normal_buffer, self.stride = wanted
        return wanted != before

    def read(self, vertices: NDArray, n_vertices: int) -> NDArray[np.float32]:
        """(n, 3) mm with the positions of `vertices` (k,), ascending, read back from the card, and zeros elsewhere."""
        out = np.zeros((n_vertices, 3), dtype=np.float32)
        gl.glBindBuffer(gl.GL_ARRAY_BUFFER, self.place_buffer)
        for run in np.split(vertices, np.flatnonzero(np.diff(vertices) > APART) + 1):
            if len(run):
                data = np.empty((int(run[-1] - run[0]) + 1, self.stride), dtype=np.float32)
                gl.glGetBufferSubData(gl.GL_ARRAY_BUFFER, int(run[0]) * self.stride * 4, data.nbytes, data.ctypes.data)
                out[run[0] : run[-1] + 1] = data[:, :3]
        return out

    def feed(self, buffers: dict[str, Buffer]) -> None:
        """Make its vertex array the current one, fed from its own buffers and from those of the head."""
        self.arrays.use()
        self.arrays.feed(0, self.place_buffer, 3, stride=4 * self.stride)
        self.arrays.feed(1, self.normal_buffer, 3, stride=4 * self.stride)
        self.arrays.feed(2, buffers["materials"].id, 4)
        self.arrays.feed(3, buffers["openness"].id, 1)
        self.arrays.feed(4, self.cover.id, 4, kind=gl.GL_UNSIGNED_BYTE, normalised=True)
        self.arrays.feed(5, buffers["balls"].id, 4)
        self.arrays.feed(6, self.lit.id, 1)

    def close(self) -> None:
        """Give everything back."""
        for thing in (self.positions, self.normals, self.cover, self.lit, self.arrays):
            thing.close()
