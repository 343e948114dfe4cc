"""A sculpt beside the library's head: its landmarks, and how far the library has been fitted onto it.

Both lie in one head, so that one view draws them: the sculpt's vertices first, then the library's, as a part of its
own that is hidden or shown. The library's edges are drawn as lines over the sculpt wherever they now stand: first
warped there by the landmarks, then fitted, relaxed, projected. Nothing here knows of windows.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.fitting.closest import ClosestSurface
from composer.fitting.fitted_landmarks import found_landmarks
from composer.fitting.guess import carried_by, guess_landmarks
from composer.geometry.polygons import Polygons
from composer.head.head import Head, Part
from composer.head.landmarks import Landmarks, write_landmarks
from composer.head.places import SurfacePoint, resolve
from composer.viewer.render.look import Line
from composer.viewer.render.normals import Normals
from composer.viewer.render.picking import Picker

LIBRARY = "library"
GHOST, DRAWN = (30, 74, 92, 150), (227, 188, 133, 255)
BETWEEN, ENDS_APART = 6, 0.25
"""Steps in which a curve goes from one of its points to the next, and how far its ends lie apart, of its length."""
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Marks:
    """Places on the sculpt by landmark name, the names of those that are unconfirmed guesses, and the points
    along each landmark curve, in the order in which they were pressed."""

    places: dict[str, SurfacePoint] = field(default_factory=dict)
    guessed: frozenset[str] = frozenset()
    curves: dict[str, tuple[SurfacePoint, ...]] = field(default_factory=dict)


class NewHead:
    """One sculpt that a library is fitted onto."""

    def __init__(self, library: Head, sculpt: Head) -> None:
        """Take the library's head and the sculpt as a head without shapes, both in mm."""
        self.library, self.sculpt = library, sculpt
        self.surface = ClosestSurface(sculpt.neutral, sculpt.polygons.triangles)
        self.n_sculpt = sculpt.n_vertices
        self.both = _together(sculpt, library)
        self.picker = Picker(self.both)
        self.normals = Normals(self.both)
        self._steps, self._at = [Marks()], 0
        self._saved = Marks()
        self._drawn: dict[tuple[SurfacePoint, ...], Line] = {}
        self._cage: Floats | None = None
        self.stage = ""
        self.notes: list[str] = list(sculpt.notes)
        self.version = 0
        edges = library.polygons.edges
        skin = library.skin[edges].all(axis=1)
        ends = (edges[skin] + self.n_sculpt).reshape(-1)
        self._ghost = Line(ends, ends, np.zeros(len(ends)), GHOST, 1.0)
        self._positions = self.both.neutral.astype(np.float32)

    # Landmarks.

    @property
    def marks(self) -> Marks:
        """Where landmarks lie on the sculpt now."""
        return self._steps[self._at]

    @property
    def names(self) -> list[str]:
        """The landmarks that the library's head has, in order."""
        return list(self.library.landmarks.points) if self.library.landmarks else []

    @cached_property
    def lines(self) -> list[str]:
        """The landmark curves of the library's head that go from one end to another, in order."""
        marks = self.library.landmarks
        if marks is None:
            return []
        drawn = {name: marks.curve_positions(name, self.library.neutral) for name in marks.curves}
        return [name for name, line in drawn.items() if _open(line)]

    @property
    def placed(self) -> dict[str, SurfacePoint]:
        """The places that are not guesses."""
        return {name: place for name, place in self.marks.places.items() if name not in self.marks.guessed}

    def place(self, name: str, place: SurfacePoint) -> None:
        """Put a landmark on the sculpt, or one more point of a landmark curve."""
        marks = self.marks
        if name in self.lines:
            self._step(replace(marks, curves=marks.curves | {name: (*marks.curves.get(name, ()), place)}))
        else:
            self._step(replace(marks, places=marks.places | {name: place}, guessed=marks.guessed - {name}))

    def take_away(self, name: str) -> None:
        """Remove a landmark from the sculpt, or the last point of a landmark curve."""
        marks = self.marks
        if name in marks.curves:
            shortened = {name: marks.curves[name][:-1]}
            self._step(replace(marks, curves={k: v for k, v in (marks.curves | shortened).items() if v}))
        else:
            places = {k: v for k, v in marks.places.items() if k != name}
            self._step(replace(marks, places=places, guessed=marks.guessed - {name}))

    def guess(self) -> None:
        """Guess every landmark that nobody has placed and that the sculpt has: from those that somebody has, and after
        a fit from where it has brought them. Raises MoueError for too few."""
        placed = self.placed
        if self.uncarried and self._cage is not None:
            guessed = found_landmarks(self.library, self._cage, self.surface, placed)
        else:
            guessed = guess_landmarks(self.library, self.surface, placed)
        self._step(replace(self.marks, places=placed | guessed, guessed=frozenset(guessed)))

    def confirm(self) -> None:
        """Count every guess as placed."""
        self._step(replace(self.marks, guessed=frozenset()))

    def undo(self) -> None:
        """One step of the landmarks back."""
        self._go(self._at - 1)

    def redo(self) -> None:
        """One step of the landmarks forward."""
        self._go(self._at + 1)

    @property
    def can_undo(self) -> bool:
        """Whether there is a step to undo."""
        return self._at > 0

    @property
    def can_redo(self) -> bool:
        """Whether there is a step to redo."""
        return self._at + 1 < len(self._steps)

    def landmarks(self) -> Landmarks:
        """The sculpt's landmarks that a fit goes through: those that are placed, and the curves that have two points or
        more, laid on the surface in the library's direction. Guesses are left out: a wrong one misleads the fit."""
        return Landmarks(self.placed, {n: self._laid(n) for n, line in self.marks.curves.items() if len(line) > 1})

    def curve_lines(self) -> tuple[Line, ...]:
        """A line over the sculpt for each curve that has two points or more."""
        kept = {}
        for points in self.marks.curves.values():
            if len(points) > 1:
                kept[points] = self._drawn.get(points) or _line(self._between(points))
        self._drawn = kept
        return tuple(kept.values())

    def _between(self, pressed: tuple[SurfacePoint, ...]) -> list[SurfacePoint]:
        """The points and places between them, all on the surface."""
        points = np.array([resolve(place, self.sculpt.neutral) for place in pressed])
        steps = np.linspace(0.0, 1.0, BETWEEN + 1)[:-1, None]
        dense = [(1.0 - steps) * a + steps * b for a, b in zip(points[:-1], points[1:], strict=True)]
        return self._on(np.concatenate([*dense, points[-1:]]))

    def _laid(self, name: str) -> tuple[SurfacePoint, ...]:
        line, ours = self._between(self.marks.curves[name]), self.library.landmarks
        assert ours is not None
        ends = ours.curve_positions(name, self.library.neutral)[[0, -1]]
        try:
            ends = carried_by(self.library, self.surface, self.placed, ends)
        except MoueError:
            return tuple(line)
        first, last = (resolve(line[i], self.sculpt.neutral) for i in (0, -1))
        along = np.linalg.norm(ends[0] - first) + np.linalg.norm(ends[1] - last)
        against = np.linalg.norm(ends[0] - last) + np.linalg.norm(ends[1] - first)
        return tuple(line if along <= against else line[::-1])

    @property
    def landmark_place(self) -> Path:
        """The file in which the sculpt's landmarks lie: beside its own."""
        path = self.sculpt.path or Path(f"{self.sculpt.name}.obj")
        return path.with_name(f"{path.stem}.landmarks.toml")

    @property
    def copy_place(self) -> Path:
        """The file in which a copy of what is not saved of them is kept."""
        return self.landmark_place.with_name(f".{self.landmark_place.stem}.autosave.toml")

    @property
    def unsaved(self) -> bool:
        """Whether landmarks have been placed or moved since they were saved or read; guesses do not count."""
        return (self.placed, self.marks.curves) != (self._saved.places, self._saved.curves)

    @property
    def uncarried(self) -> bool:
        """Whether there is a fit that is not carried over yet; until then only the window holds it."""
        return self.stage not in ("", "carried")

    def save_landmarks(self) -> Path:
        """Write both sides of the landmarks, to be used by `moue fit` or read again; where. Raises MoueError."""
        self.write_landmarks(self.landmark_place)
        self._saved = Marks(self.placed, curves=self.marks.curves)
        return self.landmark_place

    def write_landmarks(self, path: Path) -> None:
        """Write both sides of the placed landmarks elsewhere; whether they count as saved does not change. Raises
        MoueError."""
        write_landmarks(path, self.library.landmarks or Landmarks(), Landmarks(self.placed, self.marks.curves))

    def read_landmarks(self, sculpt_side: Landmarks, saved: bool = True) -> None:
        """Take over places that a file holds; positions are put on the sculpt's surface. They are a step of their own,
        and are `saved` unless they come from a copy."""
        places = {
            name: place if isinstance(place, SurfacePoint) else self._on(resolve(place, self.sculpt.neutral)[None])[0]
            for name, place in sculpt_side.points.items()
            if name in self.names
        }
        curves = {
            name: tuple(self._on(sculpt_side.curve_positions(name, self.sculpt.neutral)))
            for name in sculpt_side.curves
            if name in self.lines
        }
        self._step(Marks(places, curves=curves))
        if saved:
            self._saved = self.marks

    def _on(self, points: NDArray) -> list[SurfacePoint]:
        return self.surface.surface_points(self.surface.exact(points))

    # Where the library's loops stand.

    @property
    def cage(self) -> Floats | None:
        """(n, 3) mm the library's vertices where they now stand, None before three landmarks are placed."""
        return self._cage

    def stand(self, cage: NDArray, stage: str) -> None:
        """Move the library's vertices to (n, 3) mm, by the stage "fitted", "relaxed" or "projected"."""
        self._cage, self.stage = np.asarray(cage, dtype=np.float64), stage
        self._follow()

    def ghost(self) -> tuple[Line, ...]:
        """The library's edges over the sculpt, once there is a warp or a fit."""
        return (self._ghost,) if self._cage is not None else ()

    def positions(self) -> NDArray[np.float32]:
        """(m + n, 3) float32 mm, the sculpt and the library's vertices."""
        return self._positions

    def distance_mm(self) -> Floats | None:
        """(n,) how far each of the library's vertices lies from the sculpt; None before there is a warp or a fit."""
        return None if self._cage is None else self.surface.near(self._cage).distance

    def _step(self, marks: Marks) -> None:
        del self._steps[self._at + 1 :]
        self._steps.append(marks)
        self._go(len(self._steps) - 1)

    def _go(self, at: int) -> None:
        self._at = min(max(at, 0), len(self._steps) - 1)
        if self.stage in ("", "carried"):
            try:
                moved = carried_by(self.library, self.surface, self.placed, self.library.neutral)
            except MoueError:
                self._cage, self.stage = None, ""
            else:
                self._cage, self.stage = moved, "carried"
        self._follow()

    def _follow(self) -> None:
        positions = self._positions.copy()
        if self._cage is not None:
            positions[self.n_sculpt :] = self._cage
        self._positions = positions
        self.version += 1


def _line(points: list[SurfacePoint]) -> Line:
    """A line through places of the surface."""
    twice = np.repeat(np.arange(len(points)), 2)[1:-1]
    corners = np.array([place.triangle for place in points])[twice]
    shares = np.array([place.bary for place in points])[twice]
    return Line(corners[:, 0], corners[:, 1:], shares[:, 1:], DRAWN, 2.0)


def _open(line: Floats) -> bool:
    """Whether a line (k, 3) has two ends, and does not come back to where it began."""
    length = float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())
    return len(line) > 1 and float(np.linalg.norm(line[-1] - line[0])) > ENDS_APART * length


def _together(sculpt: Head, library: Head) -> Head:
    """Both as one head, the library's vertices last and as one part."""
    a, b = sculpt.polygons, library.polygons
    polygons = Polygons(
        np.concatenate([a.counts, b.counts]), np.concatenate([a.indices, b.indices + a.n_vertices]),
        a.n_vertices + b.n_vertices,
    )  # fmt: skip
    part = Part(LIBRARY, (np.arange(b.n_vertices) + a.n_vertices).astype(np.int32))
    return Head(sculpt.name, polygons, np.concatenate([sculpt.neutral, library.neutral]), parts=(part,))
