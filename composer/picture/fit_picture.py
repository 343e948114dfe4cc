"""A fit in pictures: the library's head, the sculpt, the fitted head with its loops, and a heat map, side by side.

All stand in the library's own frame and share one camera a row, so that a picture can be compared with the one beside
it. `fit_picture` shows the face; `fit_close_ups` shows eye, nose, mouth and ear, and the face from below.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from composer.geometry.rigid import Similarity
from composer.head.head import Head
from composer.picture.camera import Camera
from composer.picture.face import box_about, face_points
from composer.picture.heat import Scale, draw_legend, legend_height, percentile_scale
from composer.picture.labels import line_height, write
from composer.picture.png import write_png
from composer.picture.render import BACKGROUND, Studio
from composer.picture.views import camera_of
from composer.picture.wires import draw_wires

if TYPE_CHECKING:
    from PIL.Image import Image

    from composer.fitting.chain import FittedHead

PICTURE, CLOSE_UPS_FILE = "fit.png", "close_ups.png"
"""The files of the two pictures."""
VIEWS = ("front", "three_quarter")
SIZE = (420, 500)
"""Pixels of each picture."""
FILL = 0.92
"""Share of a picture that the face fills (our choice)."""
CLOSE_MM = 34.0
"""Half the side of the box that a close-up shows, mm (our choice: an eye with its brow, or a mouth)."""
MARGIN, GAP, TITLE = 20, 6, 16
LIBRARY, SCULPT, FITTED, LOOPS = "the library's head", "the sculpt", "the fitted head", "its loops"


@dataclass(frozen=True, eq=False)
class FitHeat:
    """A heat map of a fit: an amount (n,) at each vertex of the cage, NaN where there is none, and its scale."""

    amounts: NDArray
    scale: Scale


@dataclass(frozen=True, eq=False)
class _Row:
    """A row of a picture: its camera, and that of the library's own head."""

    camera: Camera
    library: Camera


class FitScene:
    """What the pictures of one fit share: the three heads, upright, ready for rays.

    `fitted` (n, 3) mm is the library's cage on the sculpt, in the sculpt's space; `moved` the similarity from the
    library's space to that, which is taken back, so that the head looks ahead however the sculpt lies.
    """

    def __init__(self, library: Head, sculpt: Head, fitted: NDArray, moved: Similarity) -> None:
        back = moved.inverse()
        self.library = library.with_(shapes=())
        self.upright = back(np.asarray(fitted, dtype=np.float64))
        self.face = _face(library)
        self.sculpt = sculpt.with_(neutral=back(sculpt.neutral), shapes=())

    def row(self, view: str, shown: NDArray, fill: float = FILL) -> _Row:
        """The cameras of a view of the vertices `shown` (k,)."""
        low, high = (self.library.neutral[shown], self.upright[shown])
        return _Row(camera_of(view, high, SIZE, fill), camera_of(view, low, SIZE, fill))

    def close(self, view: str, vertex: int) -> _Row:
        """The cameras of a close-up of a vertex."""
        boxes = [box_about(at[vertex][None], 0.0, 2.0 * CLOSE_MM) for at in (self.upright, self.library.neutral)]
        return _Row(*(camera_of(view, box, SIZE, 1.0) for box in boxes))

    def pictures(self, rows: Sequence[_Row], heat: FitHeat | None) -> list[list[Image]]:
        """The pictures of each row, in the order of the columns."""
        cameras = [row.camera for row in rows]
        library = Studio.of(self.library, 0, [row.library for row in rows])
        sculpt = Studio.of(self.sculpt, 0, cameras)
        fitted = Studio.of(self.library.with_(neutral=self.upright), 1, cameras)
        covers = [None] if heat is None else [None, heat.scale.colours(heat.amounts)]
        shown = []
        for row in rows:
            plain, *warm = fitted.pictures(row.camera, covers)
            shown.append([
                library.picture(camera=row.library), sculpt.picture(camera=row.camera), plain,
                self._with_loops(fitted, plain, row.camera), *warm,
            ])  # fmt: skip
        return shown

    def _with_loops(self, fitted: Studio, picture: Image, camera: Camera) -> Image:
        """The cage's edges on the smooth surface, which is that of the first level: its first vertices are the cage's.
        """
        rest, edges = fitted.figure.rest, self.library.polygons.edges
        on_skin = self.library.skin[edges].all(axis=1)
        return draw_wires(picture, rest.positions, edges[on_skin], rest.rays, camera)


