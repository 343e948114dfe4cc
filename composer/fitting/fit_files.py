"""A fit as files give it: a library's head, a sculpt, and a file of landmarks on both."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

from composer.errors import MoueError
from composer.fitting.align import check_pairs, landmark_pairs
from composer.fitting.chain import FittedHead, fit_head
from composer.fitting.closest import ClosestSurface
from composer.fitting.fit_state import FitOptions
from composer.fitting.fitted_landmarks import found_landmarks
from composer.formats.library import head_of
from composer.formats.sculpt_mesh import read_sculpt_mesh
from composer.head.head import Head
from composer.head.landmark_file import read_landmark_pairs, write_landmarks
from composer.head.landmarks import Landmarks
from composer.progress import Progress
from composer.units import mm_per

FEW = 6
"""Landmarks: a fit through fewer is one that a person looks at twice (our choice)."""


@dataclass(frozen=True, eq=False)
class FitFiles:
    """What a fit begins with. `library` has the landmarks of the file in the place of its own, `marks` are those, and
    `sculpt_marks` the sculpt's; `sculpt_file` and `landmark_file` are named in messages."""

    library: Head
    sculpt: Head
    marks: Landmarks
    sculpt_marks: Landmarks
    sculpt_file: Path
    landmark_file: Path

    @classmethod
    def read(
        cls, library: Head, sculpt: Path | str, landmarks: Path | str, sculpt_unit: str | None = None
    ) -> FitFiles:
        """Read the sculpt, of any topology, and the landmarks. Raises MoueError, naming the file, where one cannot be
        used, and where neither the file nor the library has landmarks of the library."""
        sculpt, landmarks = Path(sculpt), Path(landmarks)
        shown = head_of(read_sculpt_mesh(sculpt, sculpt_unit), sculpt_unit)
        said, theirs = read_landmark_pairs(landmarks, mm_per(library.unit), mm_per(shown.unit))
        marks = _joined(library.landmarks, said)
        if not marks:
            raise MoueError("has no landmarks, and neither does the library", landmarks)
        return cls(library.with_(landmarks=marks), shown, marks, theirs, sculpt, landmarks)

    def surface(self, turn_over: bool) -> ClosestSurface:
        """The sculpt as it is to be fitted onto."""
        triangles = self.sculpt.polygons.triangles
        return ClosestSurface(self.sculpt.neutral, triangles[:, ::-1] if turn_over else triangles)

    @cached_property
    def notes(self) -> tuple[str, ...]:
        """What a person should know before the fit."""
        count = len(self.sculpt_marks.points)
        return (f"The fit goes through {count} landmarks only; place more to hold it better.",) if count < FEW else ()

    def fit(self, options: FitOptions, progress: Progress | None = None) -> FittedHead:
        """The library fitted onto the sculpt. Raises MoueError, naming the landmarks' file or the sculpt."""
        try:
            pairs = landmark_pairs(self.library, self.marks, self.sculpt_marks, self.sculpt.neutral)
            check_pairs(pairs, self.library, self.surface(options.turn_over), options.any_size, self.sculpt_file)
        except MoueError as error:
            where = self.sculpt_file if error.where == self.sculpt_file else self.landmark_file
            raise MoueError(error.what, where, hint=error.hint) from None
        try:
            return fit_head(
                self.library, self.sculpt.neutral, self.sculpt.polygons, self.marks, self.sculpt_marks,
                replace(options, where=self.sculpt_file), progress,
            )  # fmt: skip
        except MoueError as error:
            raise error.at(self.sculpt_file) from None

    def write_guesses(self, fitted: FittedHead, turn_over: bool, path: Path) -> None:
        """Write the landmarks of both sides to `path`, those that nobody placed where the fit has brought them."""
        found = found_landmarks(
            self.library, fitted.head.neutral, self.surface(turn_over), self.sculpt_marks.points
        )
        every = replace(self.sculpt_marks, points={**self.sculpt_marks.points, **found})
        write_landmarks(path, self.marks, every, mm_per(self.library.unit), mm_per(self.sculpt.unit))


def _joined(own: Landmarks | None, said: Landmarks) -> Landmarks:
    """The library's landmarks with those that the file says in their place."""
    if own is None:
        return said
    return Landmarks({**own.points, **said.points}, {**own.curves, **said.curves})
