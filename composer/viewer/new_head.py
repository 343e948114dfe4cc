"""A sculpt beside the library's head: its landmarks, and what has come of bringing the library's loops onto it.

Both lie in one head, so that one view draws them: the sculpt's vertices first, then the library's, as a part of its
own that is hidden or shown. The library's edges are drawn as lines over the sculpt wherever they now stand: carried
there by the landmarks at first, then fitted, relaxed, projected. Nothing here knows of windows.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.fitting.closest import ClosestSurface
from composer.fitting.guess import LEAST, carried_by, guess_curves, guess_landmarks
from composer.head.head import Head, Part
from composer.head.landmarks import Landmarks, write_landmarks
from composer.head.places import SurfacePoint
from composer.viewer.look import Line
from composer.viewer.normals import Normals
from composer.viewer.picking import Picker
from masks.polygons import Polygons

LIBRARY = "library"
GHOST = (30, 74, 92, 150)
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Marks:
    """Places on the sculpt by landmark name, and the names of those that were guessed and not looked at yet."""

    places: dict[str, SurfacePoint] = field(default_factory=dict)
    guessed: frozenset[str] = frozenset()


class NewHead:
    """One sculpt that a library is brought onto."""

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

    def place(self, name: str, place: SurfacePoint) -> None:
        """Put a landmark on the sculpt."""
        marks = self.marks
        self._step(Marks(marks.places | {name: place}, marks.guessed - {name}))

    def take_away(self, name: str) -> None:
        """Take a landmark off the sculpt."""
        marks = self.marks
        self._step(Marks({k: v for k, v in marks.places.items() if k != name}, marks.guessed - {name}))

    def guess(self) -> None:
        """Guess every landmark that nobody has placed, from those that somebody has. Raises MoueError for too few."""
        marks = self.marks
        placed = {name: place for name, place in marks.places.items() if name not in marks.guessed}
        guessed = guess_landmarks(self.library, self.surface, placed)
        self._step(Marks(placed | guessed, frozenset(guessed)))

    def confirm(self) -> None:
        """Every guess has been looked at: it counts as placed."""
        self._step(replace(self.marks, guessed=frozenset()))

    def undo(self) -> None:
        """One step of the landmarks back."""
        self._go(self._at - 1)

    def redo(self) -> None:
        """One step of the landmarks forward."""
        self._go(self._at + 1)

    @property
    def can_undo(self) -> bool:
        """Whether there is a step behind."""
        return self._at > 0

    @property
    def can_redo(self) -> bool:
        """Whether there is a step before."""
        return self._at + 1 < len(self._steps)

    def landmarks(self) -> Landmarks:
        """The sculpt's landmarks: what is placed or guessed, and curves guessed from it where there is enough."""
        places = self.marks.places
        curves = guess_curves(self.library, self.surface, places) if len(places) >= LEAST else {}
        return Landmarks(dict(places), {name: tuple(line) for name, line in curves.items()})

    @property
    def landmark_place(self) -> Path:
        """The file in which the sculpt's landmarks lie: beside its own."""
        path = self.sculpt.path or Path(f"{self.sculpt.name}.obj")
        return path.with_name(f"{path.stem}.landmarks.toml")

    @property
    def unsaved(self) -> bool:
        """Whether landmarks have been placed or moved since they were saved or read."""
        return self.marks.places != self._saved.places

    @property
    def uncarried(self) -> bool:
        """Whether the library has been fitted here: that lives in the window until it is carried."""
        return self.stage not in ("", "carried")

    def save_landmarks(self) -> Path:
        """Write both sides of the landmarks, to be used by `moue fit` or read again; where. Raises MoueError."""
        self.write_landmarks(self.landmark_place)
        self._saved = self.marks
        return self.landmark_place

    def write_landmarks(self, path: Path) -> None:
        """Write both sides of the landmarks elsewhere; they count as saved no more than before. Raises MoueError."""
        write_landmarks(path, self.library.landmarks or Landmarks(), Landmarks(dict(self.marks.places)))

    def read_landmarks(self, sculpt_side: Landmarks, saved: bool = True) -> None:
        """Take over places that a file holds; positions are put on the sculpt's surface. They are a step of their own,
        and are `saved` unless they come from a copy."""
        places = {}
        for name, place in sculpt_side.points.items():
            if name not in self.names:
                continue
            if isinstance(place, SurfacePoint):
                places[name] = place
            else:
                at = self.sculpt.neutral[place] if isinstance(place, int) else np.array(place)
                places[name] = _on(self.surface, at)
        self._step(Marks(places))
        if saved:
            self._saved = self.marks

    # Where the library's loops stand.

    @property
    def cage(self) -> Floats | None:
        """(n, 3) mm the library's vertices where they now stand, None before three landmarks are placed."""
        return self._cage

    def stand(self, cage: NDArray, stage: str) -> None:
        """The library's vertices have come to (n, 3) mm, by the stage "fitted", "relaxed" or "projected"."""
        self._cage, self.stage = np.asarray(cage, dtype=np.float64), stage
        self._follow()

    def ghost(self) -> tuple[Line, ...]:
        """The library's edges over the sculpt, once they stand somewhere."""
        return (self._ghost,) if self._cage is not None else ()

    def positions(self) -> NDArray[np.float32]:
        """(m + n, 3) float32 mm, the sculpt and the library's vertices."""
        return self._positions

    def distance_mm(self) -> Floats | None:
        """(n,) how far each of the library's vertices lies from the sculpt; None before they stand anywhere."""
        return None if self._cage is None else self.surface.near(self._cage).distance

    def _step(self, marks: Marks) -> None:
        del self._steps[self._at + 1 :]
        self._steps.append(marks)
        self._go(len(self._steps) - 1)

    def _go(self, at: int) -> None:
        self._at = min(max(at, 0), len(self._steps) - 1)
        if self.stage in ("", "carried"):
            places = self.marks.places
            try:
                moved = carried_by(self.library, self.surface, places, self.library.neutral)
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


def _together(sculpt: Head, library: Head) -> Head:
    """Both as one head, the library's vertices last and as one part."""
    a, b = sculpt.polygons, library.polygons
    polygons = Polygons(
        np.concatenate([a.counts, b.counts]), np.concatenate([a.indices, b.indices + a.n_vertices]),
        a.n_vertices + b.n_vertices,
    )  # fmt: skip
    part = Part(LIBRARY, (np.arange(b.n_vertices) + a.n_vertices).astype(np.int32))
    return Head(sculpt.name, polygons, np.concatenate([sculpt.neutral, library.neutral]), parts=(part,))


def _on(surface: ClosestSurface, point: NDArray) -> SurfacePoint:
    near = surface.exact(point[None])
    corners, bary = surface.triangles[near.triangle[0]], near.bary[0]
    a, b, c = (int(v) for v in corners)
    return SurfacePoint((a, b, c), (float(bary[0]), float(bary[1]), float(bary[2])))
