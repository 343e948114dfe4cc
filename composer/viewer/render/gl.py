"""The little of OpenGL 3.3 core that the window needs: programs, buffers, textures, framebuffers.

Only pyglet's bare GL calls. Every upload of vertices goes through `Buffer.hold`, which compares what the buffer has
with what it should have and sends the difference.
"""

from __future__ import annotations

import ctypes
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray
from pyglet import gl

VERSION = "#version 330 core\n"


def renderer() -> str:
    """The name of what draws, as the driver gives it."""
    text = ctypes.cast(gl.glGetString(gl.GL_RENDERER), ctypes.c_char_p).value
    return (text or b"").decode(errors="replace")


def is_software(name: str) -> bool:
    """Whether a renderer of this name draws on the processor."""
    return any(word in name.lower() for word in ("llvmpipe", "softpipe", "swrast", "software", "swiftshader"))


def integer(name: int) -> int:
    """The value of one integer of GL's state."""
    value = gl.GLint()
    gl.glGetIntegerv(name, ctypes.byref(value))
    return value.value


def shader_text(name: str) -> str:
    """The text of a file in `shaders/`."""
    return files("composer.viewer.render").joinpath("shaders", name).read_text(encoding="utf-8")


class Program:
    """Shaders linked together; uniforms are sent only where their value changes."""

    def __init__(self, vertex: str, fragment: str, geometry: str | None = None, defines: tuple[str, ...] = ()) -> None:
        """Take file names in `shaders/`; each of `defines` becomes a line `#define NAME`.

        Raises RuntimeError with the driver's words where one does not compile.
        """
        head = VERSION + "".join(f"#define {name}\n" for name in defines)
        kinds = ((gl.GL_VERTEX_SHADER, vertex), (gl.GL_GEOMETRY_SHADER, geometry), (gl.GL_FRAGMENT_SHADER, fragment))
        self.id = gl.glCreateProgram()
        shaders = [_compiled(kind, head, name) for kind, name in kinds if name is not None]
        for shader in shaders:
            gl.glAttachShader(self.id, shader)
        gl.glLinkProgram(self.id)
        for shader in shaders:
            gl.glDetachShader(self.id, shader)
            gl.glDeleteShader(shader)
        state = gl.GLint()
        gl.glGetProgramiv(self.id, gl.GL_LINK_STATUS, ctypes.byref(state))
        if not state.value:
            log = ctypes.create_string_buffer(8192)
            gl.glGetProgramInfoLog(self.id, len(log), None, log)
            raise RuntimeError(f"{vertex}, {fragment}: {log.value.decode(errors='replace')}")
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


def _compiled(kind: int, head: str, name: str) -> int:
    shader = gl.glCreateShader(kind)
    text = (head + shader_text(name)).encode()
    source = ctypes.cast(ctypes.c_char_p(text), ctypes.POINTER(gl.GLchar))
    gl.glShaderSource(shader, 1, ctypes.byref(source), ctypes.byref(gl.GLint(len(text))))
    gl.glCompileShader(shader)
    state = gl.GLint()
    gl.glGetShaderiv(shader, gl.GL_COMPILE_STATUS, ctypes.byref(state))
    if not state.value:
        log = ctypes.create_string_buffer(8192)
        gl.glGetShaderInfoLog(shader, len(log), None, log)
        raise RuntimeError(f"{name}: {log.value.decode(errors='replace')}")
    return shader


def difference(held: NDArray, wanted: NDArray) -> tuple[int, int]:
    """The smallest range (first, last) of rows outside which two arrays of one shape and type are the same bytes;
    (0, 0) where they are the same throughout.
    """
    if not held.size:
        return 0, 0
    one, two = (a.reshape(len(a), -1).view(np.uint8).reshape(len(a), -1) for a in (held, wanted))
    word = next(size for size in (4, 2, 1) if one.shape[1] % size == 0)
    kind = {4: np.uint32, 2: np.uint16, 1: np.uint8}[word]
    differs = one.view(kind) != two.view(kind)
    if not differs.any():
        return 0, 0
    rows = np.flatnonzero(differs.any(axis=1))
    return int(rows[0]), int(rows[-1]) + 1


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
        self.id = _texture()
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


class Picture:
    """A texture that holds a picture given by the caller, smaller ones of it included."""

    def __init__(self) -> None:
        self.id = _texture()
        self._given: NDArray | None = None

    def use(self, unit: int, picture: NDArray[np.uint8]) -> None:
        """Bind it to a texture unit, showing `picture` (h, w, 3) sRGB, upper row first."""
        gl.glActiveTexture(gl.GL_TEXTURE0 + unit)
        gl.glBindTexture(gl.GL_TEXTURE_2D, self.id)
        if picture is self._given:
            return
        self._given = picture
        flipped = np.ascontiguousarray(picture[::-1, :, :3])
        height, width = flipped.shape[:2]
        gl.glPixelStorei(gl.GL_UNPACK_ALIGNMENT, 1)
        gl.glTexImage2D(
            gl.GL_TEXTURE_2D, 0, gl.GL_SRGB8, width, height, 0, gl.GL_RGB, gl.GL_UNSIGNED_BYTE, flipped.ctypes.data
        )
        gl.glPixelStorei(gl.GL_UNPACK_ALIGNMENT, 4)
        gl.glGenerateMipmap(gl.GL_TEXTURE_2D)
        gl.glTexParameteri(gl.GL_TEXTURE_2D, gl.GL_TEXTURE_MIN_FILTER, gl.GL_LINEAR_MIPMAP_LINEAR)
        gl.glTexParameteri(gl.GL_TEXTURE_2D, gl.GL_TEXTURE_MAG_FILTER, gl.GL_LINEAR)

    def close(self) -> None:
        """Give it back."""
        gl.glDeleteTextures(1, ctypes.byref(gl.GLuint(self.id)))


