"""Heat: an amount at every vertex as colours on the head, with a legend of the quantity, the scale and the unit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from composer.picture.colour import to_linear, to_srgb
from composer.picture.labels import DARK, Box, line_height, write
from composer.picture.material import SKIN
from composer.picture.palette import two_hues, viridis

if TYPE_CHECKING:
    from PIL.Image import Image

Floats = NDArray[np.float64]
FADE = 0.10
"""Share of a scale, from its low end, over which skin fades into colour (our choice)."""


@dataclass(frozen=True)
class Scale:
    """The scale of a heat map: its words, its unit ("" for none) and the amounts at its two ends.

    `power` bends the scale: at 0.5, a square root, a quarter of the highest amount has the colour of the middle, so
    that small amounts show beside large ones. `two_ways`: amounts below 0 have a hue of their own, as far as
    those above it, and `low` is minus `high`.
    """

    words: str
    unit: str
    low: float
    high: float
    percent: bool = False
    power: float = 1.0
    two_ways: bool = False

    def share(self, amounts: NDArray) -> Floats:
        """The places of amounts on the scale: 0 at its low end, 1 at its high end."""
        part = (np.asarray(amounts, dtype=np.float64) - self.low) / max(self.high - self.low, 1e-30)
        return part if self.power == 1.0 else np.sign(part) * np.abs(part) ** self.power

    def amount(self, share: NDArray | float) -> Floats:
        """The amounts at places of the scale from 0 to 1."""
        return np.asarray(self.low + (self.high - self.low) * np.asarray(share) ** (1.0 / self.power))

    def colours(self, amounts: NDArray) -> Floats:
        """(n, 4) sRGB and cover in [0, 1] of `amounts` (n,).

        The lowest tenth of the scale fades into the skin: vertices at rest stay skin, without a hard rim. The legend's
        bar has the same fade. NaN is skin.
        """
        if self.two_ways:
            return two_hues(np.asarray(amounts, dtype=np.float64) / max(self.high, 1e-30))
        share = self.share(amounts)
        cover = np.clip(np.nan_to_num(share) / FADE, 0.0, 1.0)
        return np.concatenate([viridis(share), (cover * (2.0 - cover))[..., None]], axis=-1)

    def number(self, amount: float) -> str:
        """An amount as text for the legend."""
        if self.percent and self.two_ways:
            words = " squeezed" if amount < 0 else " stretched" if amount > 0 else ""
            return f"{abs(amount) * 100.0:,.3g} %{words}"
        if self.percent:
            return f"{amount * 100.0:.3g} %" if abs(amount) < 9.995 else f"{amount * 100.0:,.0f} %"
        return (f"{amount:.3g}" if abs(amount) < 999.5 else f"{amount:,.0f}") + (f" {self.unit}" if self.unit else "")


def nice(amount: float) -> float:
    """The smallest of 1, 1.5, 2, 3, 4, 5, 6, 8 times a power of ten that is not below `amount`; 1 for 0."""
    if not amount > 0.0:
        return 1.0
    power = 10.0 ** np.floor(np.log10(amount))
    for step in (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0):
        if step * power >= amount * (1.0 - 1e-9):
            return float(step * power)
    return float(10.0 * power)


def movement(neutral: NDArray, pose: NDArray) -> Floats:
    """(n,) how far every vertex moved, mm, from `neutral` to `pose` (n, 3)."""
    moved = np.asarray(pose, dtype=np.float64) - neutral
    return np.sqrt(np.einsum("ij,ij->i", moved, moved))


def movement_scale(amounts: NDArray, power: float = 1.0) -> Scale:
    """A scale in mm from 0 to a round number that holds all of `amounts`; `power` as in `Scale`, told in its words."""
    words = "movement" if power == 1.0 else "movement, square root scale" if power == 0.5 else f"movement ^ {power:g}"
    return Scale(words, "mm", 0.0, nice(float(np.max(amounts, initial=0.0))), power=power)


def percentile_scale(words: str, amounts: NDArray, percent: float = 98.0) -> Scale:
    """A scale in mm from 0 to a round number near a percentile of `amounts` (n,), NaN left out: the few worst places do
    not take the colours from all others."""
    known = np.asarray(amounts)[np.isfinite(amounts)]
    return Scale(words, "mm", 0.0, nice(float(np.percentile(known, percent)) if len(known) else 0.0))


def mask_scale() -> Scale:
    """The scale of mask weights, 0 to 1."""
    return Scale("mask weight", "", 0.0, 1.0)


def strain_scale(amounts: NDArray) -> Scale:
    """A scale in percent of length from 0 to a round number near the 99.5th percentile of `amounts`."""
    top = float(np.quantile(amounts, 0.995)) if len(amounts) else 0.0
    return Scale("strain, either way", "%", 0.0, nice(max(top, 0.02)), percent=True)


def signed_strain_scale(amounts: NDArray) -> Scale:
    """A scale of strain both ways, squeezed below 0 and stretched above, to a round number near the 99.5th percentile
    of the sizes of `amounts`."""
    high = strain_scale(np.abs(amounts)).high
    return Scale("strain", "%", -high, high, percent=True, two_ways=True)


def signed_strain(neutral: NDArray, pose: NDArray, triangles: NDArray) -> Floats:
    """(n,) as large as `vertex_strain`, below 0 where the skin is squeezed more than it is stretched."""
    from composer.geometry.triangle_metric import principal_stretches

    stretch = principal_stretches(neutral, pose, triangles)
    longer, shorter = stretch[:, 0] - 1.0, 1.0 / np.maximum(stretch[:, 1], 1e-3) - 1.0
    signed = np.where(longer >= shorter, longer, -shorter)
    total = np.bincount(triangles.ravel(), weights=np.repeat(signed, 3), minlength=len(neutral))
    return np.where(total < 0.0, -1.0, 1.0) * vertex_strain(neutral, pose, triangles)


def vertex_strain(neutral: NDArray, pose: NDArray, triangles: NDArray) -> Floats:
    """(n,) the larger principal strain, longer or shorter, as the mean over each vertex's triangles (t, 3); 0 is none.
    """
    from composer.geometry.triangle_metric import principal_stretches, strain_size

    size = strain_size(principal_stretches(neutral, pose, triangles))
    n = len(neutral)
    total = np.bincount(triangles.ravel(), weights=np.repeat(size, 3), minlength=n)
    return total / np.maximum(np.bincount(triangles.ravel(), minlength=n), 1)


def draw_legend(canvas: Image, scale: Scale, box: Box, size: int = 13) -> Box:
    """Draw the words, a bar and three numbers into `box` (left, top, right, bottom); returns the box used."""
    from PIL import Image as Images
    from PIL import ImageDraw

    left, top, right, _ = box
    draw = ImageDraw.Draw(canvas)
    high = line_height(size)
    write(draw, scale.words, (left, top, right, top + high), size=size, bold=True)
    bar_top, bar_height = top + high + 4, max(8, size - 3)
    ramp = scale.colours(scale.amount(np.linspace(0.0, 1.0, max(right - left, 2))))
    ramp = to_linear(ramp[:, :3]) * ramp[:, 3:] + (1.0 - ramp[:, 3:]) * SKIN
    strip = np.round(np.broadcast_to(to_srgb(ramp), (bar_height, len(ramp), 3)) * 255.0).astype(np.uint8)
    canvas.paste(Images.fromarray(strip, "RGB"), (left, bar_top))
    draw.rectangle((left, bar_top, right - 1, bar_top + bar_height - 1), outline=DARK)
    row = (bar_top + bar_height + 3, bar_top + bar_height + 3 + high)
    third = (right - left) // 3
    middle = float(scale.amount(0.5))
    write(draw, scale.number(scale.low), (left, row[0], left + third, row[1]), size=size)
    write(
        draw, scale.number(middle), (left + third, row[0], right - third, row[1]), size=size, align="middle"
    )
    write(draw, scale.number(scale.high), (right - third, row[0], right, row[1]), size=size, align="right")
    return left, top, right, row[1]


def legend_height(size: int = 13) -> int:
    """Height in pixels that `draw_legend` uses."""
    return 2 * line_height(size) + max(8, size - 3) + 7