def write_fit_pictures(library: Head, fitted: FittedHead, sculpt: Head, folder: Path, close_ups: bool) -> list[Path]:
    """Write the picture of a fit, and with `close_ups` those too, to `folder`; return their paths."""
    scene = FitScene(library, sculpt, fitted.head.neutral, fitted.aligned)
    words, amounts = fitted.heat
    heat = FitHeat(amounts, percentile_scale(words, amounts))
    drawn = {PICTURE: fit_picture} | ({CLOSE_UPS_FILE: fit_close_ups} if close_ups else {})
    for name, draw in drawn.items():
        write_png(folder / name, draw(scene, heat))
    return [folder / name for name in drawn]


def fit_picture(scene: FitScene, heat: FitHeat | None = None) -> Image:
    """The face from the front and at three quarters, with a heat map where one is given."""
    rows = [scene.row(view, scene.face) for view in VIEWS]
    return _sheet(scene.pictures(rows, heat), heat)


def fit_close_ups(scene: FitScene, heat: FitHeat | None = None) -> Image:
    """The face from below, then close-ups of an eye, the nose, the mouth and an ear: of those whose place is known."""
    rows = [scene.row("below", scene.face)]
    rows += [scene.close(view, vertex) for view, vertex in _close_ups(scene.library)]
    return _sheet(scene.pictures(rows, heat), heat)


CLOSE_UPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("front", ("exocanthion_left", "endocanthion_left", "palpebrale_superius_left")),
    ("below", ("subnasale", "pronasale")),
    ("front", ("stomion", "labiale_superius", "labiale_inferius")),
    ("profile", ("tragion_left", "otobasion_inferius_left", "postaurale_left")),
)
"""The close-ups: a view, and the landmarks of which the first that the head has is its middle."""


def _close_ups(head: Head) -> list[tuple[str, int]]:
    marks = head.landmarks
    found = []
    for view, names in CLOSE_UPS:
        known = [name for name in names if marks is not None and name in marks.points]
        if marks is not None and known:
            place = marks.position(known[0], head.neutral)
            found.append((view, int(np.argmin(((head.neutral - place) ** 2).sum(axis=1)))))
    return found


def _face(library: Head) -> NDArray[np.int64]:
    """The vertices (k,) of the face, or all where the face is not known."""
    found = face_points(library)
    if found is None:
        return np.arange(library.n_vertices)
    low, high = found.min(axis=0), found.max(axis=0)
    return np.flatnonzero(np.all((library.neutral >= low) & (library.neutral <= high), axis=1))


def _sheet(rows: Sequence[Sequence[Image]], heat: FitHeat | None) -> Image:
    """The rows on one sheet, with the columns' words above and the heat map's legend below."""
    from PIL import Image as Images
    from PIL import ImageDraw

    columns = [LIBRARY, SCULPT, FITTED, LOOPS] + ([] if heat is None else [heat.scale.words])
    wide, high = SIZE
    top = MARGIN + line_height(TITLE) + 6
    below = MARGIN if heat is None else legend_height() + 12
    size = (2 * MARGIN + len(columns) * (wide + GAP) - GAP, top + len(rows) * (high + GAP) + below)
    image = Images.new("RGB", size, BACKGROUND)
    draw = ImageDraw.Draw(image)
    for i, words in enumerate(columns):
        left = MARGIN + i * (wide + GAP)
        write(draw, words, (left, MARGIN, left + wide, MARGIN + line_height(TITLE)), size=TITLE, bold=True)
        for j, row in enumerate(rows):
            image.paste(row[i], (left, top + j * (high + GAP)))
    if heat is not None:
        left = MARGIN + (len(columns) - 1) * (wide + GAP)
        draw_legend(image, heat.scale, (left, image.height - below, left + wide, image.height))
    return image
