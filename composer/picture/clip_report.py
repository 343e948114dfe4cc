"""A checked clip as one page: its curves, the clip playing, and the findings of its worst frames with pictures."""

from __future__ import annotations

import base64
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from composer.checks.clip_check import ClipChecked, Lasting
from composer.document.clip_file import name_of_cell
from composer.document.evaluated_clip import EvaluatedClip
from composer.errors import shorten_middle
from composer.picture.clip_picture import MOST_A_SECOND, animated, durations, pictures, shown_frames, studio_of
from composer.picture.lines_svg import axes_svg, ink_of, legend_item, round_steps
from composer.picture.report import escape, html_report
from composer.progress import Progress

MOST_NAMED = 7
"""Curves that are drawn in a colour of their own and named, those that move most first; the others are grey."""
WIDTH, HEIGHT, LEFT, BOTTOM = 820, 300, 52, 60
FINE = 4
"""Points of a curve between two frames (our choice)."""


def clip_report(checked: ClipChecked, *, progress: Progress | None = None) -> str:
    """The page as text, to be written in UTF-8: a single file without scripts or outside links."""
    clip = checked.clip
    studio = studio_of(clip)
    numbers = shown_frames(clip, MOST_A_SECOND)
    images = list(pictures(clip, studio, numbers, size=(320, 380), progress=progress))
    moving = base64.b64encode(animated(images, durations(clip, numbers))).decode("ascii")
    name = escape(clip.clip.name)
    frames = f"{clip.length:g} s, {clip.n_frames} frames at {clip.clip.fps:g} a second, {len(clip.cells)} cells."
    top = (
        '<section style="display:flex;gap:28px;align-items:center;flex-wrap:wrap">'
        f'<img alt="{name}, playing" src="data:image/webp;base64,{moving}" width="320" height="380">'
        f'<div style="flex:1;min-width:420px"><p>{frames}</p>{curves_svg(clip, checked.grave)}</div></section>'
    )
    return html_report(
        studio, checked.checked(), title=f"Clip {clip.clip.name}", notes=clip.notes, progress=progress, top=top
    )  # fmt: skip


def curves_svg(clip: EvaluatedClip, faults: Sequence[Lasting] = ()) -> str:
    """The weights of a clip over time as SVG, in percent, with a bar for how long each grave fault lasts below."""
    even = np.linspace(clip.times[0], clip.times[-1], FINE * (clip.n_frames - 1) + 1)
    times = np.union1d(even, [key.time for key in clip.clip.keys])
    weights = 100.0 * clip.weights_at(times)
    names, weights = _alike(clip, weights)
    low, high = min(0.0, float(weights.min(initial=0.0))), max(100.0, float(weights.max(initial=0.0)))

    def x(time: float) -> float:
        return LEFT + (WIDTH - LEFT - 10) * (time - times[0]) / (times[-1] - times[0])

    def y(percent: float) -> float:
        return 10 + (HEIGHT - BOTTOM - 10) * (high - percent) / (high - low)

    order = np.argsort(-np.ptp(weights, axis=0), kind="stable")
    levels = {y(percent): f"{percent:.0f}%" for percent in round_steps(low, high, 4)}
    seconds = {x(time): f"{time:g} s" for time in round_steps(float(clip.times[0]), float(clip.times[-1]), 8)}
    parts = [axes_svg(levels, seconds, (LEFT, WIDTH - 10), HEIGHT - BOTTOM + 18)]
    for rank in range(len(order) - 1, -1, -1):
        column = order[rank]
        points = " ".join(f"{x(t):.1f},{y(w):.1f}" for t, w in zip(times, weights[:, column], strict=True))
        ink = ink_of(rank) if rank < MOST_NAMED else "#b9b7b0"
        width = 2.5 if rank < MOST_NAMED else 1
        parts.append(f'<polyline points="{points}" fill="none" stroke="{ink}" stroke-width="{width}"/>')
    parts += [_bar(clip, fault, x) for fault in faults]
    legend = "".join(legend_item(rank, names[column]) for rank, column in enumerate(order[:MOST_NAMED]))
    more = len(order) - MOST_NAMED
    legend += f"<li>{more} more, in grey</li>" if more > 0 else ""
    words = f"weights of {escape(clip.clip.name)} over time"
    return (
        f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{words}" style="width:100%;background:#fff">'
        f'{"".join(parts)}</svg><ul style="list-style:none;padding:0;columns:2">{legend}</ul>'
    )


def _alike(clip: EvaluatedClip, weights: NDArray) -> tuple[list[str], NDArray[np.float64]]:
    """The names of curves, and the curves (t, k); cells that go alike share one."""
    curves: dict[bytes, list[int]] = {}
    for column in range(weights.shape[1]):
        curves.setdefault(np.round(weights[:, column], 6).tobytes(), []).append(column)
    names = []
    for columns in curves.values():
        more = f" and {len(columns) - 1} more alike" if len(columns) > 1 else ""
        names.append(shorten_middle(name_of_cell(clip.cells[columns[0]]), 48) + more)
    return names, weights[:, [columns[0] for columns in curves.values()]]


def _bar(clip: EvaluatedClip, fault: Lasting, x) -> str:  # type: ignore[no-untyped-def]
    """From when to when a fault is there, errors above warnings, with a mark at its worst."""
    error = fault.finding.severity == "error"
    ink, top = ("#a11212", HEIGHT - 32) if error else ("#c98a2b", HEIGHT - 18)
    begin, end, worst = (x(float(clip.times[k])) for k in (fault.frames[0], fault.frames[-1], fault.worst))
    words = escape(f"{fault.finding.severity}: {fault.finding.words}")
    return (
        f'<g><title>{words}</title><rect x="{begin - 1.5:.1f}" y="{top}" width="{end - begin + 3:.1f}" height="9" '
        f'fill="{ink}" opacity="0.35"/>'
        f'<rect x="{worst - 1.5:.1f}" y="{top - 2}" width="3" height="13" fill="{ink}"/></g>'
    )
