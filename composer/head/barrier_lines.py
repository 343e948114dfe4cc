"""The lines that no brush crosses: where the lips meet and along the rims of the lids, from landmark curves."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.head.head import Head

LINES = (
    "lip_line_upper", "lip_line_lower", "upper_lid_left", "lower_lid_left", "upper_lid_right", "lower_lid_right",
)  # fmt: skip
"""The landmark curves that are barriers (anatomical common practice, no source)."""


def barrier_lines(head: Head) -> list[NDArray[np.int64]]:
    """The curves (k,) of vertices that the head's landmarks give, empty where it has none.

    A curve given by places rather than vertices runs over the vertices nearest to them.
    """
    marks = head.landmarks
    if not marks:
        return []
    lines = []
    for name in LINES:
        if name not in marks.curves:
            continue
        curve = marks.curves[name]
        if not isinstance(curve, np.ndarray):
            from scipy.spatial import cKDTree

            curve = cKDTree(head.neutral).query(marks.curve_positions(name, head.neutral))[1]
        line = np.asarray(curve, dtype=np.int64)
        kept = line[np.insert(np.diff(line) != 0, 0, True)]
        if len(kept) > 1:
            lines.append(kept)
    return lines
