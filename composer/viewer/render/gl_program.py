"""Shaders linked to programs, by pyglet's bare GL calls."""

from __future__ import annotations

import ctypes
from collections.abc import Mapping
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray
from pyglet import gl

from composer.errors import MoueError

VERSION = "#version 330 core\n"


def shader_text(name: str) -> str:
    """The text of a file in `shaders/`, with each line `#include "FILE"` replaced by that file."""
    text = files("composer.viewer.render").joinpath("shaders", name).read_text(encoding="utf-8")
    lines = text.splitlines()
    return "\n".join(shader_text(line.split('"')[1]) if line.startswith("#include") else line for line in lines)


class Program:
    """Shaders linked together; uniforms are sent only where their value changes."""

    def __init__(self, vertex: str, fragment: str, geometry: str | None = None, defines: tuple[str, ...] = ()) -> None:
        """Take file names in `shaders/`; each of `defines` becomes a line `#define NAME`.

        Raises MoueError with the driver's words where one does not compile.
        """
        head = VERSION + "".join(f"#define {name}\n" for name in defines)
        files_of = {gl.GL_VERTEX_SHADER: vertex, gl.GL_GEOMETRY_SHADER: geometry, gl.GL_FRAGMENT_SHADER: fragment}
        self.id = linked_program({stage: head + shader_text(name) for stage, name in files_of.items() if name})
        self._places: dict[str, int] = {}
        self._sent: dict[str, bytes] = {}

    def use(self) -> None:
        """Make it the current one."""
        gl.glUseProgram(self.id)

    def set(self, **values: object) -> None:
        """Give uniforms of the current program a value: an int for samplers; floats, vectors (2 to 4,), matrices
        (3, 3) and (4, 4), and arrays of floats (k, 1), of vectors (k, 3, 1), (k, 4, 1) or of matrices (k, 3, 3).
        """
        for name, value in values.items():
            integral = isinstance(value, (int, np.integer)) and not isinstance(value, bool)
            array = np.ascontiguousarray(value, dtype=np.int32 if integral else np.float32)
            raw = array.tobytes()
            if self._sent.get(name) == raw:
                continue
            self._sent[name] = raw
            if name not in self._places:
                self._places[name] = gl.glGetUniformLocation(self.id, name.encode())
            self._send(self._places[name], array)

    @staticmethod
    def _send(place: int, array: NDArray) -> None:
        if array.dtype == np.int32:
            gl.glUniform1i(place, int(array.flat[0]))
            return
        data = array.ctypes.data_as(ctypes.POINTER(gl.GLfloat))
        vectors = {1: gl.glUniform1fv, 2: gl.glUniform2fv, 3: gl.glUniform3fv, 4: gl.glUniform4fv}
        if array.ndim < 2:
            vectors[array.size](place, 1, data)
        elif array.shape[-1] == 1:
            vectors[array.shape[1] if array.ndim == 3 else 1](place, len(array), data)
        elif array.shape == (4, 4):
            gl.glUniformMatrix4fv(place, 1, gl.GL_TRUE, data)
        else:
            gl.glUniformMatrix3fv(place, array.size // 9, gl.GL_TRUE, data)

    def close(self) -> None:
        """Give it back."""
        gl.glDeleteProgram(self.id)


def linked_program(stages: Mapping[int, str], captured: bytes | None = None) -> int:
    """A linked program of these stages, whose output `captured` goes to transform feedback.

    Raises MoueError with the driver's first words where it refuses one.
    """
    program = gl.glCreateProgram()
    for stage, text in stages.items():
        shader, coded = gl.glCreateShader(stage), text.encode()
        gl.glShaderSource(shader, 1, ctypes.byref(_characters(coded)), gl.GLint(len(coded)))
        gl.glCompileShader(shader)
        _accepted(shader, gl.glGetShaderiv, gl.GL_COMPILE_STATUS, gl.glGetShaderInfoLog)
        gl.glAttachShader(program, shader)
        gl.glDeleteShader(shader)
    if captured is not None:
        gl.glTransformFeedbackVaryings(program, 1, ctypes.byref(_characters(captured)), gl.GL_INTERLEAVED_ATTRIBS)
    gl.glLinkProgram(program)
    _accepted(program, gl.glGetProgramiv, gl.GL_LINK_STATUS, gl.glGetProgramInfoLog)
    return program


def _characters(text: bytes) -> ctypes._Pointer[gl.GLchar]:
    return ctypes.cast(ctypes.c_char_p(text), ctypes.POINTER(gl.GLchar))


def _accepted(thing: int, ask, status: int, ask_words) -> None:  # type: ignore[no-untyped-def]
    accepted = gl.GLint()
    ask(thing, status, ctypes.byref(accepted))
    if not accepted.value:
        words = ctypes.create_string_buffer(1024)
        ask_words(thing, 1024, None, words)
        raise MoueError(f"the graphics driver refuses a shader: {words.value.decode(errors='replace')}")
