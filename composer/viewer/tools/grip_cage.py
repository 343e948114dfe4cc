"""A vertex or a loop of the fitted library in the hand: it is drawn along the sculpt with the skin about it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from composer.fitting.bound_parts import take_along
from composer.fitting.grip import Grip, Grips, led_along, mirrored_shift
from composer.geometry.edge_loop import edge_loop, nearest_edge
from composer.geometry.half_edges import HalfEdges
from composer.head.places import SurfacePoint
from composer.head.symmetry import pairs_of
from composer.viewer.new_head.fit_work import free_of
from composer.viewer.new_head.new_head import NOW, NewHead
from composer.viewer.render.picking import Hit
from composer.viewer.session.fitting import Fitting
from composer.viewer.session.pointing import look_up_new
from composer.viewer.session.stage import Stage
from composer.viewer.tools.desk import Desk
from composer.viewer.tools.gestures import Abandoned, HeadTool, Point, Tool

LEAST_PX = 2.0
"""Way of the pointer below which a press is no drag."""
WIDER = 2.0
"""The least radius for each mm that is drawn (our choice): a ramp of smoothstep is then nowhere steeper than 0.75, and
polygons on it are pressed together to a quarter at most."""
SLACK = 1.3
"""By how much a radius that has widened may differ from the least one before the grip is made again (our choice)."""
MOST_PINS = 12
"""Vertices of a loop that the next whole fit goes through, spread over what was moved of it (our choice)."""
FIRM = 0.5
"""Weight from which a vertex of a loop counts as moved by the hand and not merely taken along (our choice)."""


@dataclass(frozen=True)
class Piece:
    """What lies under the pointer: a vertex of the library, the `line` through it where loops are drawn, whether it is
    closed, and the number of the vertex in it."""

    vertex: int
    line: NDArray[np.int64] | None = None
    closed: bool = False
    held: int = 0


def piece_at(new: NewHead, tool: str, hit: Hit) -> Piece:
    """The vertex nearest to a hit on the library, or with the tool "loop" the loop through the nearest edge."""
    vertex = int(hit.corners[int(np.argmax(hit.bary))])
    if tool != "loop":
        return Piece(vertex)
    mesh = new.library.surface.derived(_half_edges)
    line, closed = edge_loop(mesh, nearest_edge(mesh, hit.corners, hit.bary))
    on_line = line[np.isin(line, hit.corners)]
    weight = {int(v): float(w) for v, w in zip(hit.corners, hit.bary, strict=True)}
    vertex = max((int(v) for v in on_line), key=lambda v: weight[v])
    return Piece(vertex, line, closed, int(np.flatnonzero(line == vertex)[0]))


def led_line(new: NewHead, piece: Piece, radius_mm: float) -> tuple[NDArray[np.int64], bool]:
    """The vertices (k,) that a grip with this radius leads, in order along the loop, and whether they are all of a
    closed loop; the one vertex where no loop is held."""
    if piece.line is None or new.cage is None:
        return np.array([piece.vertex]), False
    line, held = piece.line, piece.held
    if piece.closed:
        line, held = np.roll(line, len(line) // 2 - held), len(line) // 2
    led = led_along(new.cage[line], piece.closed, held, radius_mm)
    return line[led], piece.closed and bool(led.all())


def drag_piece(desk: Desk, at: Point) -> Tool:
    """Draw the vertex or loop under the pointer along the sculpt; the wheel changes how much goes along. One drag is
    one step; taken back, it leaves no trace."""
    stage, fitting, new = desk.stage, desk.fitting, desk.stage.new_head
    assert new is not None
    new.look_at(NOW)
    hit = look_up_new(stage, at.x, at.y, "library")
    drag = _Drag(stage, fitting, new, piece_at(new, fitting.tool, hit)) if hit is not None else None
    moved = False
    try:
        while True:
            point = yield
            moved = moved or abs(point.x - at.x) + abs(point.y - at.y) > LEAST_PX
            if drag is not None and moved:
                drag.follow(point)
            if point.released:
                break
        if drag is None:
            stage.say("Press on the library's loops, on the place that is to be moved.")
        elif moved:
            drag.drop()
        else:
            new.preview(None)
    except Abandoned:
        new.preview(None)


class _Drag:
    """One drag: the grip on what was pressed, and on its mirror image where both sides are wanted."""

    def __init__(self, stage: Stage, fitting: Fitting, new: NewHead, piece: Piece) -> None:
        assert new.cage is not None and new.cage_surface is not None and new.fitted is not None
        self._stage, self._fitting, self._new, self._piece = stage, fitting, new, piece
        still = new.zones.still
        self._cage = new.cage
        self._grips = Grips(
            new.cage_surface, new.fitted.sculpt.surface, new.library.neutral,
            (~new.library.skin) | (still >= FIRM if still is not None else False),
            free_of(new.fitted, new.zones) >= FIRM,
        )  # fmt: skip
        self._turn = new.fitted.aligned.rotation
        self._partner = pairs_of(new.library) if fitting.mirrored else None
        if fitting.mirrored and self._partner is None:
            stage.say("This library is not symmetric: only the one side moves.")
        self._shift = np.zeros(3)
        self._radius = -1.0
        self._share = 1.0
        self._held: list[Grip] = []

    def follow(self, point: Point) -> None:
        """Move so that what was pressed lies on the sculpt under the pointer."""
        hit = look_up_new(self._stage, point.x, point.y, "sculpt")
        if hit is not None:
            self._shift = np.asarray(hit.point, dtype=np.float64) - self._cage[self._piece.vertex]
        wanted = max(self._fitting.radius_mm, WIDER * float(np.linalg.norm(self._shift)))
        if not wanted <= self._radius <= SLACK * wanted:
            self._radius = wanted if wanted <= self._fitting.radius_mm else SLACK**0.5 * wanted
            self._held = self._taken()
        self._new.preview(self._moved())

    def drop(self) -> None:
        """Make one step of it, which the next whole fit remembers."""
        cage = self._moved()
        new, moved = self._new, np.abs(cage - self._cage).max(axis=1) > 0
        if not moved.any():
            new.preview(None)
            return
        if self._share < 1.0:
            self._stage.say(f"It went {100 * self._share:.0f} percent of the way: beyond that a polygon turns over.")
        firm = [v for v in self._firm() if moved[v]]
        places = dict(zip(firm, new.on_sculpt(cage[firm]), strict=True)) if firm else {}
        new.stand(cage, "by hand", **_remembered(new, places))

    def _taken(self) -> list[Grip]:
        piece = self._piece
        grips = [self._grip(piece.vertex, piece.line, piece.held)]
        if self._partner is not None:
            other = int(self._partner[piece.vertex])
            line = None if piece.line is None else self._partner[piece.line]
            if other >= 0 and other != piece.vertex and (line is None or (line >= 0).all()):
                grips.append(self._grip(other, line, piece.held))
        return grips

    def _grip(self, vertex: int, line: NDArray | None, held: int) -> Grip:
        if line is None or len(line) < 3:
            return self._grips.vertex(vertex, self._radius)
        return self._grips.loop(np.asarray(line, dtype=np.int64), self._piece.closed, held, self._radius)

    def _moved(self) -> NDArray[np.float64]:
        """(n, 3) mm the cage with all that is held moved. Where both sides meet, the middle of both is taken."""
        way, times = np.zeros_like(self._cage), np.zeros(len(self._cage))
        shares = []
        for number, grip in enumerate(self._held):
            result = grip.moved(self._shift if number == 0 else mirrored_shift(self._shift, self._turn))
            shares.append(result.share)
            way[grip.held.vertices] += result.positions - self._cage[grip.held.vertices]
            times[grip.held.vertices] += 1.0
        self._share = min(shares, default=1.0)
        moved = np.where((times > 0)[:, None], self._cage + way / np.maximum(times, 1.0)[:, None], self._cage)
        twice = np.flatnonzero(times > 1)
        if len(twice):
            assert self._new.fitted is not None
            moved[twice] = self._new.fitted.sculpt.surface.nearby(moved[twice]).points
        return take_along(self._new.library, self._cage, moved)

    def _firm(self) -> list[int]:
        """The vertices that the next whole fit goes through: what was held, of a loop some along it."""
        if self._piece.line is None:
            own = [self._piece.vertex]
        else:
            grip = self._held[0]
            firm = set(grip.held.vertices[(grip.held.weight >= FIRM) & grip.follows].tolist())
            along = [int(v) for v in self._piece.line if int(v) in firm]
            own = along[:: max(-(-len(along) // MOST_PINS), 1)] or [self._piece.vertex]
        if self._partner is not None and len(self._held) > 1:
            own = own + [int(self._partner[v]) for v in own]
        return sorted(set(own))


def _remembered(new: NewHead, places: dict[int, SurfacePoint]) -> dict:
    """What a step keeps of moved vertices: a landmark that lies at one of them moves along, the others are pins."""
    marks, points = new.marks, new.library.landmarks.points if new.library.landmarks else {}
    named = {vertex: name for name, vertex in points.items() if isinstance(vertex, int) and name in marks.placed}
    moved = {named[v]: place for v, place in places.items() if v in named}
    pins = {**new.step.pins, **{v: place for v, place in places.items() if v not in named}}
    if not moved:
        return {"pins": pins}
    return {"pins": pins, "marks": replace(marks, places=marks.places | moved)}


def _half_edges(surface) -> HalfEdges:  # type: ignore[no-untyped-def]
    return HalfEdges(surface.polygons)


GRIP_CAGE = HeadTool(
    "grip a loop", "left", "", lambda desk: desk.stage.place == "new" and desk.fitting.gripping, drag_piece,
    "drag a vertex or a loop of a fitted library", "it goes along the sculpt; the wheel changes how much",
)  # fmt: skip
