"""Pops in a sweep: a vertex that jumps between two steps, or leaps out at one step and back again, where before and
after it moves little.

Why it matters: a pop is seen by everyone and found by nobody who looks at still poses. A sweep is a list of
poses at rising weights. A jump counts where a step is larger than a limit and several times what the steps beside
it do; a leap where the second difference of three poses does the same, since there both steps are large. A path that
only bends, as in-betweens bend it, is neither.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from composer.checks.finding import Finding
from composer.checks.limits import Limits
from composer.errors import MoueError
from composer.geometry.vectors import lengths

TITLE, WHY = "a pop in a sweep", "it is seen by everyone in motion and by nobody in a still"
TIMES = 4.0  # how much faster than the steps beside it a step must be


def find_pops(name: str, weights: Sequence[float], poses: Sequence[NDArray], limits: Limits) -> list[Finding]:
    """Findings `sweep.pop` and `sweep.leap`, one a step, worst first, of `poses` (n, 3) mm at rising `weights`.

    `value` is the jump in mm beyond what the neighbouring steps make expected. Raises MoueError where there
    are fewer than four poses, lengths differ, or weights do not rise.
    """
    if len(poses) < 4 or len(poses) != len(weights):
        raise MoueError(f"a sweep needs at least four poses and their weights, not {len(poses)}")
    gaps = np.diff(np.asarray(weights, dtype=np.float64))
    if (gaps <= 0.0).any():
        raise MoueError("the weights of a sweep have to rise")
    steps = [np.asarray(b, dtype=np.float64) - a for a, b in zip(poses[:-1], poses[1:], strict=True)]
    speeds = np.stack([lengths(step) for step in steps]) / gaps[:, None]
    found = []
    for k in range(len(steps)):
        beside = [speeds[i] for i in (k - 1, k + 1) if 0 <= i < len(steps)]
        expected = np.max(beside, axis=0) * gaps[k]
        size = speeds[k] * gaps[k]
        words = f"jump up to {{0:.1f}} mm between {weights[k] * 100.0:.0f} and {weights[k + 1] * 100.0:.0f} percent"
        found += _told("sweep.pop", words, size, expected, k + 1, name, limits)
    for k in range(1, len(poses) - 1):
        share = gaps[k - 1] / (gaps[k - 1] + gaps[k])
        through = poses[k + 1] - np.asarray(poses[k - 1], dtype=np.float64)
        off = steps[k - 1] - share * through
        beside = [speeds[i] * gaps[i] for i in (k - 2, k + 1) if 0 <= i < len(steps)]
        expected = np.max([lengths(through), *beside], axis=0)
        words = f"leap up to {{0:.1f}} mm out at {weights[k] * 100.0:.0f} percent and back again"
        found += _told("sweep.leap", words, lengths(off), expected, k, name, limits)
    return sorted(found, key=lambda finding: finding.rank)


def _told(
    code: str, words: str, size: NDArray, expected: NDArray, step: int, name: str, limits: Limits
) -> list[Finding]:
    """A finding on the vertices whose movement (n,) mm is far above what is `expected` (n,), or none."""
    on = np.flatnonzero(size - TIMES * expected > limits.pop_mm)
    if not len(on):
        return []
    amounts = size[on] - expected[on]
    value = float(amounts.max())
    count = f"{len(on)} vert{'ices' if len(on) > 1 else 'ex'}"
    verb = words if len(on) > 1 else words.replace("jump", "jumps").replace("leap", "leaps")
    return [
        Finding(
            code=code, severity="error", words=f"{count} {verb.format(value)}",
            hint="look at the in-betweens and correctives that come in there",
            vertices=on.astype(np.int32), amounts=amounts, value=value, unit="mm", where=name, step=step,
        )
    ]  # fmt: skip
