"""Pictures of the findings of checks: a finding close up, and the whole pose with all of its findings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from composer.checks.finding import Finding
from composer.picture.camera import Camera, frame, look, unit
from composer.picture.figure import Posed
from composer.picture.heat import Scale, draw_legend, legend_height, nice
from composer.picture.labels import DARK
from composer.picture.render import BACKGROUND, Studio

if TYPE_CHECKING:
    from PIL.Image import Image

Floats = NDArray[np.float64]
WORDS = {
    "lips": "how deep", "lids": "how deep or how far off", "parts": "how deep", "flipped": "how far turned",
    "folds": "how much sharper", "stretch": "longer than the shapes make it",
    "pinch": "narrower than the shapes make it", "seam": "strain beyond the shapes",
    "sweep": "how far it jumps", "asymmetry": "how far the sides differ", "islands": "mask weight",
    "coverage": "how much", "volume": "more than alone", "touch": "how far off the skin",
    "jaw": "how far from the jaw",
}  # fmt: skip
"""The meaning of a finding's colours, by its check."""
_AROUND = 0.08
"""Radius of a close-up about a finding's worst place, as a share of the head's diagonal (our choice)."""
_FEW = 30
"""Up to so many vertices are also drawn as dots (our choice): they may be hidden in a crease."""
_LEAST = 0.35
"""Least share of the scale at which a finding's vertices are coloured (our choice): the smallest amount is visible."""
_OVERVIEW = {"error": (0.72, 0.10, 0.10), "warning": (0.86, 0.55, 0.12)}
"""sRGB colours by severity; the page has signs and words beside them."""


def finding_picture(
    studio: Studio,
    positions: NDArray,
    finding: Finding,
    *,
    posed: Posed | None = None,
    size: tuple[int, int] = (400, 320),
) -> Image:
    """A close-up of the pose (n, 3) where the finding is worst, from a side on which it is visible, with its amounts as
    heat and a ring about the place. `posed` is the same pose, if it is prepared already.
    """
    from PIL import Image as Images

    positions = np.asarray(positions, dtype=np.float64)
    amounts = np.full(len(positions), np.nan)
    worst = finding.value if finding.amounts is None else float(np.max(finding.amounts, initial=0.0))
    words = WORDS.get(finding.code.split(".")[0], finding.code)
    unit = "%" if finding.unit.startswith("percent") else finding.unit
    scale = Scale(words, unit, 0.0, nice(worst))
    given = np.full(len(finding.vertices), worst) if finding.amounts is None else finding.amounts
    amounts[finding.vertices] = np.maximum(given, _LEAST * scale.high)
    spots = _about(studio, positions, finding)
    camera = _close(studio, spots, size)
    colours = scale.colours(amounts)
    picture = studio.picture(positions, posed=posed, camera=camera, colours=colours)
    if len(finding.vertices) <= _FEW:
        picture = _dotted(picture, camera, positions[finding.vertices], colours[finding.vertices])
    picture = _ringed(picture, camera, spots)
    image = Images.new("RGB", (size[0], size[1] + legend_height() + 16), BACKGROUND)
    image.paste(picture, (0, 0))
    draw_legend(image, scale, (14, size[1] + 6, size[0] - 14, image.height))
    return image


def pose_picture(
    studio: Studio,
    positions: NDArray,
    findings: Sequence[Finding],
    *,
    posed: Posed | None = None,
    size: tuple[int, int] = (400, 470),
) -> Image:
    """The whole pose (n, 3) at three quarters, from the side of the worst finding, with the vertices of every finding
    in the colour of its severity.
    """
    positions = np.asarray(positions, dtype=np.float64)
    colours = np.full((len(positions), 4), np.nan)
    for finding in reversed(findings):  # the worst last, over the others
        if finding.severity in _OVERVIEW:
            colours[finding.vertices] = [*_OVERVIEW[finding.severity], 0.85]
    worst = next((finding.place for finding in findings if finding.place is not None), None)
    middle = studio.figure.neutral[:, 0].mean()
    side = 0.0 if worst is None else float(np.sign(worst[0] - middle)) * 0.42
    camera = frame(studio.figure.neutral, look((side, 0.05, 1.0)), size, 0.86)
    picture = studio.picture(positions, posed=posed, camera=camera, colours=colours)
    for finding in reversed(findings):
        if finding.place is not None and finding.severity in _OVERVIEW:
            ink = tuple(round(255 * part) for part in _OVERVIEW[finding.severity])
            picture = _ringed(picture, camera, np.array([finding.place]), ink)
    return picture


