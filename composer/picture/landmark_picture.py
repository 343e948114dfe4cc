"""A head with its landmarks, so that a person can look at them: numbered points, named curves, and a key of names.

What was only guessed is orange, everything else blue. Points that the head hides are left out of a view.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from composer.head.head import Head
from composer.head.places import Landmarks
from composer.head.understand.anatomy import anatomy_of
from composer.picture.camera import Camera, frame
from composer.picture.labels import DARK, line_height, write
from composer.picture.render import Studio
from composer.picture.views import axes_of

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageDraw import ImageDraw

VIEWS = ("front", "three_quarter", "profile")
SIZE = (620, 760)
"""Pixels of each view."""
KNOWN, GUESSED = (0, 90, 160), (200, 100, 0)
GROUND = (244, 242, 238)
KEY_SIZE, NUMBER_SIZE, DOT = 14, 12, 3
GUESSED_INK = (140, 70, 0)
"""The guesses' colour, dark enough to be read on the ground."""
BELOW, BESIDE = 0.12, 1.0
"""Of the landmarks' own height: how far below the lowest and to each side of the midline the head is shown."""
COLUMNS = 6
AWAY = -0.2
"""Cosine between the skin and the eye: a point whose skin looks further away is left out."""


def landmark_picture(head: Head, landmarks: Landmarks, guesses: Collection[str] = ()) -> Image:
    """The head from the front, at three quarters and in profile with its landmarks, and their names below."""
    from PIL import Image as Images
    from PIL import ImageDraw as Draws

    studio = Studio.of(head.with_(landmarks=None))
    numbers = {name: i + 1 for i, name in enumerate(landmarks.points)}
    rows = _key_rows(len(numbers) + len(landmarks.curves))
    sheet = Images.new("RGB", (len(VIEWS) * SIZE[0], SIZE[1] + rows * line_height(KEY_SIZE) + 24), GROUND)
    shown = _shown(head, landmarks)
    for column, view in enumerate(VIEWS):
        camera = frame(shown, axes_of(view), SIZE, 0.96)
        picture = studio.picture(size=SIZE, camera=camera)
        _mark(Draws.Draw(picture), head, landmarks, numbers, guesses, camera)
        sheet.paste(picture, (column * SIZE[0], 0))
    _key(Draws.Draw(sheet), landmarks, numbers, guesses, rows)
    return sheet


def _shown(head: Head, landmarks: Landmarks) -> NDArray[np.float64]:
    """(k, 3) the vertices that the views are framed about: the face with the landmarks, no shoulders."""
    frame_ = anatomy_of(head).frame
    skin = anatomy_of(head).pieces.on_skin
    places = frame_.local(head.neutral)
    marks = np.array([landmarks.position(name, head.neutral) for name in landmarks.points]).reshape(-1, 3)
    if len(marks) < 4:
        return head.neutral[skin]
    local = frame_.local(marks)
    low, high = local[:, 1].min(), local[:, 1].max()
    tall = max(float(high - low), 1e-6)
    near = skin & (places[:, 1] > low - BELOW * tall) & (np.abs(places[:, 0]) < BESIDE * tall)
    return head.neutral[near] if int(near.sum()) > 10 else head.neutral[skin]


def _mark(
    draw: ImageDraw, head: Head, landmarks: Landmarks, numbers: dict[str, int], guesses: Collection[str], camera: Camera
) -> None:
    for name in landmarks.curves:
        line, _ = camera.project(landmarks.curve_positions(name, head.neutral))
        draw.line([(float(x), float(y)) for x, y in line], fill=GUESSED if name in guesses else KNOWN, width=2)
    for name, number in numbers.items():
        place = landmarks.position(name, head.neutral)
        if _turned_away(head, place, camera):
            continue
        x, y = (float(each) for each in camera.project(place[None])[0][0])
        colour = GUESSED if name in guesses else KNOWN
        draw.ellipse((x - DOT, y - DOT, x + DOT, y + DOT), fill=colour, outline=(255, 255, 255))
        high = line_height(NUMBER_SIZE)
        box = (int(x) + DOT + 1, int(y) - high // 2, int(x) + 40, int(y) + high // 2)
        write(draw, str(number), box, size=NUMBER_SIZE, bold=True, ink=DARK)


def _turned_away(head: Head, place: NDArray, camera: Camera) -> bool:
    """Whether the skin at a place looks away from the eye by far."""
    nearest = int(np.argmin(((head.neutral - place) ** 2).sum(axis=1)))
    way = camera.eye - place
    return float(head.surface.vertex_normals[nearest] @ way) < AWAY * float(np.linalg.norm(way))


def _key_rows(count: int) -> int:
    return -(-count // COLUMNS)


def _key(
    draw: ImageDraw, landmarks: Landmarks, numbers: dict[str, int], guesses: Collection[str], rows: int
) -> None:
    high, wide = line_height(KEY_SIZE), (len(VIEWS) * SIZE[0] - 24) // COLUMNS
    lines = [(f"{number}  {name}", name) for name, number in numbers.items()]
    lines += [(f"~  {name}", name) for name in landmarks.curves]
    for i, (text, name) in enumerate(lines):
        left, top = 12 + (i // rows) * wide, SIZE[1] + 12 + (i % rows) * high
        box = (left, top, left + wide - 8, top + high)
        write(draw, text, box, size=KEY_SIZE, ink=GUESSED_INK if name in guesses else KNOWN)
