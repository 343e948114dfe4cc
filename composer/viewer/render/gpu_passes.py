"""The two passes of a pose on the card, positions and then normals, in each of the ways that a context may allow."""

from __future__ import annotations

import ctypes

from pyglet import gl

from composer.viewer.render.gl_program import linked_program, shader_text

BLOCK = 64
"""Vertices in a block: the size of a work group that every card with compute shaders runs in full."""


class ComputePasses:
    """Both passes as compute shaders, a work group a block."""

    def __init__(self, n_vertices: int) -> None:
        head = f"#version 430 core\n#define BLOCK {BLOCK}u\n"
        self._morph = linked_program({gl.GL_COMPUTE_SHADER: head + shader_text("pose_morph.comp")})
        self._smooth = linked_program({gl.GL_COMPUTE_SHADER: head + shader_text("pose_normals.comp")})
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


class FeedbackPasses:
    """Both passes as vertex shaders whose results are captured, a point a vertex, nothing rasterised."""

    def __init__(self, n_vertices: int) -> None:
        head = f"#version 330 core\n#define BLOCK {BLOCK}u\n"
        vertex = gl.GL_VERTEX_SHADER
        self._morph = linked_program({vertex: head + shader_text("pose_morph.vert")}, captured=b"result")
        self._smooth = linked_program({vertex: head + shader_text("pose_normals.vert")}, captured=b"result")
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