def _about(studio: Studio, positions: Floats, finding: Finding) -> Floats:
    """The places (k, 3) of a finding around its worst one, or all of the pose where it has none."""
    if not len(finding.vertices):
        return positions
    spots = positions[finding.vertices]
    if finding.place is None:
        return spots
    reach = _AROUND * float(np.linalg.norm(np.ptp(studio.figure.neutral, axis=0)))
    near = np.linalg.norm(spots - np.array(finding.place), axis=1) <= reach
    return spots[near] if near.any() else spots


def _close(studio: Studio, spots: Floats, size: tuple[int, int]) -> Camera:
    """A camera that looks at `spots` (k, 3) from outside the head, level with them or nearly so."""
    neutral = studio.figure.neutral
    middle = 0.5 * (neutral.min(axis=0) + neutral.max(axis=0))
    out = unit((spots.mean(axis=0) - middle) * np.array([1.0, 0.35, 1.0])) + np.array([0.0, 0.0, 0.5])
    axes = look((float(out[0]), float(np.clip(out[1], -0.4, 0.4)), float(out[2])))
    local = spots @ axes.T
    centre, half = 0.5 * (local.min(axis=0) + local.max(axis=0)), 0.5 * np.ptp(local, axis=0)
    least = 0.05 * float(np.linalg.norm(np.ptp(neutral, axis=0)))
    reach = np.maximum(half * 1.5, least) * np.array([1.0, 1.0, 0.0])
    corners = centre + np.array([[x, y, 0.0] for x in (-1.0, 1.0) for y in (-1.0, 1.0)]) * reach
    return frame(corners @ axes, axes, size, 0.95)


def _ringed(picture: Image, camera: Camera, spots: Floats, light: tuple[int, ...] = (255, 255, 255)) -> Image:
    """The picture with a ring about the places (k, 3): they may be hidden, and colour alone is not enough."""
    from PIL import Image as Images
    from PIL import ImageDraw

    if not len(spots):
        return picture
    seen, _ = camera.project(spots)
    middle, half = 0.5 * (seen.min(axis=0) + seen.max(axis=0)), 0.5 * np.ptp(seen, axis=0)
    half = np.maximum(half * 1.2, 8.0) + 12.0
    fine = 4  # the ring is drawn larger and reduced, so that it is smooth
    cover = Images.new("L", (picture.width * fine, picture.height * fine), 0)
    dark = cover.copy()
    for layer, wide in ((dark, 4.0), (cover, 1.8)):
        reach = half + wide / 2.0
        box = [*((middle - reach) * fine), *((middle + reach) * fine)]
        ImageDraw.Draw(layer).ellipse(box, outline=255, width=round(wide * fine))
    out = picture
    for layer, ink in ((dark, DARK), (cover, light)):
        share = layer.resize(picture.size, Images.Resampling.BOX)
        out = Images.composite(Images.new("RGB", picture.size, ink), out, share)
    return out


def _dotted(picture: Image, camera: Camera, spots: Floats, colours: Floats) -> Image:
    """The picture with the places (k, 3) as dots in their colours (k, 4), also where the surface hides them."""
    from PIL import Image as Images
    from PIL import ImageDraw

    fine = 4
    large = picture.resize((picture.width * fine, picture.height * fine), Images.Resampling.BILINEAR)
    draw = ImageDraw.Draw(large)
    seen, depth = camera.project(spots)
    for i in np.argsort(-depth):
        column, row = seen[i] * fine
        tint = tuple(round(float(part) * 255.0) for part in colours[i, :3])
        for reach, ink in ((3.4 * fine, DARK), (2.4 * fine, tint)):
            draw.ellipse((column - reach, row - reach, column + reach, row + reach), fill=ink)
    return large.resize(picture.size, Images.Resampling.BOX)
