"""Pictures on the card: textures that hold a given picture, and framebuffers that are drawn into."""

from __future__ import annotations

import ctypes

import numpy as np
from numpy.typing import NDArray
from pyglet import gl

from composer.viewer.render.gl_state import integer, new_texture


class Picture:
    """A texture that holds a picture given by the caller, smaller ones of it included."""

    def __init__(self, raw: bool = False) -> None:
        """A `raw` one keeps sRGB as it is, and alpha; else colours are read as linear light."""
        self.id, self._raw = new_texture(), raw
        self._given: NDArray | None = None

    def use(self, unit: int, picture: NDArray[np.uint8]) -> None:
        """Bind it to a texture unit, showing `picture` (h, w, 3) sRGB, or (h, w, 4) of a raw one, upper row
        first."""
        gl.glActiveTexture(gl.GL_TEXTURE0 + unit)
        gl.glBindTexture(gl.GL_TEXTURE_2D, self.id)
        if picture is self._given:
            return
        self._given = picture
        flipped = np.ascontiguousarray(picture[::-1, :, : 4 if self._raw else 3])
        height, width = flipped.shape[:2]
        inside, given = (gl.GL_RGBA8, gl.GL_RGBA) if self._raw else (gl.GL_SRGB8, gl.GL_RGB)
        gl.glPixelStorei(gl.GL_UNPACK_ALIGNMENT, 1)
        gl.glTexImage2D(
            gl.GL_TEXTURE_2D, 0, inside, width, height, 0, given, gl.GL_UNSIGNED_BYTE, flipped.ctypes.data
        )
        gl.glPixelStorei(gl.GL_UNPACK_ALIGNMENT, 4)
        gl.glGenerateMipmap(gl.GL_TEXTURE_2D)
        gl.glTexParameteri(gl.GL_TEXTURE_2D, gl.GL_TEXTURE_MIN_FILTER, gl.GL_LINEAR_MIPMAP_LINEAR)
        gl.glTexParameteri(gl.GL_TEXTURE_2D, gl.GL_TEXTURE_MAG_FILTER, gl.GL_LINEAR)
        if self._raw:  # an edge is no mixture with the other side
            for axis in (gl.GL_TEXTURE_WRAP_S, gl.GL_TEXTURE_WRAP_T):
                gl.glTexParameteri(gl.GL_TEXTURE_2D, axis, gl.GL_CLAMP_TO_EDGE)

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
        self.texture = 0 if samples else new_texture()
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
