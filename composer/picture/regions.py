"""Regions on the head: each in its own colour, with its number on the skin and its name beside the number.

Colours alone never tell regions apart: every region carries a numbered badge, and the list beside the head
says which name each number has. How strong a region is at a place is how much of its colour covers the bone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.picture.camera import Camera
from composer.picture.colour import Rgb, to_linear, to_srgb
from composer.picture.figure import Posed
from composer.picture.labels import DARK, Box, font, ink_on, line_height, write
from composer.picture.palette import colours_apart, region_colour
from composer.picture.render import BACKGROUND, Studio

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageDraw import ImageDraw

Floats = NDArray[np.float64]
STRONGEST = 0.88  # of a region's colour, so that the form still shows
_BADGE, _SIZE, _LIST = 10, 15, 240


@dataclass(frozen=True, eq=False)
class RegionPicture:
    """A finished picture, the badges that could be placed on the head (number, box), and the list's boxes."""

    image: Image
    badges: tuple[tuple[int, Box], ...]
    names: tuple[Box, ...]


def region_colours(masks: Mapping[str, NDArray]) -> Floats:
    """(n, 4) sRGB and cover in [0, 1] of masks (n,) in [0, 1]; where several share, their colours mix as
    light.

    Raises MoueError where there are no masks.
    """
    if not masks:
        raise MoueError("there are no regions to show", hint="add a region first")
    weights = np.stack([np.clip(np.asarray(mask, dtype=np.float64), 0.0, 1.0) for mask in masks.values()])
    light = to_linear(np.array([region_colour(i) for i in colours_apart(list(weights))]) / 255.0)
    total = weights.sum(axis=0)
    mixed = weights.T @ light / np.where(total > 0.0, total, 1.0)[:, None]
    return np.concatenate([to_srgb(mixed), STRONGEST * np.minimum(total, 1.0)[:, None]], axis=1)


def region_picture(
    studio: Studio, masks: Mapping[str, NDArray], *, view: str = "front", size: tuple[int, int] = (520, 640)
) -> RegionPicture:
    """The regions `masks` (name to (n,) in [0, 1]) on the neutral, with a list of their names on the right.

    `size` is that of the head's own picture; the list adds 240 pixels to the width. A region with nothing to
    see in this view has no badge and is marked so in the list. Raises MoueError for no masks or an unknown
    view.
    """
    from PIL import Image as Images
    from PIL import ImageDraw

    camera = studio.camera(view, size)
    colours = region_colours(masks)
    for part in studio.figure.eye_parts:
        colours[part.vertices, 3] = 0.0  # an eyeball goes with its lids, and eyes tell the face
    head = studio.picture(camera=camera, colours=colours)
    row = line_height(_SIZE) + 10
    height = max(size[1], 2 * 24 + row * len(masks))
    image = Images.new("RGB", (size[0] + _LIST, height), BACKGROUND)
    image.paste(head, (0, (height - size[1]) // 2))
    draw = ImageDraw.Draw(image)
    places = _places(studio, camera, masks)
    down = (height - size[1]) // 2
    badges, names = [], []
    hues = colours_apart(list(masks.values()))
    top = (height - row * len(masks)) // 2
    for i, (name, place) in enumerate(zip(masks, places, strict=True)):
        colour = region_colour(hues[i])
        if place is not None:
            badges.append((i + 1, _badge(draw, i + 1, (place[0], place[1] + down), colour)))
        middle = top + row * i + row // 2
        _badge(draw, i + 1, (size[0] + 16, middle), colour)
        words = name if place is not None else f"{name} (not seen here)"
        box = (size[0] + 36, middle - row // 2, size[0] + _LIST - 12, middle + row // 2)
        names.append(write(draw, words, box, size=_SIZE))
    return RegionPicture(image, tuple(badges), tuple(names))


def _badge(draw: ImageDraw, number: int, middle: tuple[float, float], colour: Rgb) -> Box:
    x, y = round(middle[0]), round(middle[1])
    box = (x - _BADGE, y - _BADGE, x + _BADGE, y + _BADGE)
    draw.ellipse(box, fill=colour, outline=DARK, width=1)
    draw.text((x, y), str(number), font=font(12, bold=True), fill=ink_on(colour), anchor="mm")
    return box


def _places(studio: Studio, camera: Camera, masks: Mapping[str, NDArray]) -> list[tuple[float, float] | None]:
    """Where each region's badge goes, in pixels: a seen place well inside it, clear of the badges before it."""
    pose = studio.figure.rest
    seen = _seen(pose, camera)
    pixels, _ = camera.project(pose.positions)
    taken: list[Floats] = []
    places: list[tuple[float, float] | None] = []
    for mask in masks.values():
        weight = studio.figure.lift(mask)
        inside = np.flatnonzero(seen & (weight > 0.5 * max(float(weight.max(initial=0.0)), 1e-9)))
        if not len(inside):
            places.append(None)
            continue
        away = pixels[inside] - np.average(pixels[inside], axis=0, weights=weight[inside])
        cost = np.sqrt(np.einsum("ij,ij->i", away, away))
        for other in taken:
            near = pixels[inside] - other
            cost += 1e4 * (np.einsum("ij,ij->i", near, near) < (2.3 * _BADGE) ** 2)
        spot = pixels[inside[np.argmin(cost)]]
        taken.append(spot)
        places.append((float(spot[0]), float(spot[1])))
    return places


def _seen(pose: Posed, camera: Camera) -> NDArray[np.bool_]:
    """(n,) vertices that face the eye and that nothing hides."""
    toward = camera.eye - pose.positions
    distance = np.sqrt(np.einsum("ij,ij->i", toward, toward))
    toward /= distance[:, None]
    facing = np.flatnonzero(np.einsum("ij,ij->i", toward, pose.normals) > 0.25)
    seen = np.zeros(len(distance), dtype=bool)
    start = pose.positions[facing] + pose.normals[facing] * 0.3
    seen[facing] = ~pose.rays.blocked(start, toward[facing])
    return seen