class Canvas:
    """A framebuffer with colour and depth. With no samples its colour is a texture that can be shown."""

    def __init__(self, size: tuple[int, int], samples: int = 0) -> None:
        """Raises RuntimeError where the driver cannot make it."""
        self.size, self.samples = size, samples
        name = gl.GLuint()
        gl.glGenFramebuffers(1, ctypes.byref(name))
        self.id = name.value
        self.texture = 0 if samples else _texture()
        self._stores: list[int] = []
        width, height = size
        with _bound(self.id):
            if samples:
                self._attach(gl.GL_COLOR_ATTACHMENT0, gl.GL_RGBA8)
            else:
                gl.glBindTexture(gl.GL_TEXTURE_2D, self.texture)
                gl.glTexImage2D(
                    gl.GL_TEXTURE_2D, 0, gl.GL_RGBA8, width, height, 0, gl.GL_RGBA, gl.GL_UNSIGNED_BYTE, None
                )
                for name_, value in (
                    (gl.GL_TEXTURE_MIN_FILTER, gl.GL_LINEAR), (gl.GL_TEXTURE_MAG_FILTER, gl.GL_LINEAR),
                    (gl.GL_TEXTURE_WRAP_S, gl.GL_CLAMP_TO_EDGE), (gl.GL_TEXTURE_WRAP_T, gl.GL_CLAMP_TO_EDGE),
                ):  # fmt: skip
                    gl.glTexParameteri(gl.GL_TEXTURE_2D, name_, value)
                gl.glFramebufferTexture2D(gl.GL_FRAMEBUFFER, gl.GL_COLOR_ATTACHMENT0, gl.GL_TEXTURE_2D, self.texture, 0)
            self._attach(gl.GL_DEPTH_ATTACHMENT, gl.GL_DEPTH_COMPONENT24)
            state = gl.glCheckFramebufferStatus(gl.GL_FRAMEBUFFER)
        if state != gl.GL_FRAMEBUFFER_COMPLETE:
            raise RuntimeError(f"no framebuffer of {width} x {height} with {samples} samples (state {state:#x})")

    def _attach(self, place: int, form: int) -> None:
        name = gl.GLuint()
        gl.glGenRenderbuffers(1, ctypes.byref(name))
        self._stores.append(name.value)
        gl.glBindRenderbuffer(gl.GL_RENDERBUFFER, name.value)
        gl.glRenderbufferStorageMultisample(gl.GL_RENDERBUFFER, self.samples, form, *self.size)
        gl.glFramebufferRenderbuffer(gl.GL_FRAMEBUFFER, place, gl.GL_RENDERBUFFER, name.value)

    def bound(self) -> _bound:
        """A context in which drawing goes here; afterwards it goes where it went before."""
        return _bound(self.id)

    def copy_to(self, other: Canvas) -> None:
        """Its colours, resolved or made smaller, to another canvas."""
        gl.glBindFramebuffer(gl.GL_READ_FRAMEBUFFER, self.id)
        gl.glBindFramebuffer(gl.GL_DRAW_FRAMEBUFFER, other.id)
        smooth = gl.GL_NEAREST if self.size == other.size else gl.GL_LINEAR
        gl.glBlitFramebuffer(0, 0, *self.size, 0, 0, *other.size, gl.GL_COLOR_BUFFER_BIT, smooth)

    def pixels(self) -> NDArray[np.uint8]:
        """(height, width, 4) its colours, upper row first; only where there are no samples."""
        width, height = self.size
        data = np.empty((height, width, 4), dtype=np.uint8)
        with _bound(self.id):
            gl.glReadPixels(0, 0, width, height, gl.GL_RGBA, gl.GL_UNSIGNED_BYTE, data.ctypes.data)
        return data[::-1].copy()

    def close(self) -> None:
        """Give it back."""
        gl.glDeleteFramebuffers(1, ctypes.byref(gl.GLuint(self.id)))
        for store in self._stores:
            gl.glDeleteRenderbuffers(1, ctypes.byref(gl.GLuint(store)))
        if self.texture:
            gl.glDeleteTextures(1, ctypes.byref(gl.GLuint(self.texture)))


class _bound:
    """Drawing and reading go to a framebuffer within, and where they went before afterwards."""

    def __init__(self, name: int) -> None:
        self.name = name

    def __enter__(self) -> None:
        self.before = integer(gl.GL_DRAW_FRAMEBUFFER_BINDING)
        self.viewport = (gl.GLint * 4)()
        gl.glGetIntegerv(gl.GL_VIEWPORT, self.viewport)
        gl.glBindFramebuffer(gl.GL_FRAMEBUFFER, self.name)

    def __exit__(self, *_: object) -> None:
        gl.glBindFramebuffer(gl.GL_FRAMEBUFFER, self.before)
        gl.glViewport(*self.viewport)


def _texture() -> int:
    name = gl.GLuint()
    gl.glGenTextures(1, ctypes.byref(name))
    return name.value
