"""Curves over time as SVG, with round numbers at both axes and a legend; a mark for each time that is looked at."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from composer.picture.palette import OKABE_ITO
from composer.picture.report import escape

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 820, 240, 64, 10, 12, 34


def lines_svg(
    times: NDArray, lines: Mapping[str, NDArray], unit: str, words: str, marks: Sequence[float] = ()
) -> str:  # fmt: skip
    """The `lines`, values (f,) in `unit` by name, at `times` (f,) s; `words` say what the picture is, and `marks` are
    times in seconds."""
    least = min((float(np.min(line)) for line in lines.values()), default=0.0)
    most = max((float(np.max(line)) for line in lines.values()), default=1.0)
    low, high = min(0.0, least), max(most, 0.0)
    if high - low < 1e-9:
        high = low + 1.0
    span = max(float(times[-1] - times[0]), 1e-9)

    def x(time: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * (time - float(times[0])) / span

    def y(value: float) -> float:
        return TOP + (HEIGHT - TOP - BOTTOM) * (high - value) / (high - low)

    levels = {y(value): f"{value:g} {unit}" for value in round_steps(low, high, 4)}
    seconds = {x(time): f"{time:g} s" for time in round_steps(float(times[0]), float(times[-1]), 8)}
    parts = [axes_svg(levels, seconds, (LEFT, WIDTH - RIGHT), HEIGHT - BOTTOM + 20)]
    for mark in marks:
        at = x(mark)
        parts.append(
            f'<line x1="{at:.1f}" x2="{at:.1f}" y1="{TOP}" y2="{HEIGHT - BOTTOM}" stroke="#18191c" '
            f'stroke-width="1.5" stroke-dasharray="3 4"/>'
        )
    legend = ""
    for rank, (name, line) in enumerate(lines.items()):
        points = " ".join(f"{x(t):.1f},{y(v):.1f}" for t, v in zip(times.tolist(), line.tolist(), strict=True))
        parts.append(f'<polyline points="{points}" fill="none" stroke="{ink_of(rank)}" stroke-width="2"/>')
        legend += legend_item(rank, name)
    return (
        f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{escape(words)}" '
        f'style="width:100%;background:#fff">{"".join(parts)}</svg>'
        f'<ul style="list-style:none;padding:0;display:flex;gap:24px;flex-wrap:wrap">{legend}</ul>'
    )


def round_steps(low: float, high: float, count: int) -> NDArray[np.float64]:
    """Round numbers from `low` to `high`, about `count` of them."""
    rough = max(high - low, 1e-12) / count
    power = 10.0 ** np.floor(np.log10(rough))
    step = power * next(each for each in (1.0, 2.0, 2.5, 5.0, 10.0) if each * power >= rough * 0.999)
    return np.round(np.arange(np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9) + 1) * step, 9) + 0.0


def axes_svg(levels: Mapping[float, str], times: Mapping[float, str], across: tuple[int, int], foot: int) -> str:
    """A line and its label for each of `levels`, by height, `across` from left to right, and the labels of `times`, by
    place, at the `foot`; in pixels of the drawing."""
    style, (left, right) = 'font-size="13" fill="#3d4046"', across
    parts = []
    for at, label in levels.items():
        parts.append(f'<line x1="{left}" x2="{right}" y1="{at:.1f}" y2="{at:.1f}" stroke="#dedcd5"/>')
        parts.append(f'<text x="{left - 6}" y="{at + 4:.1f}" text-anchor="end" {style}>{label}</text>')
    for at, label in times.items():
        parts.append(f'<text x="{at:.1f}" y="{foot}" text-anchor="middle" {style}>{label}</text>')
    return "".join(parts)


def legend_item(rank: int, name: str) -> str:
    """A row of a legend: the colour of a curve, and its name."""
    return (
        f'<li><svg width="26" height="12"><line x1="0" y1="6" x2="26" y2="6" stroke="{ink_of(rank)}" stroke-width="3"/>'
        f"</svg> {escape(name)}</li>"
    )


def ink_of(rank: int) -> str:
    """The colour of a curve by its place among them."""
    red, green, blue = OKABE_ITO[rank % len(OKABE_ITO)]
    return f"#{red:02x}{green:02x}{blue:02x}"
