"""Dear ImGui on a pyglet window: events in, triangles out, nothing but `pyglet.gl`.

Written for Dear ImGui 1.92 and later: textures are asked for frame by frame (`renderer_has_textures`) and drawn
from 32 bit vertices with offsets. Events are handed on only where ImGui does not want them: `wants_mouse` and
`wants_keys` say so; releases and motion always pass. Source: the backend notes in Dear ImGui's own
`docs/BACKENDS.md`.
"""

from __future__ import annotations

import ctypes
import time
from typing import Any

import numpy as np
from imgui_bundle import imgui
from pyglet import gl
from pyglet.window import key, mouse

_VERTEX = """#version 330 core
layout(location = 0) in vec2 place;
layout(location = 1) in vec2 uv;
layout(location = 2) in vec4 colour;
uniform vec2 size;
out vec2 at;
out vec4 tint;
void main() {
  at = uv;
  tint = colour;
  gl_Position = vec4(2.0 * place.x / size.x - 1.0, 1.0 - 2.0 * place.y / size.y, 0.0, 1.0);
}
"""
_FRAGMENT = """#version 330 core
in vec2 at;
in vec4 tint;
uniform sampler2D picture;
out vec4 colour;
void main() { colour = tint * texture(picture, at); }
"""
K = imgui.Key
_NAMED = {
    key.TAB: K.tab, key.LEFT: K.left_arrow, key.RIGHT: K.right_arrow, key.UP: K.up_arrow, key.DOWN: K.down_arrow,
    key.PAGEUP: K.page_up, key.PAGEDOWN: K.page_down, key.HOME: K.home, key.END: K.end, key.INSERT: K.insert,
    key.DELETE: K.delete, key.BACKSPACE: K.backspace, key.SPACE: K.space, key.RETURN: K.enter,
    key.ENTER: K.keypad_enter, key.ESCAPE: K.escape, key.LSHIFT: K.left_shift, key.RSHIFT: K.right_shift,
    key.LCTRL: K.left_ctrl, key.RCTRL: K.right_ctrl, key.LALT: K.left_alt, key.RALT: K.right_alt,
    key.LCOMMAND: K.left_super, key.RCOMMAND: K.right_super, key.COMMA: K.comma, key.PERIOD: K.period,
    key.MINUS: K.minus, key.EQUAL: K.equal, key.SLASH: K.slash, key.BACKSLASH: K.backslash,
    key.BRACKETLEFT: K.left_bracket, key.BRACKETRIGHT: K.right_bracket, key.SEMICOLON: K.semicolon,
    key.NUM_ADD: K.keypad_add, key.NUM_SUBTRACT: K.keypad_subtract, key.NUM_ENTER: K.keypad_enter,
    key.NUM_DECIMAL: K.keypad_decimal,
}  # fmt: skip
_NAMED |= {getattr(key, letter): getattr(K, letter.lower()) for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ"}
_NAMED |= {getattr(key, f"_{digit}"): getattr(K, f"_{digit}") for digit in range(10)}
_NAMED |= {getattr(key, f"NUM_{digit}"): getattr(K, f"keypad{digit}") for digit in range(10)}
_NAMED |= {getattr(key, f"F{i}"): getattr(K, f"f{i}") for i in range(1, 13)}
_MODIFIERS = (
    (K.mod_ctrl, key.MOD_CTRL, (key.LCTRL, key.RCTRL)),
    (K.mod_shift, key.MOD_SHIFT, (key.LSHIFT, key.RSHIFT)),
    (K.mod_alt, key.MOD_ALT, (key.LALT, key.RALT)),
    (K.mod_super, key.MOD_COMMAND, (key.LCOMMAND, key.RCOMMAND)),
)
_BUTTONS = {mouse.LEFT: 0, mouse.RIGHT: 1, mouse.MIDDLE: 2}


class ImGuiOnPyglet:
    """ImGui's input and drawing for one window whose GL context is current."""

    def __init__(self, window: Any) -> None:
        self._window = window
        self.context = imgui.create_context()
        self.io = imgui.get_io()
        self.io.set_ini_filename("")
        self.io.backend_flags |= imgui.BackendFlags_.renderer_has_textures
        self.io.backend_flags |= imgui.BackendFlags_.renderer_has_vtx_offset
        self.io.config_flags |= imgui.ConfigFlags_.nav_enable_keyboard
        self.io.config_error_recovery_enable_assert = False
        self._last = time.perf_counter()
        self._program = _program()
        self._size_at = gl.glGetUniformLocation(self._program, b"size")
        self._picture_at = gl.glGetUniformLocation(self._program, b"picture")
        self._array, self._vertices, self._indices = (
            _name(gl.glGenVertexArrays),
            _name(gl.glGenBuffers),
            _name(gl.glGenBuffers),
        )
        gl.glBindVertexArray(self._array)
        gl.glBindBuffer(gl.GL_ARRAY_BUFFER, self._vertices)
        gl.glBindBuffer(gl.GL_ELEMENT_ARRAY_BUFFER, self._indices)
        for place, count, kind, even, offset in (
            (0, 2, gl.GL_FLOAT, 0, 0), (1, 2, gl.GL_FLOAT, 0, 8), (2, 4, gl.GL_UNSIGNED_BYTE, 1, 16)
        ):  # fmt: skip
            gl.glEnableVertexAttribArray(place)
            gl.glVertexAttribPointer(place, count, kind, even, imgui.VERTEX_SIZE, ctypes.c_void_p(offset))
        gl.glBindVertexArray(0)

    @property
    def wants_mouse(self) -> bool:
        """Whether the pointer is over a panel, or a panel holds it."""
        return bool(self.io.want_capture_mouse)

    @property
    def wants_keys(self) -> bool:
        """Whether a text field is being typed in."""
        return bool(self.io.want_text_input)

    @property
    def menu_open(self) -> bool:
        """Whether a menu or a list has dropped down, or a sheet asks something."""
        anything = imgui.PopupFlags_.any_popup_id | imgui.PopupFlags_.any_popup_level
        return bool(imgui.is_popup_open("", anything))

    @property
    def waiting(self) -> bool:
        """Whether ImGui holds events back for later frames, as it does with what is typed quickly."""
        return len(imgui.get_current_context().input_events_queue) > 0

    # What a window is told goes to ImGui first.

    def moved(self, x: float, y: float) -> None:
        """The pointer is at (x, y), y from the bottom, as pyglet says it."""
        self.io.add_mouse_pos_event(x, self._window.height - y)

    def left(self) -> None:
        """The pointer has left the window."""
        self.io.add_mouse_pos_event(-3.4e38, -3.4e38)

    def button(self, button: int, down: bool) -> None:
        """A mouse button went down or up."""
        if button in _BUTTONS:
            self.io.add_mouse_button_event(_BUTTONS[button], down)

    def wheel(self, dx: float, dy: float) -> None:
        """The wheel turned."""
        self.io.add_mouse_wheel_event(-dx, dy)

    def key(self, symbol: int, modifiers: int, down: bool) -> None:
        """A key went down or up, with modifiers as they were before."""
        for name, bit, own in _MODIFIERS:
            self.io.add_key_event(name, down if symbol in own else bool(modifiers & bit))
        if symbol in _NAMED:
            self.io.add_key_event(_NAMED[symbol], down)

    def text(self, words: str) -> None:
        """Characters were typed; control characters are left out."""
        kept = "".join(c for c in words if c.isprintable())
        if kept:
            self.io.add_input_characters_utf8(kept)

    def focus(self, has_focus: bool) -> None:
        """The window came to the front, or lost it."""
        self.io.add_focus_event(has_focus)

    # One frame.

    def begin(self) -> None:
        """Begin a frame: size, scale and time."""
        now = time.perf_counter()
        self.io.delta_time = max(1e-4, min(now - self._last, 0.25))
        self._last = now
        width, height = self._window.get_size()
        deep = self._window.get_framebuffer_size()
        self.io.display_size = imgui.ImVec2(width, height)
        if width and height:
            self.io.display_framebuffer_scale = imgui.ImVec2(deep[0] / width, deep[1] / height)
        imgui.new_frame()

    def drop(self) -> None:
        """End the frame without drawing it: only its controls were asked for."""
        imgui.end_frame()

    def end(self) -> None:
        """End the frame and draw it into the framebuffer that is bound."""
        imgui.render()
        self._serve_textures()
        data = imgui.get_draw_data()
        scale = data.framebuffer_scale
        width, height = int(data.display_size.x * scale.x), int(data.display_size.y * scale.y)
        if width <= 0 or height <= 0:
            return
        gl.glViewport(0, 0, width, height)
        gl.glEnable(gl.GL_BLEND)
        gl.glBlendFuncSeparate(gl.GL_SRC_ALPHA, gl.GL_ONE_MINUS_SRC_ALPHA, gl.GL_ONE, gl.GL_ONE_MINUS_SRC_ALPHA)
        gl.glDisable(gl.GL_CULL_FACE)
        gl.glDisable(gl.GL_DEPTH_TEST)
        gl.glEnable(gl.GL_SCISSOR_TEST)
        gl.glUseProgram(self._program)
        gl.glUniform2f(self._size_at, data.display_size.x, data.display_size.y)
        gl.glUniform1i(self._picture_at, 0)
        gl.glActiveTexture(gl.GL_TEXTURE0)
        gl.glBindVertexArray(self._array)
        gl.glBindBuffer(gl.GL_ARRAY_BUFFER, self._vertices)
        wide = gl.GL_UNSIGNED_SHORT if imgui.INDEX_SIZE == 2 else gl.GL_UNSIGNED_INT
        for drawn in data.cmd_lists:
            self._send(gl.GL_ARRAY_BUFFER, drawn.vtx_buffer.data_address(), drawn.vtx_buffer.size() * imgui.VERTEX_SIZE)
            self._send(
                gl.GL_ELEMENT_ARRAY_BUFFER, drawn.idx_buffer.data_address(), drawn.idx_buffer.size() * imgui.INDEX_SIZE
            )
            for command in drawn.cmd_buffer:
                left, top, right, bottom = (
                    int(command.clip_rect.x * scale.x), int(command.clip_rect.y * scale.y),
                    int(np.ceil(command.clip_rect.z * scale.x)), int(np.ceil(command.clip_rect.w * scale.y)),
                )  # fmt: skip
                if right <= left or bottom <= top:
                    continue
                gl.glScissor(left, height - bottom, right - left, bottom - top)
                gl.glBindTexture(gl.GL_TEXTURE_2D, int(command.tex_ref.get_tex_id()))
                gl.glDrawElementsBaseVertex(
                    gl.GL_TRIANGLES, command.elem_count, wide,
                    ctypes.c_void_p(command.idx_offset * imgui.INDEX_SIZE), command.vtx_offset,
                )  # fmt: skip
        gl.glDisable(gl.GL_SCISSOR_TEST)
        gl.glBindVertexArray(0)
        gl.glUseProgram(0)

    def close(self) -> None:
        """Give back textures, buffers and the context."""
        for texture in imgui.get_platform_io().textures:
            if texture.ref_count == 1:
                _free_texture(texture)
        imgui.destroy_context(self.context)
        gl.glDeleteProgram(self._program)
        gl.glDeleteVertexArrays(1, gl.GLuint(self._array))
        gl.glDeleteBuffers(2, (gl.GLuint * 2)(self._vertices, self._indices))

    def _send(self, target: int, address: int, size: int) -> None:
        gl.glBufferData(target, size, ctypes.c_void_p(int(address)), gl.GL_STREAM_DRAW)

    def _serve_textures(self) -> None:
        status = imgui.ImTextureStatus
        for texture in imgui.get_platform_io().textures:
            if texture.status == status.want_create:
                texture.set_tex_id(
                    picture_texture(texture.get_pixels_array().reshape(texture.height, texture.width, 4))
                )
                texture.set_status(status.ok)
            elif texture.status == status.want_updates:
                gl.glBindTexture(gl.GL_TEXTURE_2D, int(texture.get_tex_id()))
                whole = texture.get_pixels_array().reshape(texture.height, texture.width, 4)
                for part in texture.updates:
                    piece = np.ascontiguousarray(whole[part.y : part.y + part.h, part.x : part.x + part.w])
                    gl.glPixelStorei(gl.GL_UNPACK_ALIGNMENT, 1)
                    gl.glTexSubImage2D(
                        gl.GL_TEXTURE_2D, 0, part.x, part.y, part.w, part.h, gl.GL_RGBA, gl.GL_UNSIGNED_BYTE,
                        piece.ctypes.data_as(ctypes.c_void_p),
                    )  # fmt: skip
                texture.set_status(status.ok)
            elif texture.status == status.want_destroy and texture.unused_frames > 0:
                _free_texture(texture)


def picture_texture(pixels: np.ndarray) -> int:
    """The GL name of a new texture holding a picture (h, w, 4) uint8, its first row the upper one."""
    held = np.ascontiguousarray(pixels, dtype=np.uint8)
    name = _name(gl.glGenTextures)
    gl.glBindTexture(gl.GL_TEXTURE_2D, name)
    for key_, value in (
        (gl.GL_TEXTURE_MIN_FILTER, gl.GL_LINEAR), (gl.GL_TEXTURE_MAG_FILTER, gl.GL_LINEAR),
        (gl.GL_TEXTURE_WRAP_S, gl.GL_CLAMP_TO_EDGE), (gl.GL_TEXTURE_WRAP_T, gl.GL_CLAMP_TO_EDGE),
    ):  # fmt: skip
        gl.glTexParameteri(gl.GL_TEXTURE_2D, key_, value)
    gl.glPixelStorei(gl.GL_UNPACK_ALIGNMENT, 1)
    gl.glTexImage2D(
        gl.GL_TEXTURE_2D, 0, gl.GL_RGBA, held.shape[1], held.shape[0], 0, gl.GL_RGBA, gl.GL_UNSIGNED_BYTE,
        held.ctypes.data_as(ctypes.c_void_p),
    )  # fmt: skip
    return name


def delete_texture(name: int) -> None:
    """Give a texture back."""
    gl.glDeleteTextures(1, gl.GLuint(name))


def _free_texture(texture: Any) -> None:
    delete_texture(int(texture.get_tex_id()))
    texture.set_tex_id(0)
    texture.set_status(imgui.ImTextureStatus.destroyed)


def _name(make: Any) -> int:
    held = gl.GLuint()
    make(1, held)
    return int(held.value)


def _program() -> int:
    program = gl.glCreateProgram()
    for kind, text in ((gl.GL_VERTEX_SHADER, _VERTEX), (gl.GL_FRAGMENT_SHADER, _FRAGMENT)):
        shader = gl.glCreateShader(kind)
        source = ctypes.create_string_buffer(text.encode())
        pointer = ctypes.cast(ctypes.pointer(ctypes.pointer(source)), ctypes.POINTER(ctypes.POINTER(gl.GLchar)))
        gl.glShaderSource(shader, 1, pointer, None)
        gl.glCompileShader(shader)
        gl.glAttachShader(program, shader)
    gl.glLinkProgram(program)
    done = gl.GLint()
    gl.glGetProgramiv(program, gl.GL_LINK_STATUS, done)
    if not done.value:
        raise RuntimeError("the panels' shader does not link on this driver")
    return int(program)
