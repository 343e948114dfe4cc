"""The cavities of a library that a fit has to judge: those that no free zone covers already."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from composer.fitting.closest import ClosestSurface
from composer.fitting.hollows.library import LibrarySkin
from composer.fitting.hollows.places import ELSEWHERE, PLACES
from composer.fitting.hollows.shown import Cavity, shown_share
from composer.head.head import Head
from composer.head.landmarks import Landmarks

Rows = NDArray[np.float64]

COVERED = 0.3
"""Share of a cavity's vertices in a free zone from which on the zone is the same hollow (our choice)."""


def cavities_to_judge(head: Head, marks: Landmarks, free: NDArray) -> tuple[Cavity, ...]:
    """The cavities of `head` that the zones `free` (n,) in [0, 1] do not cover, not judged yet (share 0)."""
    library = LibrarySkin.of(head)
    zone = np.asarray(free)[library.skin.vertices] >= 0.5
    places = library.places(head, marks)
    names = (*PLACES, ELSEWHERE)
    return tuple(
        Cavity(piece, names[int(np.bincount(places[piece]).argmax())], 0.0)
        for piece in library.cavities.pieces
        if zone[piece].mean() < COVERED
    )


def judged_cavities(
    head: Head, bent: Rows, sculpt: ClosestSurface, cavities: tuple[Cavity, ...]
) -> tuple[Cavity, ...]:
    """The same cavities with the share that the sculpt shows of each; `bent` (n, 3) mm is the head near the sculpt."""
    library = LibrarySkin.of(head)
    known = library.cavities
    surface = library.surface.at(bent[library.skin.vertices])
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
    skin = LibrarySkin.of(head).skin
    widened = np.array(free, dtype=np.float64)
    for cavity in cavities:
        widened[skin.vertices[cavity.flags]] = 1.0
    return widened
