"""The order in which a person is asked for the landmarks of a head: well spread from the first few on."""

from __future__ import annotations

import numpy as np

from composer.head.head import Head
from composer.head.plain_names import PLAIN, split_side

FACING = 0.25
"""Part of a landmark's normal that points forward from which it is seen from the front (our choice: 75 degrees)."""
CLEAR = frozenset(
    ["pronasale", "exocanthion", "endocanthion", "cheilion", "gnathion", "tragion", "sellion", "alare", "subnasale",
     "otobasion_inferius", "labiale_superius", "labiale_inferius"]
)  # fmt: skip
"""Landmarks that a person finds at once: tips, corners and notches (our choice)."""
SIDES = ("_left", "_right")


def asking_order(head: Head) -> list[str]:
    """The names of the head's landmark points, each once.

    First those that a person finds at once (CLEAR), then those with a known name that are seen from the front, then the
    others. Within each the first is the one furthest forward; then always the one furthest from all that were asked for
    (farthest point sampling, Gonzalez 1985), its mirror image after it. So whoever stops early has placed landmarks
    that are sure and well spread.
    """
    marks = head.landmarks
    if not marks or not marks.points:
        return []
    names = list(marks.points)
    places = np.array([marks.position(name, head.neutral) for name in names])
    normals = head.surface.vertex_normals[[marks.vertex(name, head.neutral) for name in names]]
    order: list[int] = []
    away = np.full(len(names), np.inf)
    stems = [split_side(name)[0] for name in names]
    clear = np.array([stem in CLEAR for stem in stems])
    seen = np.array([stem in PLAIN for stem in stems]) & (normals[:, 2] > FACING)
    for group in (clear, seen & ~clear, ~seen & ~clear):
        rest = set(np.flatnonzero(group).tolist())
        while rest:
            chosen = max(rest, key=lambda i: (places[i, 2] if not order else away[i], -i))
            for each in (chosen, _partner(names, chosen)):
                if each in rest:
                    rest.remove(each)
                    order.append(each)
                    away = np.minimum(away, np.linalg.norm(places - places[each], axis=1))
    return [names[i] for i in order]


def _partner(names: list[str], index: int) -> int:
    """The number of a landmark's mirror image, -1 where it has none."""
    name = names[index]
    for one, other in (SIDES, SIDES[::-1]):
        if name.endswith(one):
            partner = name[: -len(one)] + other
            return names.index(partner) if partner in names else -1
    return -1
