"""The head of a session on the screen: its view, its small pictures, what is laid over it, and when it stands still."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from composer.head.coarse_head import coarse_head
from composer.head.head import Head
from composer.progress import Progress
from composer.viewer.new_head.new_head import NewHead
from composer.viewer.render.gpu_clock import GpuClock
from composer.viewer.render.look import Look
from composer.viewer.render.texture import texture_of
from composer.viewer.render.time_for_more import TimeForMore
from composer.viewer.render.view3d import View3D
from composer.viewer.scene.card import FROM_VERTICES, Card, card_for
from composer.viewer.scene.compared import Compared
from composer.viewer.scene.ghosts import Ghosts
from composer.viewer.scene.look_of_new import look_of_new, loupe_middle
from composer.viewer.scene.new_head_colours import NewHeadColours
from composer.viewer.scene.overlay import Overlays, Shown
from composer.viewer.scene.picture_on_head import Outline, look_of
from composer.viewer.scene.thumbs import Thumbs
from composer.viewer.session.painting import Painting
from composer.viewer.session.same_key import same_key
from composer.viewer.session.session import Session
from composer.viewer.session.stage import Stage
from composer.viewer.session.time_strip import TimeStrip
from composer.viewer.session.trying import Trying

LOUPE_PX, MAGNIFIED, NEAREST_LOUPE_MM = 132.0, 4.0, 30.0
"""Side of the loupe in points, how much larger it shows than the view, and how near its eye comes at most (our choice).
"""
STILL_SECONDS = 0.25
Shading = tuple[NDArray, NDArray | None, NDArray]
MOST_SHADED = 200_000
"""Vertices up to which a head's hollows are looked for at every vertex, and the light from every side: with more, the
light of each new view would cost more than its picture."""


class Drawing:
    """GL's things of one window; made with its context current. `card_from` vertices on, the card makes the poses."""

    def __init__(self) -> None:
        self.view = View3D()
        self.time_for_more = TimeForMore(self.view.software)
        self._clock = GpuClock()
        self.thumbs = Thumbs(self.view)
        self.card_from = FROM_VERTICES
        self.shown = Shown()
        self.other: int | None = None
        self._compared = Compared()
        self.ghosts: dict[str, int] = {}
        self._ghosts = Ghosts()
        self.texture: int | None = None
        self._overlays, self._outline = Overlays(), Outline()
        self._new_overlays = NewHeadColours()
        self._session: Session | None = None
        self._head: Head | None = None
        self._card: Card | None = None
        self._skin: NDArray | None = None
        self._eye: object = None
        self._new: NewHead | None = None
        self._new_view: View3D | None = None
        self._new_version = -1
        self._new_normals = np.zeros((0, 3), dtype=np.float32)
        self.loupe: int | None = None
        self._loupe_key: tuple = ()
        self._new_look: tuple[tuple, Look] | None = None
        self._moved_at = time.monotonic()

    @property
    def has_texture(self) -> bool:
        """Whether a picture of the skin lies beside the head."""
        return self._skin is not None

    def open(self, stage: Stage) -> None:
        """Draw another session from now on."""
        session = self._session = stage.session
        self._head = self._new = None
        self._compared.forget()
        self._ghosts.forget()
        if self._card is not None:
            self._card.close()
            self._card = None
        if session is None:
            return
        self._show(session.head)
        self.thumbs.open(session)
        software = self.view.software and self.card_from == FROM_VERTICES
        if not session.arriving:  # a neutral that is only looked at has no poses to make
            self._card = card_for(session, software, self.card_from)
        self._skin = texture_of(session.head)
        head = session.head
        if session.arriving and head.n_vertices > MOST_SHADED:
            return  # its coarser level is looked for once, when all of it is there
        stage.work.begin("Looking at hollows", lambda progress: hollows_of(head, progress), self._shade, quiet=True)

    def draw(
        self, stage: Stage, painting: Painting, trying: Trying, time_strip: TimeStrip, pixel_ratio: float, held: bool
    ) -> bool:  # fmt: skip
        """Draw the head as the stage stands; `held` says that something is being dragged or moves by itself. Whether
        another frame is worth drawing."""
        session = self._session
        assert session is not None and stage.eye is not None
        if session.head is not self._head and not session.arriving:
            self._show(session.head)
        card = self._card if session.live is not None else None
        still = time.monotonic() - self._moved_at > STILL_SECONDS and not held
        quick = self.view.software and not still and stage.overlay != "skin"
        frame = session.frame(quick) if card is None else None
        changed = card.follow() if card is not None else frame is not None and frame.changed
        if changed or stage.eye is not self._eye:
            self._moved_at, self._eye, still = time.monotonic(), stage.eye, False
        raw = painting.effective if painting.stroking else None
        self.shown = self._overlays.of(stage, trying, still, raw)
        look = look_of(stage, self.shown, self._outline, painting, self._skin)
        size = (max(round(stage.view[2] * pixel_ratio), 1), max(round(stage.view[3] * pixel_ratio), 1))
        soft = stage.settings.soft_shadows and self.time_for_more.on
        look, painted = replace(look, soft=soft), self.view.frames
        if not self.view.software:
            self._clock.begin()
        if card is not None:
            positions, normals = card.pose.positions_buffer, card.pose.normals_buffer
            self.texture = self.view.draw_buffers(positions, normals, look, stage.eye, size, changed, still)
        elif frame is not None:
            self.texture = self.view.draw(frame.positions, frame.normals, look, stage.eye, size, frame.touched, still)
        self._judge_time(soft, size[0] * size[1] if self.view.frames > painted else 0)
        self.other = self._compared.picture(stage, self.view, size)
        self.ghosts = self._ghosts.pictures(stage, time_strip, self.view, size)
        return not still

    def _judge_time(self, soft: bool, pixels: int) -> None:
        """Measure the frame just drawn, of `pixels`, none where it stood already, and learn from those before it."""
        self._clock.end(pixels, soft)
        for seconds, many, kind in self._clock.answers():
            if kind == self.time_for_more.on:  # what was begun before it changed tells nothing
                self.time_for_more.took(seconds, many)

    def draw_new(self, stage: Stage, pixel_ratio: float, held: bool) -> bool:
        """Draw the sculpt of a new head and the library's loops on it; as `draw`."""
        new = stage.new_head
        if new is None or stage.eye is None:
            self.texture, self.shown, self.other = None, Shown(), None
            return False
        self.other = None
        if self._new_view is None:
            self._new_view = View3D()
        if self._new is not new:
            self._new, self._new_version = new, -1
            self._new_view.open(new.drawn.head)
        if new.version != self._new_version or stage.eye is not self._eye:
            self._moved_at, self._eye = time.monotonic(), stage.eye
        touched = new.take_touched()
        if self._new_version < 0 or touched is None:
            self._new_normals, touched = new.drawn.normals.all(new.positions()), None
        elif touched[1] > touched[0]:
            new.drawn.normals.update(new.positions(), touched, self._new_normals)
        self._new_version = new.version
        still = time.monotonic() - self._moved_at > STILL_SECONDS and not held
        self.shown = self._new_overlays.of(stage, new)
        look = self._look_of_new(stage, new)
        size = (max(round(stage.view[2] * pixel_ratio), 1), max(round(stage.view[3] * pixel_ratio), 1))
        self.texture = self._new_view.draw(new.positions(), self._new_normals, look, stage.eye, size, touched, still)
        self._magnify(stage, new, look, round(LOUPE_PX * pixel_ratio * stage.settings.scale))
        return not still

    def _look_of_new(self, stage: Stage, new: NewHead) -> Look:
        """The look, the same object as long as nothing in it has changed."""
        key = (new, new.version, new.marks, stage.landmark, stage.moved_mark, stage.moved_line, stage.piece,
               self.shown.cover, stage.shown_of_new, stage.wire, stage.light)  # fmt: skip
        if self._new_look is None or not same_key(self._new_look[0], key):
            self._new_look = (key, look_of_new(stage, new, self.shown))
        return self._new_look[1]

    def _magnify(self, stage: Stage, new: NewHead, look: Look, side_px: int) -> None:
        """What lies under the pointer, or where the chosen landmark has its place, MAGNIFIED times as large."""
        assert self._new_view is not None and stage.eye is not None
        middle = loupe_middle(stage, new)
        key = (middle, stage.eye, new.version, side_px, look)
        if middle is None:
            self.loupe, self._loupe_key = None, ()
        elif not same_key(self._loupe_key, key):
            ratio = side_px / max(stage.view[3], 1.0)
            distance = max(stage.eye.distance * ratio / MAGNIFIED, NEAREST_LOUPE_MM)
            eye = replace(stage.eye, target=middle, distance=distance)
            self.loupe, self._loupe_key = self._new_view.magnified(look, eye, (side_px, side_px)), key

    def close(self) -> None:
        """Give everything back to GL."""
        if self._new_view is not None:
            self._new_view.close()
        self._ghosts.forget()
        self._clock.close()
        self.thumbs.close()
        if self._card is not None:
            self._card.close()
        self.view.close()

    def _show(self, head: Head) -> None:
        """Draw another head; one with the same mesh keeps its shading."""
        same = self._head is not None and head.polygons is self._head.polygons
        self._head = head
        if not same:
            self.view.open(head)
            self.time_for_more.forget()

    def _shade(self, shading: Shading | None) -> None:
        if self._head is not None and shading is not None and len(shading[0]) == self._head.n_vertices:
            self.view.shade(*shading)


def hollows_of(head: Head, progress: Progress) -> Shading | None:
    """(n,) how open to the sky every vertex of the head at rest is, (n, 16) how it lies in the window's light and (n,)
    how thin its skin is; of heads of many vertices the light is left out and the others are found on their coarser
    level, and None is given where they have none."""
    from composer.picture.figure import Figure
    from composer.viewer.render.daylight import daylight

    level = coarse_head(head) if head.n_vertices > MOST_SHADED else None
    if head.n_vertices > MOST_SHADED and level is None:
        return None
    progress(0.2, "finding hollows")
    figure = Figure.of(head if level is None else level.head, 0)
    openness = figure.rest.openness
    if level is not None:
        up = level.level.up
        return np.clip(up(openness), 0.0, 1.0), None, np.clip(up(figure.thinness), 0.0, 1.0)
    progress(0.7, "finding shadows")
    return openness, daylight(figure), figure.thinness
