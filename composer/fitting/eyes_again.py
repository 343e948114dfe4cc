"""Eyeballs behind the lids of every level: the projection moves lids after the eyeballs were placed.

Where a lid that lies on the sculpt, of the cage or of the finest level, lies deeper in an eyeball than on the library,
the eyeball makes room once more (`eye_room`), on all levels alike, and a sheet over it goes along. One that took the
place of a ball of the sculpt stays.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from composer.fitting.align import similarity
from composer.fitting.eye_room import room_behind_lids
from composer.fitting.not_followed import Why
from composer.fitting.parts import NEAR, ball_under
from composer.fitting.project import ProjectedLevel
from composer.fitting.sculpt import Ball, ball_centre
from composer.geometry.polygons import read_only
from composer.head.head import Head, Part
from composer.head.levels import Refinement
from composer.head.understand.part_words import what_parts_are

Rows = NDArray[np.float64]
SAME_BALL = 1e-3
"""An eyeball whose centre lies within this share of its radius of that of a ball of the sculpt took its place."""
TOLD_MM = 0.05
"""A movement from this many mm on is told (our choice)."""


def eyes_behind_lids(
    head: Head, levels: Sequence[ProjectedLevel], balls: Sequence[Ball]
) -> tuple[list[ProjectedLevel], list[str]]:
    """The projected `levels` of a head, 0 first, with eyeballs that have room behind their lids, and a sentence for
    each that moved; `balls` are those of the sculpt."""
    told, eyes = what_parts_are(head), eyes_in(head)
    sheets = [part for part in head.parts if told.get(part.name) == "ball_sheet" and len(part.vertices)]
    made, notes = list(levels), []
    for eye in eyes:
        points = head.neutral[eye.vertices]
        centre = ball_centre(points)
        radius = float(np.median(np.linalg.norm(points - centre, axis=1)))
        move = similarity(points, made[0].positions[eye.vertices])
        middle = move(centre)
        if any(np.linalg.norm(each.centre - middle) < SAME_BALL * each.radius for each in balls):
            continue
        asked = [made[0]] if len(made) == 1 else [made[0], made[-1]]
        lids = [_lids(level, centre, NEAR * radius) for level in asked]
        there = np.concatenate([level.reference[at] for level, at in zip(asked, lids, strict=True)])
        here = np.concatenate([level.positions[at] for level, at in zip(asked, lids, strict=True)])
        back, times = room_behind_lids(points, centre, there, here, middle, move)
        back_mm = float(np.linalg.norm(back))
        if back_mm == 0.0 and times == 1.0:
            continue
        along = [eye, *(sheet for sheet in sheets if ball_under(head, sheet, eyes) is eye)]
        made = _moved(made, along, middle, back, times)
        if back_mm >= TOLD_MM:
            notes.append(
                f"{eye.name} moves {back_mm:.1f} mm more behind its projected lids, {times:.3f} times as large."
            )
    return made, notes


def eyes_in(head: Head) -> list[Part]:
    """The eyeballs of a head."""
    told = what_parts_are(head)
    return [part for part in head.parts if told.get(part.name) == "eye" and len(part.vertices) > 3]


def _lids(level: ProjectedLevel, centre: Rows, within: float) -> NDArray[np.int64]:
    """(k,) the skin's vertices that lie `within` mm of `centre` (3,) on the library, of those that lie on the sculpt:
    what goes with its surroundings says nothing of where the eye is."""
    near = np.flatnonzero(~level.still & (level.why == Why.FOLLOWS))
    return near[np.linalg.norm(level.reference[near] - centre, axis=1) < within]


def _moved(
    levels: Sequence[ProjectedLevel], parts: Sequence[Part], middle: Rows, back: Rows, times: float
) -> list[ProjectedLevel]:
    """The levels with the vertices of `parts` `times` as large about `middle` (3,), and moved by `back` (3,) mm."""
    of = np.zeros(len(levels[0].positions))
    for part in parts:
        of[part.vertices] = 1.0
    made: list[ProjectedLevel] = []
    for level in levels:
        if made:
            of = Refinement(made[-1].polygons).apply(of)
        positions = np.array(level.positions)
        rows = np.flatnonzero(of > 0.5)
        positions[rows] = middle + times * (positions[rows] - middle) + back
        made.append(replace(level, positions=read_only(positions)))
    return made
