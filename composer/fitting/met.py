"""How lips and lids close that close in a shape: what is told of a carried one, and what must not be lost again."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.contact.across import Across

Floats = NDArray[np.float64]
LIDS_OPEN, LIPS_OPEN = 0.004, 0.006
"""Of the lines' length: by how much wider than on the old head, in the mean, lids and lips that close may become where
that parts triangles which cross: 0.14 mm (a blink that is 0.2 mm wider is seen) and 0.3 mm (our choice). No pair of
lids may become wider by more."""


@dataclass(frozen=True, eq=False)
class Met:
    """How one meeting closes in one shape: mean gaps in mm of the pairs that close, on the `own` old head (at the new
    one's size), `plain` and `now`; `short_mm`, the most that any pair lacks now; `held_mm`, the most that the bounds
    cut off; the closing `vertices` (k,) of the head, and how much `wider_mm` (k,) than the old head's each gap is."""

    name: str
    own_mm: float
    plain_mm: float
    now_mm: float
    short_mm: float
    held_mm: float
    vertices: NDArray[np.int32]
    wider_mm: Floats

    @property
    def numbers(self) -> dict[str, object]:
        """Plain values for JSON."""
        named = ("own_mm", "plain_mm", "now_mm", "short_mm", "held_mm")
        return {"name": self.name, "pairs": len(self.vertices)} | {key: getattr(self, key) for key in named}


@dataclass(frozen=True, eq=False)
class Closing:
    """The pairs of one meeting that close in one shape: the `patch` (m,) of the skin on which they lie `across` each
    other, at `rest` (m, 3) mm, the gaps (p, 3) that they are to have, the old head's own (p,) mm at the new one's size,
    the lines' length, the most that bounds cut off, and whether they are lids."""

    name: str
    patch: NDArray[np.int64]
    rest: Floats
    across: Across
    gaps: Floats
    own_mm: Floats
    length_mm: float
    held_mm: float
    lids: bool

    def now(self, displacement: NDArray) -> Floats:
        """(p, 3) mm, the gaps where the skin has moved by a `displacement` (s, 3)."""
        return self.across.gaps(self.rest + displacement[self.patch])

    def holds(self, displacement: NDArray, before: NDArray) -> bool:
        """Whether they close by a displacement (s, 3) nearly as far as by the one `before` (s, 3) or as the old head's.
        """
        may = (LIDS_OPEN if self.lids else LIPS_OPEN) * self.length_mm
        now, was = (np.linalg.norm(self.now(each), axis=1) for each in (displacement, before))
        even = not self.lids or float((now - np.maximum(was, self.own_mm)).max()) <= may
        return even and float(now.mean()) <= max(float(was.mean()), float(self.own_mm.mean()) + may)

    def told(self, plain: NDArray, displacement: NDArray, skin: NDArray) -> Met:
        """What is told of them, by a displacement (s, 3) of the skin's vertices `skin` (s,) and the `plain` one."""
        now = self.now(displacement)
        wide, plain_mm = np.linalg.norm(now, axis=1), np.linalg.norm(self.now(plain), axis=1)
        at = skin[self.patch[self.across.vertices]]
        order = np.argsort(at, kind="stable")
        return Met(
            self.name, float(self.own_mm.mean()), float(plain_mm.mean()), float(wide.mean()),
            float(np.linalg.norm(self.gaps - now, axis=1).max()), self.held_mm, at[order].astype(np.int32),
            np.maximum(wide - self.own_mm, 0.0)[order],
        )  # fmt: skip
