"""Curves over logarithmic axes as an SVG (Scalable Vector Graphics 1.1, W3C), without a library for plots."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from html import escape

WIDTH, HEIGHT, LEFT, TOP, ROOM = 420, 300, 62, 34, 46
INKS = ("#12617c", "#c03a20", "#6b7d2a", "#7a4a8c")
Points = Sequence[tuple[float, float]]


def plot(panels: Sequence[tuple[str, Mapping[str, Points]]], along: str) -> str:
    """The text of an SVG with a panel for each title and its curves {name: (x, y) points}, both axes logarithmic with a
    line at each power of ten; `along` names what x is. A dashed line in each panel grows linearly."""
    whole = WIDTH * len(panels)
    parts = [f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {whole} {HEIGHT}" width="{whole}" '
             f'height="{HEIGHT}" font-family="sans-serif" font-size="11">',
             f'<rect width="{whole}" height="{HEIGHT}" fill="white"/>']  # fmt: skip
    for number, (title, curves) in enumerate(panels):
        parts.append(f'<g transform="translate({number * WIDTH} 0)">')
        parts += _panel(title, curves, along)
        parts.append("</g>")
    return "\n".join([*parts, "</svg>", ""])


def _panel(title: str, curves: Mapping[str, Points], along: str) -> list[str]:
    points = [point for curve in curves.values() for point in curve]
    if not points:
        return []
    (low_x, high_x), (low_y, high_y) = (_powers([point[axis] for point in points]) for axis in (0, 1))
    wide, high = WIDTH - LEFT - 84, HEIGHT - TOP - ROOM

    def at(x: float, y: float) -> tuple[float, float]:
        return (LEFT + wide * (math.log10(x) - low_x) / (high_x - low_x),
                TOP + high * (high_y - math.log10(max(y, 1e-6))) / (high_y - low_y))  # fmt: skip

    said = [f'<text x="{LEFT}" y="18" font-size="13">{escape(title)}</text>']
    for power in range(low_x, high_x + 1):
        x, _ = at(10.0**power, 1.0)
        said.append(f'<path d="M{x:.1f} {TOP}V{TOP + high}" stroke="#ddd"/>')
        said.append(f'<text x="{x:.1f}" y="{TOP + high + 15}" text-anchor="middle">{_figure(power)}</text>')
    for power in range(low_y, high_y + 1):
        _, y = at(10.0**low_x, 10.0**power)
        said.append(f'<path d="M{LEFT} {y:.1f}H{LEFT + wide}" stroke="#ddd"/>')
        said.append(f'<text x="{LEFT - 6}" y="{y + 4:.1f}" text-anchor="end">{_figure(power)}</text>')
    first = min(points)
    last = max(x for x, _ in points)
    (x0, y0), (x1, y1) = at(*first), at(last, first[1] * last / first[0])
    if y1 >= TOP:
        said.append(f'<path d="M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}" stroke="#999" stroke-dasharray="4 4"/>')
    for ink, (name, curve) in zip(INKS, curves.items(), strict=False):
        places = [at(*point) for point in sorted(curve)]
        line = " ".join(f"{x:.1f},{y:.1f}" for x, y in places)
        said.append(f'<polyline points="{line}" fill="none" stroke="{ink}" stroke-width="2"/>')
        said += [f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3" fill="{ink}"/>' for x, y in places]
        x, y = places[-1]
        said.append(f'<text x="{x + 8:.1f}" y="{y + 4:.1f}" fill="{ink}">{escape(name)}</text>')
    said.append(f'<text x="{LEFT + wide / 2}" y="{HEIGHT - 10}" text-anchor="middle">{escape(along)}</text>')
    return said


def _powers(values: Sequence[float]) -> tuple[int, int]:
    low = math.floor(math.log10(max(min(values), 1e-6)))
    return low, max(math.ceil(math.log10(max(max(values), 1e-6))), low + 1)


def _figure(power: int) -> str:
    """A power of ten in figures."""
    return f"{10**power:,}" if power >= 0 else f"{10.0**power:g}"
