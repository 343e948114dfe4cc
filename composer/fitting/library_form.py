"""Places of a fitted cage that keep the library's form: the skin there is the library's own, carried by the skin about
it, whatever the sculpt shows (hair, a hat, a scan's hole)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.fitting.bound_parts import take_along
from composer.fitting.fill import fill
from composer.fitting.project import FILL_WIDTH
from composer.fitting.skin import Skin
from composer.geometry.polygons import Polygons
from composer.geometry.rigid import similarity
from composer.geometry.surface import Surface
from composer.head.head import Head

Rows = NDArray[np.float64]
AROUND = 4
"""Rings of skin about a zone by which the library's form is turned and sized (our choice)."""


def with_library_form(head: Head, cage: Rows, zone: NDArray) -> Rows:
    """(n, 3) mm the `cage` (n, 3) with the library's form where the `zone` (n,) in [0, 1] is 1, the present one where
    it is 0 (bit for bit), and a mixture between. `head` is the library's own.

    The library's neutral is laid on the skin about the zone by a similarity, and what is left over at the zone's edge
    is continued into it smoothly (`composer.fitting.fill`), so that it joins without a crease. A zone without skin
    about it leaves the cage as it is.
    """
    cage = np.asarray(cage, dtype=np.float64)
    skin = Skin.of(head)
    amount = np.clip(np.asarray(zone, dtype=np.float64), 0.0, 1.0)[skin.vertices]
    inside = amount > 0.0
    now = cage[skin.vertices]
    kept = formed(skin.polygons, now, head.neutral[skin.vertices], inside)
    if kept is None:
        return cage
    positions = cage.copy()
    chosen = skin.vertices[inside]
    positions[chosen] = now[inside] + amount[inside][:, None] * (kept[inside] - now[inside])
    return take_along(head, cage, positions)


def formed(polygons: Polygons, now: Rows, rest: Rows, inside: NDArray[np.bool_]) -> Rows | None:
    """(s, 3) mm a skin `now` (s, 3) with the form of `rest` (s, 3), the library's own, where it is `inside` (s,), as
    `with_library_form` gives it; None where there is no skin about that, or nothing inside."""
    around = inside
    rings = abs(polygons.adjacency)
    for _ in range(AROUND):
        around = around | (rings @ around > 0)
    known = around & ~inside
    if not inside.any() or known.sum() < 4:
        return None
    laid = similarity(rest[known], now[known])(rest)
    surface = Surface(polygons, laid)
    return np.asarray(laid + fill(surface, now - laid, inside, FILL_WIDTH * surface.diagonal_mm))
