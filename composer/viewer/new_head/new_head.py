"""A sculpt beside the library's head: its landmarks, the zones painted for the fit, and how far the library has been
fitted onto it. Every deed is a step that can be taken back. Nothing here knows of windows.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.fitting.chain import FittedHead
from composer.fitting.closest import ClosestSurface
from composer.fitting.fitted_landmarks import found_landmarks
from composer.fitting.guess import carried_by, guess_landmarks
from composer.geometry.surface import Surface
from composer.head.asking_order import asking_order
from composer.head.fit_zones import FitZones
from composer.head.head import Head
from composer.head.landmarks import Landmarks, write_landmarks
from composer.head.places import SurfacePoint, resolve
from composer.viewer.new_head.both_surfaces import BothSurfaces, Range, sculpt_line
from composer.viewer.new_head.curves import between, is_open, laid_curves
from composer.viewer.new_head.steps import Marks, Step, Steps
from composer.viewer.render.look import Line

Floats = NDArray[np.float64]
NOW = ""
"""The look at the cage as it stands, and not after one of the fit's stages."""


class NewHead:
    """One sculpt that a library is fitted onto."""

    def __init__(self, library: Head, sculpt: Head) -> None:
        """Take the library's head and the sculpt as a head without shapes, both in mm."""
        self.library, self.sculpt = library, sculpt
        self.surface = ClosestSurface(sculpt.neutral, sculpt.polygons.triangles)
        self.n_sculpt = sculpt.n_vertices
        self.drawn = BothSurfaces(sculpt, library)
        self._steps = Steps()
        self._saved = Marks()
        self._saved_zones = FitZones()
        self._lines: dict[tuple[SurfacePoint, ...], Line] = {}
        self._preview: Floats | None = None
        self._look = NOW
        self._surface_of: tuple[Floats | None, Surface | None] = (None, None)
        self._touched: Range | None = None
        self.notes: list[str] = list(sculpt.notes)
        self.version = 0

    # What stands.

    @property
    def step(self) -> Step:
        """Everything as it stands after the last deed."""
        return self._steps.now

    @property
    def marks(self) -> Marks:
        """Where landmarks lie on the sculpt now."""
        return self.step.marks

    @property
    def zones(self) -> FitZones:
        """The zones that are painted for the fit."""
        return self.step.zones

    @property
    def stage(self) -> str:
        """How the cage came to where it stands, as `Step.stage`."""
        return self.step.stage

    @property
    def fitted(self) -> FittedHead | None:
        """The last whole fit."""
        return self.step.fitted

    @property
    def names(self) -> list[str]:
        """The landmarks that the library's head has, in the order in which a person is asked for them."""
        return self._order

    @cached_property
    def _order(self) -> list[str]:
        return asking_order(self.library)

    @cached_property
    def lines(self) -> list[str]:
        """The landmark curves of the library's head that go from one end to another, in order."""
        marks = self.library.landmarks
        if marks is None:
            return []
        drawn = {name: marks.curve_positions(name, self.library.neutral) for name in marks.curves}
        return [name for name, line in drawn.items() if is_open(line)]

    @property
    def placed(self) -> dict[str, SurfacePoint]:
        """The places that are not guesses."""
        return self.marks.placed

    def next_asked(self) -> str:
        """The landmark that is asked for next: the first that has no place yet, "" where all have one."""
        return next((name for name in self.names if name not in self.marks.places), "")

    # Landmarks.

    def place(self, name: str, place: SurfacePoint) -> None:
        """Put a landmark on the sculpt, or one more point of a landmark curve."""
        marks = self.marks
        if name in self.lines:
            self.draw(name, (place,))
        else:
            self._mark(replace(marks, places=marks.places | {name: place}, guessed=marks.guessed - {name}))

    def draw(self, name: str, places: tuple[SurfacePoint, ...]) -> None:
        """Put more points at the end of a landmark curve, as one step."""
        marks = self.marks
        self._mark(replace(marks, curves=marks.curves | {name: (*marks.curves.get(name, ()), *places)}))

    def take_away(self, name: str) -> None:
        """Remove a landmark from the sculpt, or the last point of a landmark curve."""
        marks = self.marks
        if name in marks.curves:
            shortened = {name: marks.curves[name][:-1]}
            self._mark(replace(marks, curves={k: v for k, v in (marks.curves | shortened).items() if v}))
        else:
            places = {k: v for k, v in marks.places.items() if k != name}
            self._mark(replace(marks, places=places, guessed=marks.guessed - {name}, pins=marks.pins - {name}))

    def pin(self, name: str, held: bool) -> None:
        """Whether a fit holds a placed landmark where it lies; else it pulls."""
        marks = self.marks
        self._mark(replace(marks, pins=marks.pins | {name} if held else marks.pins - {name}))

    def guess(self) -> None:
        """Guess every landmark that nobody has placed and that the sculpt has: from those that somebody has, and after
        a fit from where it has brought them. Raises MoueError for too few."""
        placed = self.placed
        if self.uncarried and self.cage is not None:
            guessed = found_landmarks(self.library, self.cage, self.surface, placed)
        else:
            guessed = guess_landmarks(self.library, self.surface, placed)
        self._mark(replace(self.marks, places=placed | guessed, guessed=frozenset(guessed)))

    def confirm(self) -> None:
        """Count every guess as placed."""
        self._mark(replace(self.marks, guessed=frozenset()))

    def landmarks(self) -> Landmarks:
        """The sculpt's landmarks that a fit goes through: those that are placed, and the curves that have two points or
        more, laid on the surface in the library's direction. Guesses are left out: a wrong one misleads the fit."""
        return Landmarks(self.placed, laid_curves(self.library, self.surface, self.marks), self.marks.pinned)

    def asked_since(self) -> list[str]:
        """The landmarks and curves that were placed, moved, pinned or drawn since the cage was fitted through them."""
        then, now = self.step.through, self.marks
        held = now.pinned - then.pinned
        moved = [name for name, place in now.placed.items() if name in held or then.placed.get(name) != place]
        drawn = [n for n, line in now.curves.items() if len(line) > 1 and then.curves.get(n) != line]
        return [*moved, *drawn]

    def curve_lines(self) -> tuple[Line, ...]:
        """A line over the sculpt for each curve that has two points or more."""
        kept = {}
        for points in self.marks.curves.values():
            if len(points) > 1:
                kept[points] = self._lines.get(points) or sculpt_line(between(self.surface, points))
        self._lines = kept
        return tuple(kept.values())

    def on_sculpt(self, points: NDArray) -> list[SurfacePoint]:
        """The places of the sculpt nearest to points (k, 3) mm."""
        return self.surface.surface_points(self.surface.closest(points))

    # Files.

    @property
    def landmark_place(self) -> Path:
        """The file in which the sculpt's landmarks and the zones lie: beside its own."""
        path = self.sculpt.path or Path(f"{self.sculpt.name}.obj")
        return path.with_name(f"{path.stem}.landmarks.toml")

    @property
    def copy_place(self) -> Path:
        """The file in which a copy of what is not saved of them is kept."""
        return self.landmark_place.with_name(f".{self.landmark_place.stem}.autosave.toml")

    @property
    def unsaved(self) -> bool:
        """Whether landmarks or zones have changed since they were saved or read; guesses do not count."""
        now, saved = self.marks, self._saved
        marks = (now.placed, now.curves, now.pinned) != (saved.places, saved.curves, saved.pinned)
        return marks or not self.zones.same_as(self._saved_zones)

    @property
    def uncarried(self) -> bool:
        """Whether there is a fit that is not carried over yet; until then only the window holds it."""
        return self.stage not in ("", "carried")

    def save_landmarks(self) -> Path:
        """Write both sides of the landmarks and the zones, to be used by `moue fit` or read again; where. Raises
        MoueError."""
        self.write_landmarks(self.landmark_place)
        self._saved, self._saved_zones = replace(self.marks, places=self.placed, guessed=frozenset()), self.zones
        return self.landmark_place

    def write_landmarks(self, path: Path) -> None:
        """Write both sides of the placed landmarks and the zones elsewhere; whether they count as saved does not
        change. Raises MoueError."""
        sculpt_side = Landmarks(self.placed, self.marks.curves, self.marks.pinned)
        zones = self.zones.table(self.library.polygons)
        write_landmarks(path, self.library.landmarks or Landmarks(), sculpt_side, zones=zones)

    def read_landmarks(self, sculpt_side: Landmarks, saved: bool = True, zones: FitZones | None = None) -> None:
        """Take over places and zones that a file holds; positions are put on the sculpt's surface. They are a step of
        their own, and are `saved` unless they come from a copy."""
        known = set(self.names)
        places = {
            name: place
            if isinstance(place, SurfacePoint)
            else self.on_sculpt(resolve(place, self.sculpt.neutral)[None])[0]
            for name, place in sculpt_side.points.items()
            if name in known
        }
        curves = {
            name: tuple(self.on_sculpt(sculpt_side.curve_positions(name, self.sculpt.neutral)))
            for name in sculpt_side.curves
            if name in self.lines
        }
        self._mark(Marks(places, curves=curves, pins=sculpt_side.pinned & places.keys()), zones)
        if saved:
            self._saved, self._saved_zones = self.marks, self.zones

    # Where the library's loops stand.

    @property
    def cage(self) -> Floats | None:
        """(n, 3) mm the library's vertices where they now stand, None before three landmarks are placed."""
        return self.step.cage

    @property
    def cage_surface(self) -> Surface | None:
        """The library's polygons where they now stand, kept with what is built on it until they move."""
        if self.cage is not self._surface_of[0]:
            surface = None if self.cage is None else Surface(self.library.polygons, self.cage)
            self._surface_of = (self.cage, surface)
        return self._surface_of[1]

    def stand(
        self, cage: NDArray, stage: str, *, asked: Step | None = None, fitted: FittedHead | None = None,
        zones: FitZones | None = None, pins: Mapping[int, SurfacePoint] | None = None, marks: Marks | None = None,
    ) -> None:  # fmt: skip
        """Move the library's vertices to (n, 3) mm, as one step: by a `stage` as in `Step`, brought through the marks
        of the step `asked`, by a whole fit if that is given, with `zones`, `pins` or `marks` of its own. What is not
        given stays."""
        step = self.step
        if asked is not None:
            step = replace(step, through=asked.marks)
        if fitted is not None:
            step = replace(step, fitted=fitted, zones_then=self.zones if asked is None else asked.zones)
        if marks is not None:
            step = replace(step, marks=marks, through=_both(step.through, marks))
        if zones is not None:
            step = replace(step, zones=zones, zones_then=zones)
        kept = np.array(cage, dtype=np.float64)
        kept.setflags(write=False)
        self._add(replace(step, cage=kept, stage=stage, pins=step.pins if pins is None else pins))

    def paint(self, zones: FitZones) -> None:
        """Take over painted zones as one step; the cage stays."""
        self._add(replace(self.step, zones=zones))

    def preview(self, cage: NDArray | None) -> None:
        """Show the library's vertices at (n, 3) mm while something is held; None shows what stands again."""
        self._preview = None if cage is None else np.asarray(cage, dtype=np.float64)
        self._follow()

    @property
    def looked_at(self) -> str:
        """The stage of the fit that is looked at, NOW for the cage as it stands."""
        return self._look if any(look.words == self._look for look in self.looks) else NOW

    @property
    def looks(self) -> tuple:
        """The stages of the last fit that can be looked at, in order (`composer.fitting.chain.StageLook`)."""
        return self.fitted.looks if self.fitted is not None else ()

    def look_at(self, words: str) -> None:
        """Look at the cage after one of the fit's stages; NOW for the cage as it stands."""
        self._look = words
        self._follow()

    @property
    def shown_cage(self) -> NDArray | None:
        """(n, 3) mm what is seen of the library: a preview, a stage that is looked at, or where it stands."""
        if self._preview is not None:
            return self._preview
        look = next((look for look in self.looks if look.words == self.looked_at), None)
        return look.positions if look is not None else self.cage

    def ghost(self) -> tuple[Line, ...]:
        """The library's edges over the sculpt, once there is a warp or a fit."""
        return (self.drawn.edges,) if self.cage is not None else ()

    def positions(self) -> NDArray[np.float32]:
        """(m + n, 3) float32 mm, the sculpt and the library's vertices."""
        return self.drawn.positions

    def take_touched(self) -> Range | None:
        """The range of vertices that moved since the last call; None for all of them."""
        touched, self._touched = self._touched, (0, 0)
        return touched

    def distance_mm(self) -> Floats | None:
        """(n,) how far each of the library's vertices lies from the sculpt; None before there is a warp or a fit."""
        if self.shown_cage is None:
            return None
        find = self.surface.closest if self._preview is None else self.surface.nearby
        return find(self.shown_cage).distance

    # Steps.

    def undo(self) -> None:
        """One step back."""
        self._go(-1)

    def redo(self) -> None:
        """One step forward."""
        self._go(1)

    @property
    def can_undo(self) -> bool:
        """Whether there is a step to undo."""
        return self._steps.can_undo

    @property
    def can_redo(self) -> bool:
        """Whether there is a step to redo."""
        return self._steps.can_redo

    def _go(self, by: int) -> None:
        self._steps.go(by)
        self._preview, self._look = None, NOW
        self._follow()

    def _mark(self, marks: Marks, zones: FitZones | None = None) -> None:
        """One step with other marks; before there is a fit the library follows them."""
        step = replace(self.step, marks=marks, zones=self.zones if zones is None else zones)
        if step.stage in ("", "carried"):
            try:
                carried = carried_by(self.library, self.surface, marks.placed, self.library.neutral)
            except MoueError:
                step = replace(step, cage=None, stage="")
            else:
                step = replace(step, cage=carried, stage="carried")
        self._add(step)

    def _add(self, step: Step) -> None:
        self._steps.add(step)
        self._go(0)

    def _follow(self) -> None:
        moved = self.drawn.move(self.shown_cage)
        if self._touched is not None and moved[1] > moved[0]:
            first, last = self._touched
            self._touched = moved if last <= first else (min(first, moved[0]), max(last, moved[1]))
        self.version += 1


def _both(through: Marks, marks: Marks) -> Marks:
    """The marks that a cage goes through once those of them that it is fitted through have been moved along with it."""
    places = {name: marks.places[name] for name in through.places if name in marks.places}
    return replace(through, places=places)
