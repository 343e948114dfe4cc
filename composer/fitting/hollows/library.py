"""What the hollows of a fit need to know of a library's skin; found once and kept with the topology."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from composer.fitting.hollows.cavities import Cavities, find_cavities
from composer.fitting.hollows.hollowness import hollowness
from composer.fitting.hollows.places import face_places, mouth_inside, place_names
from composer.fitting.hollows.uncross import Uncrossing
from composer.fitting.skin import Skin
from composer.geometry.polygons import Polygons, read_only
from composer.geometry.surface import Surface
from composer.head.head import Head
from composer.head.landmarks import Landmarks

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class LibrarySkin:
    """The `skin` of a library's neutral, s vertices, and its `surface` in mm; its cavities, its own crossings and the
    tables that take crossings back are found when first asked for."""

    skin: Skin
    surface: Surface

    @classmethod
    def of(cls, head: Head) -> LibrarySkin:
        """The skin of `head`; kept until another neutral, or other parts, of its topology are asked for."""
        known = _KNOWN.get(head.polygons)
        if known is not None and known[0] is head.neutral and known[1] is head.parts:
            return known[2]
        skin = Skin.of(head)
        found = cls(skin, Surface(skin.polygons, head.neutral[skin.vertices]))
        _KNOWN[head.polygons] = (head.neutral, head.parts, found)
        return found

    @cached_property
    def cavities(self) -> Cavities:
        """Its cavities and its visibility."""
        return find_cavities(self.surface)

    @cached_property
    def uncrossing(self) -> Uncrossing:
        """The tables that find and take back crossings."""
        return Uncrossing.of(self.skin.polygons, self.surface.positions, self.cavities.visibility)

    @cached_property
    def hollowness(self) -> Rows:
        """(s,) as `hollowness` measures it."""
        return hollowness(self.surface)

    def places(self, head: Head, marks: Landmarks) -> NDArray[np.int64]:
        """(s,) the place of the face of each vertex, as `face_places` numbers them."""
        return self._with_marks(head, marks)[0]

    def place_names(self, head: Head, marks: Landmarks) -> NDArray[np.str_]:
        """(f,) the name of the place of each polygon of the skin; the mouth's inside is one of its own."""
        return self._with_marks(head, marks)[1]

    def _with_marks(self, head: Head, marks: Landmarks) -> tuple[NDArray[np.int64], NDArray[np.str_]]:
        """The places of vertices and the names of those of polygons, kept for the landmarks asked with last."""
        known = self.__dict__.get("_places")
        if known is None or known[0] is not marks:
            places = face_places(self.surface, marks, head.neutral, self.cavities.pieces)
            inside = mouth_inside(self.surface, marks, head.neutral, self.cavities.pieces, places)
            names = place_names(self.skin.polygons, places, inside)
            known = marks, (read_only(places), read_only(names))
            self.__dict__["_places"] = known
        return known[1]


_KNOWN: WeakKeyDictionary[Polygons, tuple[Rows, tuple, LibrarySkin]] = WeakKeyDictionary()
"""The skin found last on each topology, with the neutral and the parts that it belongs to."""
