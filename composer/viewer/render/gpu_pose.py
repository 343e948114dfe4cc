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

import ctypes
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from pyglet import gl
from pyglet.gl.gl_info import GLInfo

from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.mixing.columns import Column
from composer.mixing.recipe import CellKey

Way = Literal["compute", "feedback"]
BLOCK = 64
SLOT_BYTES = 3 * BLOCK * 4
SHADERS = Path(__file__).parent / "shaders"
FEWER = "show the head at a lower level, or close other windows"
_NVX_FREE_KB, _ATI_FREE_KB = 0x9049, 0x87FB  # GL_NVX_gpu_memory_info, GL_ATI_meminfo


def context_info() -> GLInfo:
    """What pyglet knows of the current context. Raises MoueError where there is none."""
    if gl.current_context is None:
        raise MoueError("there is no OpenGL context")
    return gl.current_context.get_info()


def best_way() -> Way:
    """The way that the current context allows: compute shaders from OpenGL 4.3 on, else transform feedback."""
    return "compute" if context_info().have_version(4, 3) else "feedback"


def free_bytes() -> int | None:
    """Graphics memory that is free, in bytes, where the driver tells it."""
    info, told = context_info(), (gl.GLint * 4)()
    if info.have_extension("GL_NVX_gpu_memory_info"):
        gl.glGetIntegerv(_NVX_FREE_KB, told)
    elif info.have_extension("GL_ATI_meminfo"):
        gl.glGetIntegerv(_ATI_FREE_KB, told)
    return 1024 * int(told[0]) or None


def largest_buffer(way: Way) -> int:
    """Bytes that one buffer may have for a shader to read all of it."""
    told = gl.GLint()
    of = gl.GL_MAX_SHADER_STORAGE_BLOCK_SIZE if way == "compute" else gl.GL_MAX_TEXTURE_BUFFER_SIZE
    gl.glGetIntegerv(of, ctypes.byref(told))
    return int(told.value) * (1 if way == "compute" else 4)


