"""Frames that nobody looks at: everything is sent to GL, but no pixel of it is filled in.

Without a graphics card, filling a window takes three quarters of the processor time of a frame, and a test looks at
few of the frames that it lets pass. Here the head and the controls of a frame go through all of the window's own code
and into GL, which is told to throw the triangles away. Within `looked_at` frames are drawn whole; the head, which the
window draws again only where something has changed, is then drawn as it was last asked for. What a frame reads back
itself, small pictures and poses, is always drawn.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from typing import Any

import pytest

_looked_at = False


@contextmanager
def looked_at() -> Iterator[None]:
    """The frames within are drawn whole."""
    global _looked_at
    before, _looked_at = _looked_at, True
    try:
        yield
    finally:
        _looked_at = before


@contextmanager
def _thrown_away() -> Iterator[None]:
    from pyglet import gl

    gl.glEnable(gl.GL_RASTERIZER_DISCARD)
    try:
        yield
    finally:
        gl.glDisable(gl.GL_RASTERIZER_DISCARD)


def leave_unseen(monkeypatch: pytest.MonkeyPatch) -> None:
    """Fill in no frames but those within `looked_at`."""
    from pyglet import gl  # only once pyglet knows that there is no display

    from composer.viewer.render.gl_canvas import Canvas
    from composer.viewer.render.view3d import View3D
    from composer.viewer.ui.imgui_pyglet import ImGuiOnPyglet

    end, draw, lay_ground, copy_to = ImGuiOnPyglet.end, View3D._draw, View3D._lay_ground, Canvas.copy_to
    hidden = False

    def ended(self: Any) -> None:
        with nullcontext() if _looked_at else _thrown_away():
            end(self)

    def drawn(self: Any, pose: Any, moved: bool, look: Any, eye: Any, size: Any, still: bool) -> int:
        nonlocal hidden
        if not _looked_at:
            before = self._drawn
            with _thrown_away():
                hidden = True
                try:
                    texture = draw(self, pose, moved, look, eye, size, still)
                finally:
                    hidden = False
            if self._drawn is not before:
                self.empty, self.stood_still = True, still
            return texture
        if getattr(self, "empty", False):
            held, self._drawn, self.empty = self._drawn, None, False
            same = held is not None and not moved and held[:2] == (eye, size) and look.same_as(self._look)
            still = still or (same and self.stood_still)
        return draw(self, pose, moved, look, eye, size, still)

    def laid(self: Any, target: Any) -> None:
        kept = self._canvases.get("ground")
        if hidden and not target.samples and (kept is None or kept.size != target.size):  # painted once a size
            gl.glDisable(gl.GL_RASTERIZER_DISCARD)
            lay_ground(self, target)
            gl.glEnable(gl.GL_RASTERIZER_DISCARD)
        else:
            lay_ground(self, target)

    def copied(self: Any, other: Any) -> None:
        if not hidden:
            copy_to(self, other)

    monkeypatch.setattr(ImGuiOnPyglet, "end", ended)
    monkeypatch.setattr(View3D, "_draw", drawn)
    monkeypatch.setattr(View3D, "_lay_ground", laid)
    monkeypatch.setattr(Canvas, "copy_to", copied)
