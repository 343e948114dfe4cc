"""Carrying: the displacements of one head made those of another head of the same topology.

Three ways, all linear or nearly so and all prepared once:
    delta     the displacement itself
    frame     turned and scaled by how each place of the new head stands beside the old one (`fitting.frames`)
    gradient  as frame, and over short ways the new skin deforms as the old one does, triangle by triangle
              (`fitting.carry_gradient`)

How large the whole displacement becomes on a head of another size is one rule for all three (`fitting.amplitude`).
The heads are first laid on each other by a similarity of their skins, so frame and gradient do not care how the new
head stands. Parts follow by `fitting.carry_parts`, and lips and lids keep touching by `fitting.contact`. Onto the same
neutral every way is the identity; all commute with a rigid motion and a uniform scale of both heads. Frame and
gradient commute with a rigid motion of the new head alone, and with its scale where displacements grow with the head. A
general affine map is not reproduced.
"""

from __future__ import annotations

from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.fitting.amplitude import Amplitude, amplitude_of
from composer.fitting.carry_gradient import GradientTransfer
from composer.fitting.carry_parts import CarriedParts
from composer.fitting.contact import Contact
from composer.fitting.frames import extent, local_frames, similarity_between
from composer.fitting.met import Met
from composer.geometry.polygons import Polygons
from composer.geometry.rigid import Similarity
from composer.geometry.surface import Surface
from composer.head.head import Head

Floats = NDArray[np.float64]
Way = Literal["delta", "frame", "gradient"]
WAYS: tuple[Way, ...] = ("delta", "frame", "gradient")
FRAME_RADIUS = 0.2
"""Of the head's size (`frames.extent`): frames are diffused over about this. Wide, so that they follow how the face
stands and not its wrinkles: on a library drawn from a linear model, where the true displacement is the old one, 0.02
errs by 0.12 in the median and 0.23 at worst, this by 0.06 and 0.1."""
HOLD_RADIUS = 0.01
"""Of the head's size: gradients are integrated over about this much before the frame's displacement holds them. Ten
times as much lets a lid's folds move the brow: a blink errs outside the lids by 1.5 times its own movement there."""
TRUST = 0.12
"""Of the frame's displacement: what gradients add to it at a place counts less and less beyond this share."""
STILL = 1e-4
"""Of the head's size: what no shape of the library moves further than this is anchored."""
ANCHOR = 1e3
"""How many times the Laplacian's own diagonal an anchor weighs."""


