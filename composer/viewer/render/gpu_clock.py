"""How long the card works at something, by queries whose answers are fetched some frames later, so nothing waits."""

from __future__ import annotations

import ctypes

from pyglet import gl

WAITING = 6
"""Most queries that are under way; while they are, no further one is begun."""


class GpuClock:
    """Measures what is drawn between `begin` and `end`; what is said at its end comes back."""

    def __init__(self) -> None:
        self._asked: list[tuple[int, int, bool]] = []
        self._running = False

    def begin(self) -> None:
        """Start; nothing is measured where too many answers are awaited."""
        if len(self._asked) >= WAITING:
            return
        name = gl.GLuint()
        gl.glGenQueries(1, ctypes.byref(name))
        self._now = name.value
        gl.glBeginQuery(gl.GL_TIME_ELAPSED, self._now)
        self._running = True

    def end(self, pixels: int, kind: bool) -> None:
        """Stop; `pixels` and `kind` are given back with the time; without pixels nothing was drawn, and it is left
        out."""
        if not self._running:
            return
        gl.glEndQuery(gl.GL_TIME_ELAPSED)
        self._running = False
        if pixels:
            self._asked.append((self._now, pixels, kind))
        else:
            gl.glDeleteQueries(1, ctypes.byref(gl.GLuint(self._now)))

    def answers(self) -> list[tuple[float, int, bool]]:
        """What is known by now: seconds, and what was given."""
        done = []
        while self._asked:
            name, pixels, kind = self._asked[0]
            ready = gl.GLint()
            gl.glGetQueryObjectiv(name, gl.GL_QUERY_RESULT_AVAILABLE, ready)
            if not ready.value:
                break
            took = gl.GLuint64()
            gl.glGetQueryObjectui64v(name, gl.GL_QUERY_RESULT, took)
            gl.glDeleteQueries(1, ctypes.byref(gl.GLuint(name)))
            del self._asked[0]
            done.append((took.value * 1e-9, pixels, kind))
        return done

    def close(self) -> None:
        """Give everything back."""
        for name, _, _ in self._asked:
            gl.glDeleteQueries(1, ctypes.byref(gl.GLuint(name)))
        self._asked.clear()
