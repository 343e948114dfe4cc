"""A matched performance as one page: its weights, what is left of every frame, the head's motion, the worst frames."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from composer.document.evaluated_clip import EvaluatedClip
from composer.edits.match_frames import FrameFace, MatchedFrames
from composer.head.head import Head
from composer.picture.clip_report import curves_svg
from composer.picture.heat import Scale, nice
from composer.picture.lines_svg import lines_svg
from composer.picture.png import data_uri
from composer.picture.render import Studio
from composer.picture.report import escape
from composer.picture.sheet import Entry, contact_sheet

if TYPE_CHECKING:
    from PIL.Image import Image

LEAST_MM = 0.01
"""Least end of the heat scale, mm (our choice): rounding does not look like a residual."""


def match_clip_report(clip: EvaluatedClip, found: MatchedFrames, worst: Sequence[int], picture: Image) -> str:
    """The page as text, to be written in UTF-8: a single file without scripts or outside links. `worst` are the numbers
    of the frames in the `picture` (`worst_sheet`)."""
    head, left, name = clip.evaluated.head, found.left, escape(clip.clip.name)
    marks = [float(found.times[number]) for number in worst]
    frames = len(found.times)
    summary = (
        f"{frames} frames at {found.fps:g} a second, {len(found.cells)} cells; "
        f"{100.0 * left.explained:.1f} percent of the movement is reached. Left over all frames: mean "
        f"{left.mean.mean():.3g} mm, 95th percentile {np.mean(left.p95):.3g} mm, at most {left.most.max():.3g} mm. "
        f"The frames' noise is {found.noise_mm:.2g} mm a coordinate."
    )
    lines = {"mean": left.mean, "95th percentile": left.p95, "at most": left.most}
    parts = [
        f"<h2>Weights</h2>{curves_svg(clip) if found.cells else '<p>Nothing moves.</p>'}",
        "<h2>What is left</h2><p>The distance of a frame, without head motion, from its pose, over all vertices. "
        f"Dashed: the frames below.</p>{lines_svg(found.times, lines, 'mm', 'what is left of each frame', marks)}",
    ]
    if found.head_moves:
        parts.append(f"<h2>The head's own motion</h2>{_motion(found, head)}")
    alt = "frames and poses, with what is left as heat"
    parts.append(f'<h2>The worst frames</h2><img alt="{alt}" src="{data_uri(picture)}">')
    notes = "".join(f"<li>{escape(note)}</li>" for note in found.notes)
    parts.append(f"<h2>Notes</h2><ul>{notes}</ul>" if notes else "")
    sections = "".join(f"<section>{part}</section>" for part in parts if part)
    return _PAGE.format(title=name, summary=summary, parts=sections)


def worst_sheet(head: Head, found: MatchedFrames, faces: Sequence[FrameFace]) -> Image:
    """The picture of some frames beside their poses, with what is left as heat on both, on one scale."""
    away = [np.sqrt(np.einsum("ij,ij->i", face.left, face.left)) for face in faces]
    scale = Scale("what is left", "mm", 0.0, nice(max(max(float(each.max(initial=0.0)) for each in away), LEAST_MM)))
    colours = [scale.colours(each) for each in away]
    entries = [
        Entry(f"frame {face.number}, {found.times[face.number]:.2f} s", face.target,
              f"{each.max(initial=0.0):.2g} mm at most", colour)
        for face, each, colour in zip(faces, away, colours, strict=True)
    ]  # fmt: skip
    entries += [
        Entry("the clip", face.target - face.left, f"frame {face.number}", colour)
        for face, colour in zip(faces, colours, strict=True)
    ]
    return contact_sheet(
        Studio.of(head), entries, title="Frames, and the clip below", counts="what is left as heat",
        view="three_quarter", legend=scale, columns=len(faces),
    ).image  # fmt: skip


def _motion(found: MatchedFrames, head: Head) -> str:
    turns = np.array([motion.angle_deg for motion in found.motions])
    middle = head.neutral.mean(axis=0)
    shifts = np.array([motion(middle[None])[0] - middle for motion in found.motions])
    axes = {"to the subject's left": shifts[:, 0], "up": shifts[:, 1], "forward": shifts[:, 2]}
    return (
        f"<p>How far the middle of the head is shifted, and how far the head is turned.</p>"
        f"{lines_svg(found.times, axes, 'mm', 'how the head is shifted')}"
        f"{lines_svg(found.times, {'turn': turns}, 'deg', 'how far the head is turned')}"
    )


_PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>{title}, matched</title><style>
body{{margin:0 auto;max-width:920px;padding:36px 32px;background:#f3f2ee;color:#18191c;
font:16px/1.5 system-ui,sans-serif}}
h1{{font-size:30px;margin:0}} h2{{font-size:22px;margin:0 0 8px}} p{{margin:6px 0}}
section{{margin-top:36px}} img{{max-width:100%;height:auto}} li{{overflow-wrap:anywhere}}
</style></head><body>
<h1>{title}, matched</h1><p>{summary}</p>
{parts}
</body></html>
"""
