"""Whether frames have time for soft shadows and ambient occlusion: on while they stay above 30 a second.

What switches off and on again must not flicker, so it comes back only where a frame is foretold to take two thirds of
what it may: from the last frames with them, the picture's size, and how much longer or shorter plain frames take now;
and each time that it has failed, it waits three times as many frames.
"""

from __future__ import annotations

from statistics import median

MOST_SECONDS = 1.0 / 30.0
"""The longest a frame may take."""
AGAIN = 2.0 / 3.0
"""Share of that below which they come back."""
KEPT, NEEDED = 8, 5
"""Frames that are kept of a kind, and how many of them are needed to judge by (our choice)."""
WAIT = 24
"""Plain frames that pass before they come back for the first time (our choice)."""


class TimeForMore:
    """The law; it is told of every frame and asked before each."""

    def __init__(self, software: bool) -> None:
        """Where the processor draws (`software`), there is never time."""
        self.software = software
        self.forget()

    def forget(self) -> None:
        """Another head: begin anew."""
        self._on = not self.software
        self._more: list[float] = []
        self._plain: list[float] = []
        self._failed: tuple[float, int] | None = None  # seconds a frame, and its pixels
        self._times, self._waited = 0, 0  # how often it failed, and plain frames since
        self._plain_then: float | None = None  # seconds of a plain frame just after, for as many pixels

    @property
    def on(self) -> bool:
        """Whether the next frame has them."""
        return self._on

    def took(self, seconds: float, pixels: int) -> None:
        """A frame of the kind that `on` says took `seconds` for a picture of so many pixels."""
        if self.software or pixels <= 0 or not seconds > 0.0:
            return
        held = self._more if self._on else self._plain
        held.append(seconds / pixels)
        self._waited += not self._on
        del held[:-KEPT]
        if len(held) < NEEDED:
            return
        each = median(held)
        if self._on:
            if each * pixels > MOST_SECONDS:
                self._on, self._failed, self._plain_then = False, (each * pixels, pixels), None
                self._times, self._waited = self._times + 1, 0
                self._plain.clear()
        elif self._plain_then is None:
            self._plain_then = each
        elif self._failed is not None:
            slow, then = self._failed
            foretold = slow * (pixels / then) * (each / self._plain_then)
            if foretold < AGAIN * MOST_SECONDS and self._waited >= WAIT * 3 ** (self._times - 1):
                self._on = True
                self._more.clear()
