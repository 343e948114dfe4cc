"""A whole library carried: the new head's neutral with every shape and in-between of the old head, and its hinges."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.fitting.amplitude import Amplitude, size_words
from composer.fitting.carry import Carrier, Way
from composer.fitting.met import Met
from composer.geometry.polygons import read_only
from composer.geometry.rigid import is_mirrored
from composer.head.head import Head, InBetween, Shape
from composer.head.order_difference import order_difference
from composer.head.places import Landmarks, Place, SurfacePoint
from composer.mixing.hinge import Hinge
from composer.mixing.hinge_estimate import estimate_hinge, worthwhile
from composer.progress import Progress

AGREE = 0.3
"""A hinge found on the new head is taken where its angle differs from the old one's by no more than this share."""


class HeadCarrier:
    """What carries the shapes of one head to a fitted one, each its own way; carriers are made when needed."""

    def __init__(
        self, head: Head, fitted: Head, way: Way = "gradient", ways: Mapping[str, Way] | None = None,
        contact: bool = True, amplitude: Amplitude = "auto",
    ) -> None:  # fmt: skip
        """Take the old `head`, the new one `fitted`, the `way` of all shapes and the `ways` of some by name; `contact`
        and `amplitude` are as in `Carrier`.

        `met` says by name how lips and lids close in the shapes that were carried so far.

        Raises MoueError where the fitted head is not of the old one's topology and order, with the first
        disagreement, for an unknown way or amplitude and for a way of a shape that is not there.
        """
        check_fits(head, fitted)
        self.head, self.fitted, self.way, self.contact = head, fitted, way, contact
        self.ways = dict(ways or {})
        for name in self.ways:
            head.shape(name)
        self.met: dict[str, list[Met]] = {}
        self._carriers: dict[Way, Carrier] = {}
        for each in {way, *self.ways.values()}:
            self._carriers[each] = Carrier(head, fitted.neutral, each, contact, amplitude)

    def way_of(self, name: str) -> Way:
        """The way a shape is carried."""
        return self.ways.get(name, self.way)

    def carry(self, name: str, delta: NDArray) -> NDArray[np.float64]:
        """(n, 3) mm, a displacement (n, 3) mm of the old head's shape `name` on the new head."""
        return self._carriers[self.way_of(name)].carry(delta)

    def shape(self, name: str) -> Shape:
        """A shape of the old head on the new one, in-betweens included. Raises MoueError for an unknown shape."""
        old = self.head.shape(name)
        between = tuple(InBetween(each.at, self._kept(name, each.delta)) for each in old.inbetweens)
        carried, self.met[name] = self._carriers[self.way_of(name)].carry_and_tell(old.delta)
        return Shape(name, read_only(carried.astype(np.float32)), between)

    def hinge(self, name: str, old: Hinge, delta: NDArray) -> Hinge:
        """The hinge of a carried shape: estimated on the new head from its `delta` (n, 3) mm, where that explains the
        shape and turns as far as the old hinge, else the old one turned and moved as the heads lie.

        Either is exact at weights 0 and 1; see `composer.mixing.hinge`.
        """
        try:
            found = estimate_hinge(self.fitted.surface, delta, name)
            if worthwhile(found) and abs(abs(found.angle) - abs(old.angle)) <= AGREE * abs(old.angle):
                return found
        except MoueError:
            pass  # it does not move, or on one line: the old hinge will do
        likeness = self._carriers[self.way_of(name)].likeness
        origin = likeness(old.origin[None])[0]
        return replace(old, axis=likeness.rotation @ old.axis, origin=origin)

    @property
    def size_words(self) -> str:
        """What a person should know of how the heads' sizes differ; "" where that is nothing."""
        carrier = self._carriers[self.way]
        return size_words(carrier.likeness.scale, carrier.amplitude)

    @property
    def scale(self) -> float:
        """How many times as large the new head is."""
        return self._carriers[self.way].likeness.scale

    def _kept(self, name: str, delta: NDArray) -> NDArray[np.float32]:
        carried = self.carry(name, delta).astype(np.float32)
        return read_only(carried)


def carried_head(carrier: HeadCarrier, progress: Progress | None = None) -> Head:
    """The fitted head, `dressed`, with every shape of the old one."""
    old = carrier.head
    shapes = []
    for done, shape in enumerate(old.shapes):
        if progress is not None:
            progress(done / len(old.shapes), f"carrying {shape.name}")
        shapes.append(carrier.shape(shape.name))
    return dressed(old, carrier.fitted).with_(shapes=tuple(shapes))


def dressed(old: Head, fitted: Head) -> Head:
    """The fitted head, without shapes, with the old one's parts and landmarks and the neutral's name.

    Polygons' groups, materials and texture coordinates are the fitted head's own, or where it has none of a kind the
    old one's. Landmarks given by positions become places of the surface.
    """
    return fitted.with_(
        polygons=old.polygons, shapes=(), parts=old.parts, neutral_name=old.neutral_name,
        groups=fitted.groups or old.groups, materials=fitted.materials or old.materials, uv=fitted.uv or old.uv,
        landmarks=None if old.landmarks is None else carried_landmarks(old.landmarks, old),
    )  # fmt: skip


def carried_landmarks(landmarks: Landmarks, head: Head) -> Landmarks:
    """Landmarks that lie on any head of this topology: positions become the nearest places of `head`'s skin."""
    from composer.fitting.closest import ClosestSurface

    triangles = head.polygons.triangles[head.skin[head.polygons.triangles].all(axis=1)]
    surface = ClosestSurface(head.neutral, triangles) if len(triangles) else None

    def placed(place: Place) -> Place:
        if not isinstance(place, tuple) or surface is None:
            return place
        found = surface.closest(np.asarray([place]))
        a, b, c = (int(v) for v in triangles[found.triangle[0]])
        x, y, z = (float(w) for w in found.bary[0])
        return SurfacePoint((a, b, c), (x, y, z))

    return Landmarks(
        {name: placed(place) for name, place in landmarks.points.items()},
        {
            name: curve if isinstance(curve, np.ndarray) else tuple(placed(place) for place in curve)
            for name, curve in landmarks.curves.items()
        },
    )


def check_fits(head: Head, fitted: Head) -> None:
    """See that the fitted head has the old one's polygons over its vertices, in order.

    Raises MoueError with the first disagreement where it has not.
    """
    found = order_difference(head.polygons, fitted.polygons, head.neutral, fitted.neutral)
    if found is not None:
        raise MoueError(found.words, fitted.path, hint="carry onto a head fitted with this library's own topology")
    if is_mirrored(head.neutral, fitted.neutral):
        raise MoueError("is mirrored as a whole: left and right are exchanged", fitted.path, hint="mirror it back")
