"""A fit from files: a library's head, a sculpt, and a file of landmarks on both."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

from composer.errors import MoueError
from composer.fitting.chain import FittedHead, fit_head
from composer.fitting.closest import ClosestSurface
from composer.fitting.fit_state import FitOptions
from composer.fitting.fitted_landmarks import found_landmarks
from composer.formats.mesh_head import head_of
from composer.formats.sculpt_mesh import read_sculpt_mesh
from composer.head.fit_zones import FitZones
from composer.head.head import Head
from composer.head.landmark_file import read_landmark_pairs, read_zones, write_landmarks
from composer.head.landmarks import Landmarks
from composer.head.turning import marks_turned
from composer.progress import Progress
from composer.units import mm_per

FEW = 6
"""With fewer landmarks than this a note asks for more (our choice)."""


@dataclass(frozen=True, eq=False)
class FitFiles:
    """The input of a fit. `library` has its landmarks replaced by those of the file where both have one; `marks` are
    these landmarks, `sculpt_marks` the sculpt's; `sculpt_file` and `landmark_file`, None without landmarks, are for
    messages; `zones` were painted on the library and lie in the file of landmarks."""

    library: Head
    sculpt: Head
    marks: Landmarks
    sculpt_marks: Landmarks
    sculpt_file: Path
    landmark_file: Path | None
    zones: FitZones = FitZones()

    @classmethod
    def read(
        cls, library: Head, sculpt: Path | str, landmarks: Path | str | None, sculpt_unit: str | None = None
    ) -> FitFiles:
        """Read the sculpt, of any topology, and the landmarks; without a file of them the head is found by its form.
        Raises MoueError, naming the file, where one cannot be used, and where neither the file nor the library has
        landmarks on the library."""
        sculpt = Path(sculpt)
        sculpt_head = head_of(read_sculpt_mesh(sculpt, sculpt_unit), sculpt_unit)
        if landmarks is None:
            return cls(library, sculpt_head, library.landmarks or Landmarks(), Landmarks(), sculpt, None)
        landmarks = Path(landmarks)
        file_marks, sculpt_marks = read_landmark_pairs(landmarks, mm_per(library.unit), mm_per(sculpt_head.unit))
        file_marks = marks_turned(file_marks, library.axes)
        marks = _joined(library.landmarks, file_marks)
        if not marks:
            raise MoueError("has no landmarks, and neither does the library", landmarks)
        return cls(library.with_(landmarks=marks), sculpt_head, marks, sculpt_marks, sculpt, landmarks,
                   read_zones(landmarks, library.polygons))  # fmt: skip

    def surface(self, turn_over: bool) -> ClosestSurface:
        """The sculpt's surface, its faces turned over where asked."""
        triangles = self.sculpt.polygons.triangles
        return ClosestSurface(self.sculpt.neutral, triangles[:, ::-1] if turn_over else triangles)

    @cached_property
    def notes(self) -> tuple[str, ...]:
        """Sentences for the user before the fit."""
        if self.landmark_file is None:
            return ()
        count = len(self.sculpt_marks.points)
        return (f"The fit goes through {count} landmarks only; place more to hold it better.",) if count < FEW else ()

    def fit(self, options: FitOptions, progress: Progress | None = None) -> FittedHead:
        """The library fitted onto the sculpt. Raises MoueError, naming the landmarks' file or the sculpt."""
        try:
            return fit_head(
                self.library, self.sculpt.neutral, self.sculpt.polygons, self.marks, self.sculpt_marks,
                self._asked(options),
                progress,
            )  # fmt: skip
        except MoueError as error:
            raise error.at(self.sculpt_file) from None

    def _asked(self, options: FitOptions) -> FitOptions:
        """The options with what the files say."""
        return replace(
            options.with_zones(self.zones), where=self.sculpt_file, marks_where=self.landmark_file,
            by_form=self.landmark_file is None,
        )  # fmt: skip

    def write_guesses(self, fitted: FittedHead, turn_over: bool, path: Path) -> None:
        """Write the landmarks of both sides to `path`; those that nobody placed are the guesses of the fit."""
        found = found_landmarks(
            self.library, fitted.head.neutral, self.surface(turn_over), self.sculpt_marks.points
        )
        every = replace(self.sculpt_marks, points={**self.sculpt_marks.points, **found})
        zones = self.zones.table(self.library.polygons)
        write_landmarks(path, self.marks, every, mm_per(self.library.unit), mm_per(self.sculpt.unit), zones)


def _joined(library_marks: Landmarks | None, file_marks: Landmarks) -> Landmarks:
    """The library's landmarks, replaced by those of the file where both have one."""
    if library_marks is None:
        return file_marks
    return Landmarks(
        {**library_marks.points, **file_marks.points}, {**library_marks.curves, **file_marks.curves}
    )
