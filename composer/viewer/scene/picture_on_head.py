"""What is drawn on the head besides itself, made of the stage: outlines of regions, the brush's ring, landmarks."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from composer.geometry.contour import contour
from composer.head.barrier_lines import barrier_lines
from composer.head.coarse import known_coarse
from composer.head.head import Head
from composer.head.places import Place, SurfacePoint
from composer.mixing.recipe import ALL
from composer.viewer.render.look import Line, Look, Mark
from composer.viewer.render.picking import Hit
from composer.viewer.scene.overlay import Shown
from composer.viewer.session.painting import Painting
from composer.viewer.session.pointing import look_up, region_at
from composer.viewer.session.same_key import same_key
from composer.viewer.session.stage import Stage

POINTED, CHOSEN, HALF, RING = (250, 240, 215, 235), (227, 188, 133, 200), (24, 25, 28, 220), (250, 246, 235, 255)
ERASING, OWN, FILE = (232, 146, 124, 255), (227, 188, 133, 255), (111, 178, 196, 255)
DOUBTED = (240, 138, 60, 255)
"""The orange of a guess among the landmarks of the document."""
BARRIER = (24, 25, 28, 150)
LEVEL = 0.5
MOST_LINES = 200
"""Outlines that are kept: more than the regions of any one face."""


@dataclass
class Outline:
    """Outlines already made, each with what it was made from, the newest last."""

    _lines: list[tuple[tuple, Line | None]] = field(default_factory=list)
    _painted: tuple[object, Line | None] = (None, None)
    _rough: tuple[object, NDArray] = field(default_factory=lambda: (None, np.zeros((0, 3), dtype=np.int32)))
    _marks: tuple[object, tuple[Mark, ...]] = (None, ())
    _asked: tuple[object, Mark | None] = (None, None)
    _barriers: tuple[object, list[Line | None]] = field(default_factory=lambda: (None, []))

    def of(
        self, stage: Stage, mask: NDArray, colour: tuple[int, int, int, int], width: float, dash: float
    ) -> Line | None:
        """The line where a mask (n,) is a half; None where it nowhere is."""
        session = stage.opened
        key = (mask, colour, width, dash)
        for held, line in reversed(self._lines):
            if same_key(held, key):
                return line
        a, b, t = contour(self._triangles(session.head), mask, LEVEL)
        line = Line(a, b, t, colour, width, dash) if len(a) else None
        self._lines = [*self._lines[1 - MOST_LINES :], (key, line)]
        return line

    def painted(self, stage: Stage, raw: NDArray) -> Line | None:
        """The line of a mask (n,) that is being painted: only the last one is kept."""
        if self._painted[0] is not raw:
            a, b, t = contour(self._triangles(stage.opened.head), raw, LEVEL)
            self._painted = (raw, Line(a, b, t, HALF, 1.6, 6.0) if len(a) else None)
        return self._painted[1]

    def _triangles(self, head: Head) -> NDArray:
        """(t, 3) what lines are drawn on: of a large head the coarser triangles, which stand on its vertices."""
        level = known_coarse(head.surface)
        if level is None:
            return head.polygons.triangles
        if self._rough[0] is not level:
            self._rough = (level, level.vertices[level.surface.polygons.triangles])
        return self._rough[1]

    def barriers(self, stage: Stage) -> list[Line | None]:
        """The lines that no brush crosses."""
        session = stage.opened
        if self._barriers[0] is not session.head:
            lines: list[Line | None] = []
            for line in barrier_lines(session.head):
                ends = np.stack([line[:-1], line[1:]], axis=1).reshape(-1)
                lines.append(Line(ends, ends, np.zeros(len(ends)), BARRIER, 1.4))
            self._barriers = (session.head, lines)
        return self._barriers[1]

    def asked(self, place: tuple[NDArray, NDArray]) -> Mark:
        """The place that is asked about, as the same mark as long as it is the same."""
        if self._asked[0] is not place:
            self._asked = (place, Mark(*place, OWN, 11.0))
        mark = self._asked[1]
        assert mark is not None
        return mark

    def marks(self, stage: Stage) -> tuple[Mark, ...]:
        """Every landmark of the head as a mark, the chosen one larger; guesses and those of this document have colours
        of their own.
        """
        session = stage.opened
        landmarks = session.head.landmarks
        if not landmarks:
            return ()
        key = (landmarks, stage.landmark, session.project)
        if not same_key(self._marks[0], key):
            colours = dict.fromkeys(session.project.landmarks, OWN) | dict.fromkeys(session.project.guesses, DOUBTED)
            marks = [
                mark_at_place(place, colours.get(name, FILE), 15.0 if name == stage.landmark else 9.0, i)
                for i, (name, place) in enumerate(landmarks.points.items())
            ]
            self._marks = (key, tuple(mark for mark in marks if mark is not None))
        return self._marks[1]


def look_of(stage: Stage, shown: Shown, outline: Outline, painting: Painting, texture: NDArray | None) -> Look:
    """Everything that is drawn besides the head, as the stage stands."""
    session = stage.opened
    effective = session.evaluated.effective
    lines: list[Line | None] = []
    name = region_at(stage, stage.hit) if stage.place != "marks" else ""
    if name and stage.place == "mix":
        lines.append(outline.of(stage, effective[name], POINTED, 2.0, 0.0))
    if stage.place == "paint" and session.region != ALL:
        raw = session.evaluated.raw.get(session.region)
        if painting.raw is not None:
            lines.append(outline.painted(stage, painting.raw))
        elif raw is not None:
            lines.append(outline.of(stage, raw, HALF, 1.6, 6.0))
        if stage.hit is not None and not painting.stroking or painting.stroking:
            lines.append(_ring(stage, painting))
    elif session.region != ALL and session.region in effective and name != session.region and stage.place == "mix":
        lines.append(outline.of(stage, effective[session.region], CHOSEN, 1.4, 5.0))
    if stage.place == "paint":
        lines += outline.barriers(stage)
    marks = outline.marks(stage) if stage.place == "marks" else ()
    if stage.place == "marks" and stage.moved_mark is not None:
        moved = mark_at_place(stage.moved_mark[1], OWN, 15.0, len(marks))
        marks = (*marks, moved) if moved is not None else marks
    if stage.asked_place is not None and stage.place == "mix":
        marks = (*marks, outline.asked(stage.asked_place))
    skin = texture if stage.overlay == "skin" else None
    drawn = tuple(line for line in lines if line is not None)
    backdrops = stage.references.backdrops(stage)
    return Look(shown.cover, stage.wire, drawn, marks, stage.hidden, skin, stage.light, backdrops)


def _ring(stage: Stage, painting: Painting) -> Line | None:
    """The brush's ring on the skin under the pointer."""
    session = stage.opened
    hit = _under_brush(stage, painting)
    edges = painting.ring(session, hit) if hit is not None else None
    if edges is None or not len(edges[0]):
        return None
    return Line(*edges[:3], ERASING if painting.kind == "erase" else RING, 2.0)


def _under_brush(stage: Stage, painting: Painting) -> Hit | None:
    """What lies under the pointer: of the pose on which the stroke began while there is one."""
    eye, (left, top, _, _), (x, y) = stage.eye, stage.view, stage.pointer
    if not painting.stroking or eye is None or not stage.in_view(x, y):
        return look_up(stage, x, y)
    return painting.pick(*eye.ray(x - left, y - top, *stage.view_size))


def mark_at_place(place: Place, colour: tuple[int, int, int, int], size: float, label: int) -> Mark | None:
    """A place of a surface as a disc of `size` pixels; None for a position beside it."""
    if isinstance(place, SurfacePoint):
        return Mark(np.array(place.triangle), np.array(place.bary), colour, size, label)
    if isinstance(place, tuple):
        return None
    return Mark(np.array([place]), np.array([1.0]), colour, size, label)