def opposite_edges(polygons: Polygons) -> tuple[NDArray[np.uint32], NDArray[np.uint32]]:
    """The edges across from each vertex: `rings` (n + 1,), where each vertex's begin, and `edges` (e, 2).

    They are the edges of the polygons about it that it is no end of, each in its polygon's sense: the polygons' fans
    about the vertex, whose vector areas sum to the polygons' own (Newell).
    """
    owners: list[NDArray] = [np.zeros(0, np.int32)]
    edges: list[NDArray] = [np.zeros((0, 2), np.int32)]
    for corners in np.unique(polygons.counts).tolist():
        faces = np.flatnonzero(polygons.counts == corners)
        loops = polygons.indices[polygons.starts[faces][:, None] + np.arange(corners)]
        for step in range(1, corners - 1):
            ends = np.stack([np.roll(loops, -step, axis=1), np.roll(loops, -step - 1, axis=1)], axis=-1)
            owners.append(loops.ravel())
            edges.append(ends.reshape(-1, 2))
    owner, listed = np.concatenate(owners), np.concatenate(edges)
    number = np.arange(len(owner))
    table = sp.csr_matrix((np.ones(len(owner), np.int8), (owner, number)), (polygons.n_vertices, len(owner)))
    return table.indptr.astype(np.uint32), listed[table.indices].astype(np.uint32)


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
        self._sizes: dict[int, int] = {}
        self._passes: _Compute | _Feedback | None = None
        self._blocks = -(-self.n_vertices // BLOCK)
        rings, edges = opposite_edges(polygons)
        pieces = edges.nbytes if self.way == "compute" else edges.nbytes // 2  # a texel holds a whole edge
        self._need(3 * points.nbytes + rings.nbytes + edges.nbytes, max(points.nbytes, pieces))
        try:
            self._neutral = self._buffer(points)
            self.positions_buffer = self._buffer(points)
            self.normals_buffer = self._buffer(np.zeros_like(points))
            self._rings, self._edges = self._buffer(rings), self._buffer(edges)
            self._starts = self._buffer(np.zeros(self._blocks + 1, np.uint32))
            self._entries = self._buffer(np.zeros((0, 2), np.uint32))
            self._amounts = self._buffer(np.zeros(0, np.float32))
            self._values = self._buffer(np.zeros(0, np.float32))
            self._passes = _Compute(self.n_vertices) if self.way == "compute" else _Feedback(self.n_vertices)
        except MoueError:
            self.close()
            raise
        self.smooth()

    @property
    def bytes_held(self) -> int:
        """Graphics memory held, in bytes."""
        return sum(self._sizes.values())

    def set_columns(self, columns: Mapping[CellKey, Column]) -> None:
        """Hold these columns and no others; those that are held already (the same objects) are not sent again.

        The pose does not change before `pose` is called. Raises MoueError, with nothing changed, where a column
        reaches beyond the head, or where the graphics memory that is needed is not there.
        """
        stay = {key: held for key, held in self._held.items() if columns.get(key) is held.column}
        packed = {key: _packed(one, self.n_vertices) for key, one in columns.items() if key not in stay}
        left = [field.slots for key, held in self._held.items() if key not in stay for field in held.fields]
        free = np.sort(np.concatenate([self._free, *left]))
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
        self._fill(self._amounts, scaled, gl.GL_STREAM_DRAW)

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
        for buffer in self._sizes:
            gl.glDeleteBuffers(1, gl.GLuint(buffer))
        self._sizes = {}
        if self._passes is not None:
            self._passes.close()
            self._passes = None

    def _need(self, more: int, largest: int) -> None:
        """Raise MoueError unless `more` bytes are free and one buffer may have `largest` bytes."""
        free, limit = free_bytes(), largest_buffer(self.way)
        if free is not None and more > free:
            raise MoueError(f"the pose needs {_mb(more)} of graphics memory, {_mb(free)} are free", hint=FEWER)
        if largest > limit:
            raise MoueError(
                f"the pose needs {_mb(largest)} of graphics memory in one piece, this driver allows {_mb(limit)}",
                hint=FEWER,
            )

    def _buffer(self, data: NDArray) -> int:
        """A new buffer with this data."""
        made = gl.GLuint()
        gl.glGenBuffers(1, ctypes.byref(made))
        self._sizes[made.value] = 0
        self._fill(made.value, data)
        return made.value

    def _fill(self, buffer: int, data: NDArray, usage: int = gl.GL_DYNAMIC_DRAW) -> None:
        """Give a buffer this data. Raises MoueError where there is no memory for it."""
        self._room(buffer, data.nbytes, usage)
        gl.glBindBuffer(gl.GL_COPY_WRITE_BUFFER, buffer)
        gl.glBufferSubData(gl.GL_COPY_WRITE_BUFFER, 0, data.nbytes, data.ctypes.data)
        gl.glBindBuffer(gl.GL_COPY_WRITE_BUFFER, 0)

    def _room(self, buffer: int, size: int, usage: int = gl.GL_DYNAMIC_DRAW) -> None:
        """Give a buffer room for `size` bytes, a few at least: an empty one cannot be bound for a shader."""
        while gl.glGetError():
            pass
        gl.glBindBuffer(gl.GL_COPY_WRITE_BUFFER, buffer)
        gl.glBufferData(gl.GL_COPY_WRITE_BUFFER, max(16, size), None, usage)
        gl.glBindBuffer(gl.GL_COPY_WRITE_BUFFER, 0)
        if gl.glGetError() == gl.GL_OUT_OF_MEMORY:
            raise MoueError(f"the pose needs {_mb(size)} of graphics memory more than there are", hint=FEWER)
        self._sizes[buffer] = max(16, size)

    def _grow(self, more: int) -> NDArray[np.int64]:
        """Room for at least `more` slots beyond those there are; returns their numbers."""
        limit = largest_buffer(self.way) // SLOT_BYTES
        least = self._capacity + more
        capacity = max(least, min(limit, self._capacity + self._capacity // 2))
        self._need(capacity * SLOT_BYTES, capacity * SLOT_BYTES)
        grown = self._buffer(np.zeros(0, np.float32))
        try:
            self._room(grown, capacity * SLOT_BYTES)
        except MoueError:
            self._drop(grown)
            raise
        gl.glBindBuffer(gl.GL_COPY_READ_BUFFER, self._values)
        gl.glBindBuffer(gl.GL_COPY_WRITE_BUFFER, grown)
        if self._capacity:
            gl.glCopyBufferSubData(
                gl.GL_COPY_READ_BUFFER, gl.GL_COPY_WRITE_BUFFER, 0, 0, self._capacity * SLOT_BYTES
            )  # fmt: skip
        gl.glBindBuffer(gl.GL_COPY_READ_BUFFER, 0)
        gl.glBindBuffer(gl.GL_COPY_WRITE_BUFFER, 0)
        self._drop(self._values)
        added = np.arange(self._capacity, capacity)
        self._values, self._capacity = grown, capacity
        return added

    def _drop(self, buffer: int) -> None:
        gl.glDeleteBuffers(1, gl.GLuint(buffer))
        del self._sizes[buffer]

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
        self._fill(self._starts, starts)
        self._fill(self._entries, np.stack([slots[order], rows[order]], axis=1).astype(np.uint32))
        self._fill(self._amounts, np.zeros(len(fields), np.float32), gl.GL_STREAM_DRAW)


class _Compute:
    """Both passes as compute shaders, a work group a block."""

    def __init__(self, n_vertices: int) -> None:
        head = f"#version 430 core\n#define BLOCK {BLOCK}u\n"
        self._morph = linked_program({gl.GL_COMPUTE_SHADER: head + _source("pose_morph.comp")})
        self._smooth = linked_program({gl.GL_COMPUTE_SHADER: head + _source("pose_normals.comp")})
        blocks = -(-n_vertices // BLOCK)
        self._across = max(1, min(blocks, 32768))  # every driver takes 65,535 groups in a row
        self._down = -(-blocks // self._across)
        for program in (self._morph, self._smooth):
            gl.glUseProgram(program)
            gl.glUniform1ui(gl.glGetUniformLocation(program, b"n_vertices"), n_vertices)
        gl.glUseProgram(0)

    def morph(self, *buffers: int) -> None:
        """Neutral, positions, starts, entries, amounts, values: makes the positions."""
        self._run(self._morph, buffers)

    def smooth(self, *buffers: int) -> None:
        """Positions, normals, rings, edges: makes the normals."""
        self._run(self._smooth, buffers)

    def close(self) -> None:
        """Give the programs back."""
        gl.glDeleteProgram(self._morph)
        gl.glDeleteProgram(self._smooth)

    def _run(self, program: int, buffers: tuple[int, ...]) -> None:
        gl.glUseProgram(program)
        for place, buffer in enumerate(buffers):
            gl.glBindBufferBase(gl.GL_SHADER_STORAGE_BUFFER, place, buffer)
        gl.glDispatchCompute(self._across, self._down, 1)
        gl.glMemoryBarrier(
            gl.GL_SHADER_STORAGE_BARRIER_BIT | gl.GL_VERTEX_ATTRIB_ARRAY_BARRIER_BIT | gl.GL_BUFFER_UPDATE_BARRIER_BIT
        )
        for place in range(len(buffers)):
            gl.glBindBufferBase(gl.GL_SHADER_STORAGE_BUFFER, place, 0)
        gl.glBindBuffer(gl.GL_SHADER_STORAGE_BUFFER, 0)
        gl.glUseProgram(0)


class _Feedback:
    """Both passes as vertex shaders whose results are captured, a point a vertex, nothing rasterised."""

    def __init__(self, n_vertices: int) -> None:
        head = f"#version 330 core\n#define BLOCK {BLOCK}u\n"
        self._morph = linked_program({gl.GL_VERTEX_SHADER: head + _source("pose_morph.vert")}, captured=b"result")
        self._smooth = linked_program({gl.GL_VERTEX_SHADER: head + _source("pose_normals.vert")}, captured=b"result")
        self._n_vertices = n_vertices
        self._array, self._textures = gl.GLuint(), (gl.GLuint * 4)()
        gl.glGenVertexArrays(1, ctypes.byref(self._array))
        gl.glGenTextures(4, self._textures)

    def morph(self, neutral: int, positions: int, starts: int, entries: int, amounts: int, values: int) -> None:
        """Make the positions."""
        read = {
            b"starts": (starts, gl.GL_R32UI),
            b"entries": (entries, gl.GL_RG32UI),
            b"amounts": (amounts, gl.GL_R32F),
            b"values": (values, gl.GL_R32F),
        }
        self._run(self._morph, neutral, positions, read)

    def smooth(self, positions: int, normals: int, rings: int, edges: int) -> None:
        """Make the normals."""
        read = {
            b"positions": (positions, gl.GL_R32F),
            b"rings": (rings, gl.GL_R32UI),
            b"edges": (edges, gl.GL_RG32UI),
        }
        self._run(self._smooth, positions, normals, read)

    def close(self) -> None:
        """Give programs, textures and the vertex array back."""
        gl.glDeleteProgram(self._morph)
        gl.glDeleteProgram(self._smooth)
        gl.glDeleteTextures(4, self._textures)
        gl.glDeleteVertexArrays(1, ctypes.byref(self._array))

    def _run(self, program: int, attribute: int, to: int, read: dict[bytes, tuple[int, int]]) -> None:
        gl.glUseProgram(program)
        for unit, (name, (buffer, layout)) in enumerate(read.items()):
            gl.glActiveTexture(gl.GL_TEXTURE0 + unit)
            gl.glBindTexture(gl.GL_TEXTURE_BUFFER, self._textures[unit])
            gl.glTexBuffer(gl.GL_TEXTURE_BUFFER, layout, buffer)
            gl.glUniform1i(gl.glGetUniformLocation(program, name), unit)
        gl.glBindVertexArray(self._array)
        gl.glBindBuffer(gl.GL_ARRAY_BUFFER, attribute)
        gl.glEnableVertexAttribArray(0)
        gl.glVertexAttribPointer(0, 3, gl.GL_FLOAT, gl.GL_FALSE, 12, None)
        gl.glBindBufferBase(gl.GL_TRANSFORM_FEEDBACK_BUFFER, 0, to)
        gl.glEnable(gl.GL_RASTERIZER_DISCARD)
        gl.glBeginTransformFeedback(gl.GL_POINTS)
        gl.glDrawArrays(gl.GL_POINTS, 0, self._n_vertices)
        gl.glEndTransformFeedback()
        gl.glDisable(gl.GL_RASTERIZER_DISCARD)
        gl.glBindBufferBase(gl.GL_TRANSFORM_FEEDBACK_BUFFER, 0, 0)
        gl.glBindBuffer(gl.GL_ARRAY_BUFFER, 0)
        gl.glBindVertexArray(0)
        for unit in reversed(range(len(read))):
            gl.glActiveTexture(gl.GL_TEXTURE0 + unit)
            gl.glBindTexture(gl.GL_TEXTURE_BUFFER, 0)
        gl.glUseProgram(0)


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


def _source(name: str) -> str:
    """A shader's text, with the line `#include "FILE"` replaced by that file."""
    lines = (SHADERS / name).read_text(encoding="utf-8").splitlines()
    return "\n".join(_source(line.split('"')[1]) if line.startswith("#include") else line for line in lines)


def linked_program(stages: Mapping[int, str], captured: bytes | None = None) -> int:
    """A linked program of these stages, whose output `captured` goes to transform feedback.

    Raises MoueError with the driver's first words where it refuses one.
    """
    made = gl.glCreateProgram()
    for stage, text in stages.items():
        shader, coded = gl.glCreateShader(stage), text.encode()
        gl.glShaderSource(shader, 1, ctypes.byref(_characters(coded)), gl.GLint(len(coded)))
        gl.glCompileShader(shader)
        _accepted(shader, gl.glGetShaderiv, gl.GL_COMPILE_STATUS, gl.glGetShaderInfoLog)
        gl.glAttachShader(made, shader)
        gl.glDeleteShader(shader)
    if captured is not None:
        gl.glTransformFeedbackVaryings(made, 1, ctypes.byref(_characters(captured)), gl.GL_INTERLEAVED_ATTRIBS)
    gl.glLinkProgram(made)
    _accepted(made, gl.glGetProgramiv, gl.GL_LINK_STATUS, gl.glGetProgramInfoLog)
    return made


def _characters(text: bytes) -> ctypes._Pointer[gl.GLchar]:
    return ctypes.cast(ctypes.c_char_p(text), ctypes.POINTER(gl.GLchar))


def _accepted(made: int, ask, status: int, ask_words) -> None:  # type: ignore[no-untyped-def]
    told = gl.GLint()
    ask(made, status, ctypes.byref(told))
    if not told.value:
        words = ctypes.create_string_buffer(1024)
        ask_words(made, 1024, None, words)
        raise MoueError(f"the graphics driver refuses a shader: {words.value.decode(errors='replace')}")


def _mb(size: int) -> str:
    return f"{size / 1e6:,.1f} MB"
