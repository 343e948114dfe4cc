"""The cavities of a library that a fit has to judge: those that no free zone covers already."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from composer.fitting.closest import ClosestSurface
from composer.fitting.hollows.cavities import library_cavities
from composer.fitting.hollows.places import ELSEWHERE, PLACES, face_places
from composer.fitting.hollows.shown import Cavity, shown_share
from composer.fitting.skin import Skin
from composer.geometry.surface import Surface
from composer.head.head import Head
from composer.head.landmarks import Landmarks

Rows = NDArray[np.float64]

COVERED = 0.3
"""Share of a cavity's vertices in a free zone from which on the zone is the same hollow (our choice)."""


def cavities_to_judge(head: Head, marks: Landmarks, free: NDArray) -> tuple[Cavity, ...]:
    """The cavities of `head` that the zones `free` (n,) in [0, 1] do not cover, not judged yet (share 0)."""
    skin = Skin.of(head)
    known = library_cavities(head)
    zone = np.asarray(free)[skin.vertices] >= 0.5
    places = face_places(Surface(skin.polygons, head.neutral[skin.vertices]), marks, head.neutral, known.pieces)
    names = (*PLACES, ELSEWHERE)
    return tuple(
        Cavity(piece, names[int(np.bincount(places[piece]).argmax())], 0.0)
        for piece in known.pieces
        if zone[piece].mean() < COVERED
    )


def judged_cavities(
    head: Head, bent: Rows, sculpt: ClosestSurface, cavities: tuple[Cavity, ...]
) -> tuple[Cavity, ...]:
    """The same cavities with the share that the sculpt shows of each; `bent` (n, 3) mm is the head near the sculpt."""
    skin = Skin.of(head)
    known = library_cavities(head)
    surface = Surface(skin.polygons, bent[skin.vertices])
    judged = []
    for cavity in cavities:
        deep = known.deep(cavity.flags)
        share = shown_share(
            sculpt, surface.positions[deep], surface.vertex_normals[deep], known.visibility[deep]
        )
        judged.append(replace(cavity, share=share))
    return tuple(judged)


def without_cavities(head: Head, free: NDArray, cavities: tuple[Cavity, ...]) -> Rows:
    """(n,) the zones `free` (n,) in [0, 1] with `cavities` free too."""
    skin = Skin.of(head)
    widened = np.array(free, dtype=np.float64)
    for cavity in cavities:
        widened[skin.vertices[cavity.flags]] = 1.0
    return widened
