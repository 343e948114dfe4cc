"""The pose made on the GPU, for heads of more than about 150,000 vertices: positions, then their smooth normals.

Vertices stand in blocks of 64 in a row. A column's field (see `composer.mixing.columns`) is uploaded once, a slot of
3 x 64 float32 for each block that it reaches, and each block has a list of its slots and of whose amount they go by.
So a pose reads what reaches a vertex and nothing else, side by side; a changed weight sends a few amounts; and a
column that comes or goes leaves the others where they are. On an H100, 1 million vertices and 40 cells take 0.049 ms
so; one list for each vertex, which would be made anew with every column, takes 0.047, adding column after column 0.42.
Where vertices are numbered without regard to place, blocks fill badly: 0.19 ms and eight times the bytes.
Half floats were not taken: a displacement of 20 mm is off by up to 0.008 mm, more than 1e-5 of a head's diagonal.

A normal is the sum of the vector areas of the polygons about a vertex, as
`composer.geometry.surface.Surface.vertex_normals`,
gathered from the posed positions over the edges across from it. (Summing a normal delta for each shape is cheaper and
wrong by tens of degrees.)

There are two ways, with the same sums: compute shaders over storage buffers where the context has OpenGL 4.3, and
transform feedback over texture buffers where it has 3.3 to 4.2.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import get_args

import numpy as np
from numpy.typing import NDArray
from pyglet import gl

from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.mixing.columns import Column
from composer.mixing.recipe import CellKey
from composer.viewer.render.gpu_context import Way, best_way
from composer.viewer.render.gpu_memory import GpuMemory
from composer.viewer.render.gpu_passes import BLOCK, ComputePasses, FeedbackPasses
from composer.viewer.render.opposite_edges import opposite_edges

SLOT_BYTES = 3 * BLOCK * 4


@dataclass(frozen=True, eq=False)
class _Field:
    """One field of a column on the GPU: the blocks that it reaches (b,) and the slot of each (b,)."""

    blocks: NDArray[np.int64]
    slots: NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class _Held:
    """A column whose fields are on the GPU."""

    column: Column
    fields: tuple[_Field, ...]


class GpuPose:
    """One head's pose on the GPU of the current context. Lengths are mm; every buffer is float32, (n, 3), packed.

    All calls need the context that it was made in; they leave no program, buffer, texture or vertex array bound.
    """

    def __init__(self, neutral: NDArray, polygons: Polygons, way: Way | None = None) -> None:
        """Take the `neutral` (n, 3) mm and its polygons; the pose is the neutral at first.

        `way` is the best that the context allows unless said. Raises MoueError where the context has no such way,
        or where the graphics memory that is needed is not there.
        """
        points = np.ascontiguousarray(neutral, dtype=np.float32)
        self.n_vertices = len(points)
        self.way: Way = way or best_way()
        if self.way not in get_args(Way):
            raise MoueError(f"a pose can be made by compute or by feedback, not by {way!r}")
        if self.way == "compute" and best_way() != "compute":
            raise MoueError("this graphics driver has no compute shaders", hint="use the way feedback")
        self._held: dict[CellKey, _Held] = {}
        self._rows: list[CellKey] = []
        self._free: NDArray[np.int64] = np.zeros(0, dtype=np.int64)
        self._capacity = 0
        self._memory = GpuMemory(self.way)
        self._passes: ComputePasses | FeedbackPasses | None = None
        self._blocks = -(-self.n_vertices // BLOCK)
        rings, edges = opposite_edges(polygons)
        pieces = edges.nbytes if self.way == "compute" else edges.nbytes // 2  # a texel holds a whole edge
        self._memory.need(3 * points.nbytes + rings.nbytes + edges.nbytes, max(points.nbytes, pieces))
        try:
            self._neutral = self._memory.new(points)
            self.positions_buffer = self._memory.new(points)
            self.normals_buffer = self._memory.new(np.zeros_like(points))
            self._rings, self._edges = self._memory.new(rings), self._memory.new(edges)
            self._starts = self._memory.new(np.zeros(self._blocks + 1, np.uint32))
            self._entries = self._memory.new(np.zeros((0, 2), np.uint32))
            self._amounts = self._memory.new(np.zeros(0, np.float32))
            self._values = self._memory.new(np.zeros(0, np.float32))
            self._passes = ComputePasses(self.n_vertices) if self.way == "compute" else FeedbackPasses(self.n_vertices)
        except MoueError:
            self.close()
            raise
        self.smooth()

    @property
    def bytes_held(self) -> int:
        """Graphics memory held, in bytes."""
        return self._memory.bytes_held

    def set_columns(self, columns: Mapping[CellKey, Column]) -> None:
        """Hold these columns and no others; those that are held already (the same objects) are not sent again.

        The pose does not change before `pose` is called. Raises MoueError, with nothing changed, where a column
        reaches beyond the head, or where the graphics memory that is needed is not there.
        """
        stay = {key: held for key, held in self._held.items() if columns.get(key) is held.column}
        packed = {key: _packed(one, self.n_vertices) for key, one in columns.items() if key not in stay}
        freed = [field.slots for key, held in self._held.items() if key not in stay for field in held.fields]
        free = np.sort(np.concatenate([self._free, *freed]))
        wanted = sum(len(blocks) for fields in packed.values() for blocks, _ in fields)
        if wanted > len(free):
            free = np.concatenate([free, self._grow(wanted - len(free))])
        self._held, self._rows = {}, []
        for key, column in columns.items():
            if key in stay:
                self._held[key] = stay[key]
            else:
                fields = []
                for blocks, values in packed[key]:
                    slots, free = free[: len(blocks)], free[len(blocks) :]
                    self._send(values, slots)
                    fields.append(_Field(blocks, slots))
                self._held[key] = _Held(column, tuple(fields))
            self._rows += [key] * len(column.fields)
        self._free = free
        self._list()

    def set_weights(self, weights: Mapping[CellKey, float], strength: float = 1.0) -> None:
        """Send the amounts for these weights of cells, each in [-1, 2]; a cell that is not listed has weight 0.

        Raises KeyError for a cell that has a weight and no column.
        """
        missing = [key for key, weight in weights.items() if weight != 0.0 and key not in self._held]
        if missing:
            raise KeyError(missing[0])
        amounts = [a for key, held in self._held.items() for a in held.column.amounts(weights.get(key, 0.0))]
        scaled = (strength * np.array(amounts, dtype=np.float64)).astype(np.float32)
        self._memory.fill(self._amounts, scaled, gl.GL_STREAM_DRAW)

    def morph(self) -> None:
        """Make the positions: neutral plus strength times the sum of amounts times fields."""
        assert self._passes is not None
        self._passes.morph(
            self._neutral, self.positions_buffer, self._starts, self._entries, self._amounts, self._values
        )

    def smooth(self) -> None:
        """Make the smooth normals of the positions, zero at a vertex that no polygon with an area touches."""
        assert self._passes is not None
        self._passes.smooth(self.positions_buffer, self.normals_buffer, self._rings, self._edges)

    def pose(self, weights: Mapping[CellKey, float], strength: float = 1.0) -> None:
        """Make positions and normals for these weights of cells; see `set_weights`."""
        self.set_weights(weights, strength)
        self.morph()
        self.smooth()

    def read_positions(self) -> NDArray[np.float32]:
        """(n, 3) float32 mm, the positions, read back from the GPU (waits for it)."""
        read = np.empty((self.n_vertices, 3), dtype=np.float32)
        gl.glBindBuffer(gl.GL_COPY_READ_BUFFER, self.positions_buffer)
        gl.glGetBufferSubData(gl.GL_COPY_READ_BUFFER, 0, read.nbytes, read.ctypes.data)
        gl.glBindBuffer(gl.GL_COPY_READ_BUFFER, 0)
        return read

    def close(self) -> None:
        """Give everything on the GPU back. May be called twice."""
        self._memory.close()
        if self._passes is not None:
            self._passes.close()
            self._passes = None

    def _grow(self, more: int) -> NDArray[np.int64]:
        """Room for at least `more` slots beyond those there are; returns their numbers."""
        limit = self._memory.largest // SLOT_BYTES
        least = self._capacity + more
        capacity = max(least, min(limit, self._capacity + self._capacity // 2))
        self._memory.need(capacity * SLOT_BYTES, capacity * SLOT_BYTES)
        grown = self._memory.new(np.zeros(0, np.float32))
        try:
            self._memory.room(grown, capacity * SLOT_BYTES)
        except MoueError:
            self._memory.drop(grown)
            raise
        gl.glBindBuffer(gl.GL_COPY_READ_BUFFER, self._values)
        gl.glBindBuffer(gl.GL_COPY_WRITE_BUFFER, grown)
        if self._capacity:
            gl.glCopyBufferSubData(
                gl.GL_COPY_READ_BUFFER, gl.GL_COPY_WRITE_BUFFER, 0, 0, self._capacity * SLOT_BYTES
            )  # fmt: skip
        gl.glBindBuffer(gl.GL_COPY_READ_BUFFER, 0)
        gl.glBindBuffer(gl.GL_COPY_WRITE_BUFFER, 0)
        self._memory.drop(self._values)
        added = np.arange(self._capacity, capacity)
        self._values, self._capacity = grown, capacity
        return added

    def _send(self, values: NDArray[np.float32], slots: NDArray[np.int64]) -> None:
        """Write `values` (b, 3, BLOCK) into their slots (b,), one piece for each run of slots in a row."""
        gl.glBindBuffer(gl.GL_COPY_WRITE_BUFFER, self._values)
        ends = [*(np.flatnonzero(np.diff(slots) != 1) + 1).tolist(), len(slots)]
        begin = 0
        for end in ends if len(slots) else []:
            piece = values[begin:end]
            gl.glBufferSubData(
                gl.GL_COPY_WRITE_BUFFER, int(slots[begin]) * SLOT_BYTES, piece.nbytes, piece.ctypes.data
            )  # fmt: skip
            begin = end
        gl.glBindBuffer(gl.GL_COPY_WRITE_BUFFER, 0)

    def _list(self) -> None:
        """Send, for each block, the slots that reach it and the row of each one's amount."""
        fields = [field for held in self._held.values() for field in held.fields]
        nothing = np.zeros(0, dtype=np.int64)
        blocks = np.concatenate([nothing, *(field.blocks for field in fields)])
        slots = np.concatenate([nothing, *(field.slots for field in fields)])
        rows = np.repeat(np.arange(len(fields)), [len(field.blocks) for field in fields])
        order = np.argsort(blocks, kind="stable")
        starts = np.zeros(self._blocks + 1, dtype=np.uint32)
        np.cumsum(np.bincount(blocks, minlength=self._blocks), out=starts[1:])
        self._memory.fill(self._starts, starts)
        self._memory.fill(self._entries, np.stack([slots[order], rows[order]], axis=1).astype(np.uint32))
        self._memory.fill(self._amounts, np.zeros(len(fields), np.float32), gl.GL_STREAM_DRAW)


def _packed(column: Column, n_vertices: int) -> list[tuple[NDArray[np.int64], NDArray[np.float32]]]:
    """For each field of a column, the blocks that it reaches (b,) and its values there (b, 3, BLOCK)."""
    if column.range[1] > n_vertices:
        raise MoueError(f"a column reaches vertex {column.range[1] - 1}, the head has {n_vertices} vertices")
    where = np.arange(column.where.start, column.where.stop) if isinstance(column.where, slice) else column.where
    vertices = where[::3] // 3
    packed = []
    for field in column.fields:
        deltas = field.reshape(-1, 3)
        moved = deltas.any(axis=1)
        at = vertices[moved]
        blocks, rank = np.unique(at // BLOCK, return_inverse=True)
        values = np.zeros((len(blocks), 3, BLOCK), dtype=np.float32)
        values[rank, :, at % BLOCK] = deltas[moved]
        packed.append((blocks.astype(np.int64), values))
    return packed