class Carrier:
    """From the displacements of `source` to those of the new head whose neutral is `target`; made once, used often."""

    def __init__(
        self, source: Head, target: NDArray, way: Way = "gradient", contact: bool = True,
        amplitude: Amplitude = "auto",
    ) -> None:  # fmt: skip
        """Take the old head, and the neutral (n, 3) mm of the new one, in the old one's topology and order.

        The old head's shapes say what no expression moves; that and the neck's border are anchored. With `contact`,
        lips and lids that touch on the old head touch on the new one, and lids keep off its eyeballs. `amplitude` says
        whether displacements grow with the head. Raises MoueError where the neutral does not fit, is not finite or has
        no size, and for an unknown way or amplitude.
        """
        if way not in WAYS:
            raise MoueError(f"there is no way {str(way)!r} to carry", hint="delta, frame or gradient")
        target = np.asarray(target, dtype=np.float64)
        if target.shape != source.neutral.shape:
            raise MoueError(f"the new neutral has {len(target)} vertices, the old one {source.n_vertices}")
        if not np.isfinite(target).all():
            bad = int(np.flatnonzero(~np.isfinite(target).all(axis=1))[0])
            raise MoueError(f"vertex {bad} of the new neutral has a position that is not a number")
        if not source.skin.any():
            raise MoueError("the old head is all parts and has no skin", hint="say what is a part in its document")
        sizes = [float(np.ptp(points[source.skin], axis=0).max()) for points in (source.neutral, target)]
        if not min(sizes) > 0.0:
            raise MoueError("a head without size cannot be carried")
        self.source, self.target, self.way = source, target, way
        self.skin = np.flatnonzero(source.skin)
        polygons = _within(source.polygons, source.skin)
        self.source_skin = Surface(polygons, source.neutral[self.skin])
        self.target_skin = Surface(polygons, target[self.skin])
        self.size = extent(self.source_skin.positions, self.source_skin.mass)
        self.touching = contact
        self.likeness = _laid_together(self.source_skin, self.target_skin)
        self.amplitude = amplitude_of(self.likeness.scale, amplitude)

    def carry(self, delta: NDArray) -> Floats:
        """(n, 3) mm, the displacement of the new head for a displacement (n, 3) mm of the old one."""
        return self.carry_and_tell(delta)[0]

    def carry_and_tell(self, delta: NDArray) -> tuple[Floats, list[Met]]:
        """The same, and how lips and lids close that do in it. Raises MoueError for another number of vertices."""
        delta = np.asarray(delta, dtype=np.float64)
        if delta.shape != self.source.neutral.shape:
            raise MoueError(f"a displacement of {len(delta)} vertices for a head of {self.source.n_vertices}")
        carried = np.zeros_like(delta)
        carried[self.skin] = self.carry_skin(delta[self.skin])
        met: list[Met] = []
        if self.contact is not None:
            carried[self.skin], met = self.contact(delta, carried[self.skin], self._laid(delta[self.skin]))
        return self.parts(delta, carried), met

    def carry_skin(self, delta: NDArray) -> Floats:
        """(s, 3) mm, the same for the skin alone, (s, 3) mm of the old head's."""
        if self.way == "delta":
            return self.amplitude * delta
        rotation, scale = self.frames
        framed = scale[:, None] * np.einsum("sij,sj->si", rotation, delta)
        if self.way == "gradient":
            framed += _trusted(framed, self._deformed(delta, framed) - framed)
        return self.amplitude / self.likeness.scale * framed

    def _laid(self, delta: NDArray) -> Floats:
        """(s, 3) mm, the skin's old displacement (s, 3) as the new head stands and as large."""
        return self.amplitude * (delta if self.way == "delta" else delta @ self.likeness.rotation.T)

    def _deformed(self, delta: NDArray, framed: NDArray) -> Floats:
        """(s, 3) mm, the displacement by gradients, held to the one by frames."""
        turn = self.likeness.rotation
        return self._gradient(delta, framed @ turn) @ turn.T

    @cached_property
    def frames(self) -> tuple[Floats, Floats]:
        """(s, 3, 3) how each place of the skin turned, and (s,) how it grew."""
        return local_frames(self.source_skin, self.target_skin, FRAME_RADIUS * self.size)

    @cached_property
    def parts(self) -> CarriedParts:
        """What carries eyeballs, teeth, tongue and lashes."""
        return CarriedParts(self.source, self.target, self.likeness, self.amplitude, turned=self.way != "delta")

    @cached_property
    def contact(self) -> Contact | None:
        """What keeps lips, lids and eyeballs in contact, where that is asked for."""
        if not self.touching:
            return None
        return Contact(
            self.source, self.source_skin, self.target_skin, self.likeness, self.parts, self.unmoved,
            self.size * self.likeness.scale,
        )  # fmt: skip

    @cached_property
    def unmoved(self) -> NDArray[np.bool_]:
        """(s,) the skin that no shape of the old head moves; nothing where it has none."""
        furthest = np.zeros(len(self.skin))
        for shape in self.source.shapes:
            for delta in (shape.delta, *(between.delta for between in shape.inbetweens)):
                moved = delta[self.skin]
                np.maximum(furthest, np.einsum("ij,ij->i", moved, moved, dtype=np.float64), out=furthest)
        return np.asarray((furthest <= (STILL * self.size) ** 2) & bool(self.source.shapes))

    @cached_property
    def anchored(self) -> NDArray[np.bool_]:
        """(s,) the skin that no shape of the old head moves, and its open border."""
        still = self.unmoved.copy()
        still[self.source_skin.polygons.border_vertices] = True
        return still

    @cached_property
    def _gradient(self) -> GradientTransfer:
        likeness, target = self.likeness, self.target_skin
        laid = target.at(target.positions @ likeness.rotation)
        hold = laid.mass / (HOLD_RADIUS * self.size * likeness.scale) ** 2
        hold = hold + ANCHOR * np.where(self.anchored, np.abs(laid.laplacian.diagonal()), 0.0)
        return GradientTransfer(self.source_skin, laid, likeness.scale, hold)


def _trusted(framed: NDArray, added: NDArray) -> Floats:
    """What gradients have `added` (s, 3) to the displacement `framed` (s, 3), less of it the more it exceeds a share of
    that: where little moves, much is a leak from folds beside it (the weight of Geman and McClure, 1987)."""
    most = np.maximum(TRUST * np.linalg.norm(framed, axis=1), np.finfo(float).tiny)
    over = np.minimum(np.linalg.norm(added, axis=1) / most, 1e6)
    return added / (1.0 + over**2)[:, None]


def _laid_together(source: Surface, target: Surface) -> Similarity:
    """The similarity between two skins, each place counted by its share of both surfaces."""
    weight = np.sqrt(source.mass / source.mass.sum() * target.mass / target.mass.sum())
    return similarity_between(source.positions, target.positions, weight)


def _within(polygons: Polygons, chosen: NDArray[np.bool_]) -> Polygons:
    """The polygons whose corners are all `chosen` (n,), over the chosen vertices alone."""
    kept = np.logical_and.reduceat(chosen[polygons.indices], polygons.starts[:-1])
    number = np.cumsum(chosen) - 1
    return Polygons(polygons.counts[kept], number[polygons.indices[kept[polygons.corner_face]]], int(chosen.sum()))
