"""What the current OpenGL context allows: which way of posing, how much memory, how large a buffer."""

from __future__ import annotations

import ctypes
from typing import Literal

from pyglet import gl
from pyglet.gl.gl_info import GLInfo

from composer.errors import MoueError

Way = Literal["compute", "feedback"]
"""How the card poses: by compute shaders over storage buffers, or by transform feedback over texture buffers."""
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
    info, kilobytes = context_info(), (gl.GLint * 4)()
    if info.have_extension("GL_NVX_gpu_memory_info"):
        gl.glGetIntegerv(_NVX_FREE_KB, kilobytes)
    elif info.have_extension("GL_ATI_meminfo"):
        gl.glGetIntegerv(_ATI_FREE_KB, kilobytes)
    return 1024 * int(kilobytes[0]) or None


def largest_buffer(way: Way) -> int:
    """Bytes that one buffer may have for a shader to read all of it."""
    limit = gl.GLint()
    of = gl.GL_MAX_SHADER_STORAGE_BLOCK_SIZE if way == "compute" else gl.GL_MAX_TEXTURE_BUFFER_SIZE
    gl.glGetIntegerv(of, ctypes.byref(limit))
    return int(limit.value) * (1 if way == "compute" else 4)
