"""Painting a region's mask on the head: the brush, strokes that follow the pointer, and what they leave.

While a stroke is under way only this object changes: the masks of the document become new ones, in one step, when
it ends. Mirrored strokes fall on the region of the other side where there is one, else on the same mask.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from composer.document.project import Project
from composer.edits.regions import set_mask
from composer.edits.sides import partner
from composer.edits.take_ground import given_up, take_ground
from composer.errors import MoueError
from composer.geometry.barriers import Barriers
from composer.head.barrier_lines import barrier_lines
from composer.mixing.recipe import ALL
from composer.viewer.render.picking import Frozen, Hit, Picker
from composer.viewer.session.same_key import same_key
from composer.viewer.session.session import Session
from masks.brush_ring import ring
from masks.combine import invert
from masks.paint import Brush, Kind, Painter, Stroke, fill
from masks.partition import effective_masks
from masks.smooth import smoothed_by

Floats = NDArray[np.float64]
Pressure = Literal["none", "radius", "strength"]
LEAST_MM, MOST_MM = 1.0, 120.0


def _joined(strokes: list[Stroke], at: NDArray[np.int64] | slice = slice(None)) -> Floats:
    """(k,) one mask at some vertices from strokes over the same mask: at each vertex the one that covers it more."""
    values, cover = np.array(strokes[0].values[at]), np.array(strokes[0].cover[at])
    for stroke in strokes[1:]:
        more = stroke.cover[at] > cover
        values[more], cover[more] = stroke.values[at][more], stroke.cover[at][more]
    return values


@dataclass
class Painting:
    """The brush of one session: `kind`, `radius_mm`, `strength`, `hardness` as in `masks.paint`. Where it `takes`, the
    other regions of the set give way to what is painted, instead of sharing with it. While a stroke is under way `raw`
    and `effective` (n,) are the painted region's masks; a dab changes them in place, where it fell alone, and they are
    another view each time."""

    kind: Kind = "paint"
    radius_mm: float = 12.0
    strength: float = 1.0
    hardness: float = 0.2
    mirrored: bool = False
    takes: bool = False
    on_pose: bool = False
    smooth_mm: float = 4.0
    pressure: Pressure = "none"
    raw: Floats | None = None
    effective: Floats | None = None

    def __post_init__(self) -> None:
        self._painter: Painter | None = None
        self._key: tuple = ()
        self._strokes: dict[str, list[Stroke]] = {}
        self._frozen: Frozen | None = None
        self._kept: Frozen | None = None
        self._region = ""

    # The surface that is painted on.

    def painter_of(self, session: Session) -> Painter:
        """The painter on the neutral, or on the pose that is open where that is wanted; made once for each."""
        if not self.ready_for(session):
            lines = barrier_lines(session.head)
            barriers = Barriers(session.head.surface, lines)
            surface = session.head.surface
            if self.on_pose:
                surface = surface.at(np.asarray(session.positions(), dtype=np.float64))
            painter = Painter(surface, barriers)
            painter.prepare()
            self._painter, self._key = painter, self._wanted(session)
        assert self._painter is not None
        return self._painter

    def ready_for(self, session: Session) -> bool:
        """Whether the painter is made for what is open, so that a dab need not wait."""
        return self._painter is not None and same_key(self._key, self._wanted(session))

    def _wanted(self, session: Session) -> tuple:
        """What the painter is made from: the head, and the version of the pose where that is painted on."""
        return session.head, session.version if self.on_pose else -1

    def ring(self, session: Session, hit: Hit) -> tuple[NDArray, NDArray, NDArray] | None:
        """The brush's ring about a place, as interpolated edges (a, b, t); None off the skin."""
        if hit.part != "skin" or not self.ready_for(session):
            return None
        return ring(self.painter_of(session), hit.corners, hit.bary, self.radius_mm)

    def _still(self, picker: Picker, positions: NDArray) -> Frozen:
        """A picker of a pose (n, 3) mm; the last one where the pose is the same, as from stroke to stroke."""
        if self._kept is None or not self._kept.is_of(picker, positions):
            self._kept = picker.freeze(positions)
        return self._kept

    # One stroke.

    @property
    def stroking(self) -> bool:
        """Whether a stroke is under way."""
        return self._frozen is not None

    def begin(self, session: Session, picker: Picker, hit: Hit, pressure: float = 1.0) -> None:
        """Begin a stroke at a place of the skin. Raises MoueError where the chosen region cannot be painted."""
        if session.region == ALL or session.region not in session.evaluated.raw:
            raise MoueError("choose a region to paint; the base row covers the whole face")
        if session.project.region(session.region).locked:
            raise MoueError(f"{session.region} is locked: its mask stays as it is", hint="unlock it in its menu")
        painter = self.painter_of(session)
        self._region = session.region
        self._frozen = self._still(picker, session.positions())
        targets = [session.region]
        if self.mirrored:
            _ = session.evaluated.mirror_map  # found now, not in the middle of a stroke
            other = partner(session.region, session.region_names)
            targets = [session.region, other or session.region]
        self._strokes = {}
        brush = self._brush(pressure)
        for name in targets:
            stroke = Stroke(painter, session.evaluated.raw[name], brush, self.kind)
            self._strokes.setdefault(name, []).append(stroke)
        self.raw = np.array(session.evaluated.raw[self._region])
        self.effective = np.array(session.evaluated.effective[self._region])
        self.dab(session, hit, pressure)

    def pick(self, origin: NDArray, direction: NDArray) -> Hit | None:
        """What of the pose on which the stroke began lies on a ray."""
        return self._frozen.pick(origin, direction) if self._frozen is not None else None

    def dab(self, session: Session, hit: Hit, pressure: float = 1.0) -> None:
        """Add a dab at a place of the skin, and at its mirror image where strokes are mirrored."""
        if hit.part != "skin" or not self._strokes:
            return
        brush = self._brush(pressure)
        touched = [self._strokes[self._region][0].dab(hit.corners, hit.bary, brush)]
        if self.mirrored:
            *_, strokes = self._strokes.values()
            corners = session.evaluated.mirror_map.nearest[np.asarray(hit.corners)]
            touched.append(strokes[-1].dab(corners, hit.bary, brush))
        self._share(session, np.unique(np.concatenate(touched)))

    def _share(self, session: Session, touched: NDArray[np.int64]) -> None:
        """Bring both masks of the painted region up to date at some vertices."""
        if self.raw is None or self.effective is None or not len(touched):
            return
        regions = session.project.regions
        here = {r.name: session.evaluated.raw[r.name][touched] for r in regions}
        painted = {name: _joined(strokes, touched) for name, strokes in self._strokes.items()}
        given = given_up(session.project, here, painted) if self._taking else {}
        masks = [({**here, **given} | painted)[r.name] for r in regions]
        shared = effective_masks(masks, [r.locked for r in regions], [r.set for r in regions])
        at = [r.name for r in regions].index(self._region)
        self.raw[touched], self.effective[touched] = painted[self._region], shared[at]
        self.raw, self.effective = self.raw.view(), self.effective.view()

    def end(self, session: Session) -> None:
        """End the stroke: its masks go into the document as one step."""
        before = session.evaluated.raw
        masks = {name: _joined(strokes) for name, strokes in self._strokes.items()}
        if self._taking:
            masks = given_up(session.project, before, masks) | masks
        self.abandon()

        def edit(project: Project) -> Project:
            for name, values in masks.items():
                if not np.array_equal(values, before[name]):
                    project = set_mask(project, name, values)
            return project

        session.apply(edit)

    @property
    def _taking(self) -> bool:
        return self.takes and self.kind == "paint"

    @property
    def painted(self) -> str:
        """The region that the stroke under way paints; "" where there is none."""
        return self._region if self.stroking else ""

    def abandon(self) -> None:
        """Drop the stroke; no mask has changed."""
        self._strokes, self._frozen = {}, None
        self.raw = self.effective = None

    def _brush(self, pressure: float) -> Brush:
        radius, strength = self.radius_mm, self.strength
        if self.pressure == "radius":
            radius *= max(pressure, 0.05)
        elif self.pressure == "strength":
            strength *= pressure
        return Brush(max(radius, LEAST_MM), min(max(strength, 0.0), 1.0), self.hardness)

    # Whole masks.

    def whole(self, session: Session, what: str) -> None:
        """Fill, invert, clear or smooth the chosen region's mask at once, or "take" its ground from the others. Raises
        MoueError for the base row and a locked region."""
        name = session.region
        if name == ALL or name not in session.evaluated.raw:
            raise MoueError("choose a region first; the base row covers the whole face")
        if session.project.region(name).locked:
            raise MoueError(f"{name} is locked: its mask stays as it is", hint="unlock it in its menu")
        if what == "take":
            session.apply(lambda project: take_ground(project, name, session.evaluated.raw))
            return
        raw = session.evaluated.raw[name]
        if what == "invert":
            values = invert(raw)
        elif what == "smooth":
            values = smoothed_by(self.painter_of(session).barriers, raw, self.smooth_mm)
        else:
            values = fill(raw, session.head.skin, 1.0 if what == "fill" else 0.0)
        session.apply(lambda project: set_mask(project, name, values))

    def larger(self, by: float) -> None:
        """The radius times 1.12 for each step of `by`."""
        self.radius_mm = float(min(max(self.radius_mm * 1.12**by, LEAST_MM), MOST_MM))

    def stronger(self, by: float) -> None:
        """The strength more by 0.05 for each step of `by`."""
        self.strength = round(min(max(self.strength + 0.05 * by, 0.05), 1.0), 3)
