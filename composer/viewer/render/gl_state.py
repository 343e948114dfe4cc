"""What draws, and the values of GL's state."""

from __future__ import annotations

import ctypes

from pyglet import gl


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


def new_texture() -> int:
    """The GL name of a new texture."""
    name = gl.GLuint()
    gl.glGenTextures(1, ctypes.byref(name))
    return name.value
