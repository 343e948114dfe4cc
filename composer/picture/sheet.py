"""Contact sheets: many poses of one head on a plain ground, each with its name, all at the same scale.

The heads share one camera, so that sizes and places can be compared. A sheet has the boxes of all its pictures and
labels, which do not overlap.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from composer.document.over_cores import over_cores
from composer.errors import MoueError
from composer.head.head import Head
from composer.picture.camera import Camera
from composer.picture.heat import Scale, draw_legend, legend_height, movement
from composer.picture.labels import DARK, QUIET, Box, line_height, write
from composer.picture.lamps import FOLLOWING, lamps_of
from composer.picture.render import BACKGROUND, Studio
from composer.picture.views import View, aspect_of, camera_of, words_of
from composer.progress import Progress

if TYPE_CHECKING:
    from PIL.Image import Image

MARGIN, GAP = 28, 8
SHEET_FILL = 0.84
NAME_SIZE, NOTE_SIZE, TITLE_SIZE, COUNT_SIZE = 16, 13, 26, 14


@dataclass(frozen=True, eq=False)
class Entry:
    """One pose of a sheet: a name, vertices (n, 3) mm, a line of note, heat colours (n, 3) or none.

    `close` (k, 3) mm are points that frame its picture instead of the sheet's shared camera.
    """

    name: str
    positions: NDArray
    note: str = ""
    colours: NDArray | None = None
    close: NDArray | None = None


@dataclass(frozen=True)
class Cell:
    """The boxes of an entry on a sheet: of its picture, of its name's ink and of its note's ink (or None)."""

    name: str
    picture: Box
    label: Box
    note: Box | None


@dataclass(frozen=True, eq=False)
class Sheet:
    """A finished sheet: the picture, its cells in order, and the boxes of title, counts and legend."""

    image: Image
    cells: tuple[Cell, ...]
    headings: tuple[Box, ...]


def shapes_of(head: Head, names: Sequence[str] | None = None) -> list[Entry]:
    """The neutral and every shape, or the named ones, of a head as entries; the note says how far each moves.

    Raises MoueError for an unknown shape.
    """
    entries = [Entry(head.neutral_name, head.neutral, "at rest")]
    for name in head.shape_names if names is None else names:
        target = head.target(name)
        furthest = float(movement(head.neutral, target).max(initial=0.0))
        entries.append(
            Entry(name, target, f"moves up to {furthest:.1f} mm" if furthest > 0.0 else "does not move")
        )
    return entries


def contact_sheet(
    studio: Studio,
    entries: Sequence[Entry],
    *,
    title: str,
    counts: str = "",
    view: View = "front",
    columns: int | None = None,
    cell_width: int = 300,
    legend: Scale | None = None,
    face: NDArray | None = None,
    light: str = FOLLOWING,
    progress: Progress | None = None,
    workers: int | None = None,
) -> Sheet:
    """All `entries` on one sheet of `columns` (by default about square), each picture `cell_width` pixels wide.

    `face` (k, 3) mm are points that frame every picture (`composer.picture.face`), by default the whole head; `light`
    is a name of `lamps.LIGHTS`. The pictures are taken on `workers` cores, all by default; their number changes none.
    Raises MoueError where there is nothing to show, or for an unknown view or light.
    """
    from PIL import Image as Images
    from PIL import ImageDraw

    if not entries:
        raise MoueError("a sheet needs at least one shape or recipe")
    lamps_of(light)
    camera = shared_camera(studio, entries, view, cell_width, face)
    across = min(len(entries), columns or _columns(len(entries)))
    down = -(-len(entries) // across)
    label_height = line_height(NAME_SIZE) + line_height(NOTE_SIZE) + 10
    head_height = line_height(TITLE_SIZE) + line_height(COUNT_SIZE) + 10
    width = 2 * MARGIN + across * camera.width + (across - 1) * GAP
    height = MARGIN + head_height + down * (camera.height + label_height) + (down - 1) * GAP + MARGIN // 2
    image = Images.new("RGB", (width, height), BACKGROUND)
    headings = _headings(
        image, title, counts or f"{len(entries)} poses, {words_of(view)} view", legend
    )
    draw = ImageDraw.Draw(image)
    cameras = [
        camera
        if entry.close is None
        else camera_of(view, entry.close, (camera.width, camera.height), SHEET_FILL, studio.figure.neutral)
        for entry in entries
    ]
    cells, taken = [], _taken(studio, entries, cameras, light, progress, workers)
    for i, entry in enumerate(entries):
        left = MARGIN + (i % across) * (camera.width + GAP)
        top = MARGIN + head_height + (i // across) * (camera.height + label_height + GAP)
        image.paste(taken[i], (left, top))
        cells.append(_label(draw, entry, (left, top, left + camera.width, top + camera.height)))
    if progress is not None:
        progress(1.0, "sheet done")
    return Sheet(image, tuple(cells), tuple(headings))


def still(
    studio: Studio, entry: Entry, *, view: View = "three_quarter", size: tuple[int, int], face: NDArray | None = None,
    light: str = FOLLOWING, clear: bool = False,
) -> Image:  # fmt: skip
    """One entry alone, without words, in a picture of `size` (width, height); `face`, `light` and `clear` are as above.

    Raises MoueError for an unknown view or light.
    """
    points = entry.close if entry.close is not None else face
    reach = np.concatenate([studio.figure.neutral, entry.positions]) if points is None else np.asarray(points)
    camera = camera_of(view, reach, size, SHEET_FILL, studio.figure.neutral)
    return studio.picture(entry.positions, camera=camera, colours=entry.colours, light=light, clear=clear)


def in_turn(
    studio: Studio, entries: Sequence[Entry], *, view: View = "three_quarter", size: tuple[int, int] = (480, 600),
    face: NDArray | None = None, light: str = FOLLOWING, clear: bool = False, progress: Progress | None = None,
    workers: int | None = None,
) -> list[Image]:  # fmt: skip
    """Every entry alone, all by one camera that holds them, or the points `face` (k, 3) mm: steps of one movement. A
    `clear` picture has alpha in the place of the ground.

    Raises MoueError for an unknown view or light.
    """
    lamps_of(light)
    reach = np.concatenate([studio.figure.neutral] + [_outline(entry.positions) for entry in entries])
    camera = camera_of(view, reach if face is None else face, size, SHEET_FILL, studio.figure.neutral)
    return _taken(studio, entries, [camera] * len(entries), light, progress, workers, clear)


def _taken(
    studio: Studio, entries: Sequence[Entry], cameras: Sequence[Camera], light: str, progress: Progress | None,
    workers: int | None, clear: bool = False,
) -> list[Image]:  # fmt: skip
    def picture(i: int) -> Image:
        entry = entries[i]
        return studio.picture(entry.positions, camera=cameras[i], colours=entry.colours, light=light, clear=clear)

    return over_cores(lambda: picture, len(entries), words="picture", progress=progress, workers=workers)


def shared_camera(
    studio: Studio, entries: Sequence[Entry], view: View, cell_width: int, face: NDArray | None = None
) -> Camera:
    """One camera that holds every entry, or the points `face` (k, 3) mm, in a picture whose shape suits their outline
    in that view.
    """
    reach = [studio.figure.neutral] + [_outline(entry.positions) for entry in entries]
    points = np.concatenate(reach) if face is None else np.asarray(face, dtype=np.float64)
    aspect = float(np.clip(aspect_of(view, points), 0.55, 1.35))
    return camera_of(view, points, (cell_width, round(cell_width / aspect)), SHEET_FILL, studio.figure.neutral)


def _outline(points: NDArray) -> NDArray:
    """The vertices (k, 3) that are outermost in 26 directions: enough to frame a pose."""
    grid = np.stack(np.meshgrid(*[[-1.0, 0.0, 1.0]] * 3), axis=-1).reshape(-1, 3)
    return np.asarray(points)[np.unique(np.argmax(points @ grid.T, axis=0))]


def _columns(count: int) -> int:
    return max(1, min(8, int(np.ceil(np.sqrt(count * 1.6)))))


def _headings(image: Image, title: str, counts: str, legend: Scale | None) -> list[Box]:
    from PIL import ImageDraw

    draw = ImageDraw.Draw(image)
    right = image.width - MARGIN
    boxes: list[Box] = []
    if legend is not None:
        left = max(MARGIN, right - 260)
        boxes.append(
            draw_legend(image, legend, (left, MARGIN - 10, right, MARGIN + legend_height()), NOTE_SIZE)
        )
        right = left - 24
    top = MARGIN - 4
    middle = top + line_height(TITLE_SIZE)
    boxes.append(write(draw, title, (MARGIN, top, right, middle), size=TITLE_SIZE, bold=True, ink=DARK))
    under = (MARGIN, middle + 2, right, middle + 2 + line_height(COUNT_SIZE))
    boxes.append(write(draw, counts, under, size=COUNT_SIZE, ink=QUIET))
    return boxes


def _label(draw, entry: Entry, picture: Box) -> Cell:  # type: ignore[no-untyped-def]
    left, _, right, bottom = picture
    top = bottom + 1
    middle = top + line_height(NAME_SIZE)
    name = write(draw, entry.name, (left, top, right, middle), size=NAME_SIZE, bold=True, align="middle")
    note = None
    if entry.note:
        under = (left, middle + 1, right, middle + 1 + line_height(NOTE_SIZE))
        note = write(draw, entry.note, under, size=NOTE_SIZE, align="middle", ink=QUIET, keep_end=False)
    return Cell(entry.name, picture, name, note)


__all__ = ["Cell", "Entry", "Sheet", "contact_sheet", "in_turn", "shapes_of", "shared_camera", "still"]
