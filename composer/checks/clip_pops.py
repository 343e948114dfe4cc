"""Pops in a clip: frames at which vertices leave their path more sharply than the keys ask for.

Why it matters: a pop is seen by everyone and found by nobody who looks at still poses. With w_k the weights of frame k
and p(w) the pose, the path between the frames before and after bends by

    p((w_{k-1} + w_{k+1}) / 2) - (p_{k-1} + p_{k+1}) / 2

which is what the pose adds to the acceleration of the keys themselves: nothing where the pose is linear in the weights,
little where a jaw turns, and a spike where an in-between or a corrective begins or ends. A spike is a pop: larger than
a limit, and several times what the bend is beside it. Weights from a file may leap out for one frame and back, which no
person keys: that is told from the weights alone. (Our own measure, no source.)
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from composer.checks.finding import Finding
from composer.checks.limits import Limits
from composer.document.clip_file import name_of_cell
from composer.document.evaluated_clip import EvaluatedClip
from composer.document.moving_clip import MovingClip
from composer.geometry.vectors import lengths

TITLE, WHY = "a pop in a clip", "it is seen by everyone in motion and by nobody in a still"
TIMES = 4.0
"""How many times the bend beside it a pop is at least. A design choice, no source."""
BESIDE = 3
"""Frames on either side that a pop is compared with; its own neighbours are left out, for a spike has two frames."""
LEAP = 0.15
"""How far a weight leaps out for one frame, and back, before it is told. A design choice, no source."""


def bend_at(clip: EvaluatedClip, moving: MovingClip, number: int) -> NDArray[np.float32]:
    """(n,) mm, how far the path bends at a frame that is neither the first nor the last, beyond the keys' own. The
    poses of `moving`, float32, are near enough for that: they are off by far less than anything that is told."""
    before, after = clip.weights[number - 1], clip.weights[number + 1]
    ends = [moving.at(clip.recipe_of(weights)) for weights in (before, after)]
    middle = moving.at(clip.recipe_of(0.5 * (before + after)))
    return lengths(middle - 0.5 * (ends[0] + ends[1])).astype(np.float32)


def pops_from(bends: Sequence[NDArray | None], limits: Limits) -> dict[int, Finding]:
    """By frame, the finding `clip.pop` on vertices whose bend (n,) is a spike; None where a frame has no bend."""
    found: dict[int, Finding] = {}
    for number, bend in enumerate(bends):
        if bend is None or float(bend.max(initial=0.0)) <= limits.pop_mm:
            continue
        sides = [*range(number - BESIDE - 1, number - 1), *range(number + 2, number + BESIDE + 2)]
        beside = [bends[i] for i in sides if 0 <= i < len(bends) and bends[i] is not None]
        usual = np.median(np.stack(beside), axis=0) if beside else np.zeros_like(bend)  # type: ignore[arg-type]
        on = np.flatnonzero(bend - TIMES * usual > limits.pop_mm)
        if not len(on):
            continue
        value = float(bend[on].max())
        found[number] = Finding(
            code="clip.pop", severity="error" if value > TIMES * limits.pop_mm else "warning",
            words=f"{len(on)} {'vertices leave' if len(on) > 1 else 'vertex leaves'} the path by up to {value:.1f} mm",
            hint="look at the in-betweens and correctives that begin or end there",
            vertices=on.astype(np.int32), amounts=bend[on].astype(np.float64), value=value, unit="mm",
        )  # fmt: skip
    return found


def leaps_in(clip: EvaluatedClip) -> dict[int, list[Finding]]:
    """By frame, findings `clip.leap` on weights of a file that leap out for one frame and back."""
    if not clip.clip.file or clip.n_frames < 5:
        return {}
    off = np.zeros_like(clip.weights)
    off[1:-1] = clip.weights[1:-1] - 0.5 * (clip.weights[:-2] + clip.weights[2:])
    through = np.zeros_like(off)
    through[1:-1] = np.abs(clip.weights[2:] - clip.weights[:-2])
    found: dict[int, list[Finding]] = {}
    for number, column in np.argwhere((np.abs(off) > LEAP) & (through < 1.2 * np.abs(off))):
        value, around = float(abs(off[number, column])), np.abs(off[:, column])
        if value < TIMES * float(np.median(around[max(number - 4, 0) : number + 5])):
            continue
        name = name_of_cell(clip.cells[column])
        found.setdefault(int(number), []).append(
            Finding(
                "clip.leap", "warning", f"{name} leaps by {100 * value:.0f} percent for one frame and back",
                "look at that row of the file", value=100.0 * value, unit="percent", where=name,
            )
        )  # fmt: skip
    return found
