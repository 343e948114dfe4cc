"""What is drawn besides the bare head: colours over it, its wireframe, lines and marks on its surface.

A look holds arrays by identity: the view uploads them again only where another object is given, so an array that
belongs to a look is never changed in place.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from composer.picture.lamps import FOLLOWING

Colour = tuple[int, int, int, int]
INK: Colour = (38, 42, 50, 255)


@dataclass(frozen=True, eq=False)
class Line:
    """Segments on the surface, which follow every pose. Two rows of `a`, `b`, `t` make one, from the point of the
    first to that of the second: with (k,) vertices and shares, as `composer.geometry.contour.contour` gives them,
    the point
    (1 - t) P[a] + t P[b]; where `b` and `t` are (k, 2), as of `composer.geometry.contour.ring`,
    (1 - t0 - t1) P[a] + t0 P[b0] + t1 P[b1].

    `colour` is sRGB and opacity 0 to 255, `width` is in pixels; `dash` is the length of a dash and of a gap in
    pixels (0: a full line).
    """

    a: NDArray[np.integer]
    b: NDArray[np.integer]
    t: NDArray[np.floating]
    colour: Colour = INK
    width: float = 1.5
    dash: float = 0.0


@dataclass(frozen=True, eq=False)
class Mark:
    """A point of a polygon: the weights `bary` (c,) of its corners `corners` (c,), drawn as a disc `size` pixels
    across. `label` is the caller's number for it.
    """

    corners: NDArray[np.integer]
    bary: NDArray[np.floating]
    colour: Colour = INK
    size: float = 9.0
    label: int = -1


@dataclass(frozen=True, eq=False)
class Backdrop:
    """A `picture` (h, w, 4) uint8, sRGB and alpha, upper row first, that lies flat behind the head, or `over` it: its
    `middle` from that of the view (to the right, up) and its `height`, in heights of the view; `opacity` from 0 to 1.
    """

    picture: NDArray[np.uint8]
    middle: tuple[float, float] = (0.0, 0.0)
    height: float = 1.0
    opacity: float = 1.0
    over: bool = False

    def corners(self, size: tuple[int, int]) -> NDArray[np.float32]:
        """(4,) left, lower, right and upper in clip space, -1 to 1, in a view of `size` in pixels."""
        high, wide = self.picture.shape[:2]
        per_height = size[1] / size[0]
        half_wide, half_high = self.height * wide / high * per_height, self.height
        x, y = 2.0 * self.middle[0] * per_height, 2.0 * self.middle[1]
        return np.array([x - half_wide, y - half_high, x + half_wide, y + half_high], dtype=np.float32)


@dataclass(frozen=True, eq=False)
class Look:
    """What is drawn besides the bare head.

    `cover` (n, 4) uint8 is an sRGB colour and how much of the bone it hides; `wire` shows the cage's edges; `hidden`
    names parts that are left out, "skin" among them; `texture` (h, w, 3) uint8 sRGB, upper row first, is laid over
    the skin by the head's own texture coordinates; `light` is a name of `composer.picture.lamps.LIGHTS`; `backdrops`
    are shown where the ground is.
    """

    cover: NDArray[np.uint8] | None = None
    wire: bool = False
    lines: tuple[Line, ...] = ()
    marks: tuple[Mark, ...] = ()
    hidden: frozenset[str] = frozenset()
    texture: NDArray[np.uint8] | None = None
    light: str = FOLLOWING
    backdrops: tuple[Backdrop, ...] = ()

    def same_as(self, other: Look | None) -> bool:
        """Whether both draw the same: the same values, and the same array objects."""
        if other is None:
            return False
        for part in fields(self):
            one, two = getattr(self, part.name), getattr(other, part.name)
            if one is not two and (isinstance(one, np.ndarray) or isinstance(two, np.ndarray) or one != two):
                return False
        return True
