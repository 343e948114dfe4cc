"""Pops in a sweep: a vertex that jumps between two steps where before and after it moves little.

Why it matters: a pop is seen by everyone and found by nobody who looks at still poses. A sweep is a list of
poses at rising weights; a jump counts where it is larger than a limit and several times what the steps beside
it do.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from composer.checks.finding import Finding
from composer.checks.limits import Limits
from composer.errors import MoueError

TIMES = 4.0  # how much faster than the steps beside it a step must be


def find_pops(name: str, weights: Sequence[float], poses: Sequence[NDArray], limits: Limits) -> list[Finding]:
    """Findings `sweep.pop`, one a step, worst first, of `poses` (n, 3) mm at rising `weights`.

    `value` is the jump in mm beyond what the neighbouring steps make expected. Raises MoueError where there
    are fewer than four poses, lengths differ, or weights do not rise.
    """
    if len(poses) < 4 or len(poses) != len(weights):
        raise MoueError(f"a sweep needs at least four poses and their weights, not {len(poses)}")
    gaps = np.diff(np.asarray(weights, dtype=np.float64))
    if (gaps <= 0.0).any():
        raise MoueError("the weights of a sweep have to rise")
    steps = [np.asarray(b, dtype=np.float64) - a for a, b in zip(poses[:-1], poses[1:], strict=True)]
    speeds = np.stack([np.sqrt(np.einsum("ij,ij->i", step, step)) for step in steps]) / gaps[:, None]
    found = []
    for k in range(len(steps)):
        beside = [speeds[i] for i in (k - 1, k + 1) if 0 <= i < len(steps)]
        expected = np.max(beside, axis=0)
        jump = (speeds[k] - TIMES * expected) * gaps[k]
        on = np.flatnonzero(jump > limits.pop_mm)
        if not len(on):
            continue
        amounts = (speeds[k, on] - expected[on]) * gaps[k]
        found.append(
            Finding(
                code="sweep.pop",
                severity="error",
                words=f"{len(on)} vertices jump up to {amounts.max():.1f} mm between "
                f"{weights[k]:.0%} and {weights[k + 1]:.0%}".replace("%", " percent"),
                mend="look at the in-betweens and correctives that come in there",
                vertices=on.astype(np.int32),
                amounts=amounts,
                value=float(amounts.max()),
                unit="mm",
                where=name,
            )
        )
    return sorted(found, key=lambda finding: finding.rank)
