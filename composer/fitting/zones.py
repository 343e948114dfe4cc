"""Free zones of a head: where the cage does not follow the sculpt, because the sculpt has no such surface.

The mouth's interior and the eye sockets follow the rest by stiffness alone. They are found by the landmark curves at
their rims or by the names of face groups, and can be given as a mask.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from composer.errors import MoueError, unknown
from composer.head.head import Head
from composer.head.landmarks import Landmarks
from masks.face_hollows import HOLLOWS, find_hollows

Rows = NDArray[np.float64]
INSIDE = re.compile(r"(mouth|oral).*(interior|inside|inner|bag|cavity)|(inner|inside).*mouth|socket|conjunctiva", re.I)
"""Names of face groups that make a free zone (common practice, no source)."""


def free_zones(
    head: Head, landmarks: Landmarks | None = None, *, groups: Sequence[str] | None = None,
    mask: ArrayLike | None = None,
) -> tuple[Rows, list[str]]:  # fmt: skip
    """(n,) in [0, 1], 1 where a head is free, and a sentence for each zone that says how it was found.

    Zones lie behind the curves `mouth_inner`, `socket_left`, `socket_right` of `landmarks` (by default the head's own);
    without such curves they are the head's groups whose names match INSIDE. `groups` are used instead of those names,
    and `mask` (n,) in [0, 1] adds to the result.
    Raises MoueError for an unknown group or a mask that does not fit.
    """
    marks = landmarks if landmarks is not None else head.landmarks
    flags = np.zeros(head.n_vertices)
    notes: list[str] = []
    curves = _rims(head, marks) if marks else {}
    if curves:
        hollows = find_hollows(head.surface, curves, notes)
        flags[hollows.inside] = 1.0
        if hollows.inside.any():
            notes.append(f"Free behind {', '.join(curves)}: {int(hollows.inside.sum())} vertices.")
    chosen = list(groups) if groups is not None else []
    if not flags.any() and groups is None:
        chosen = [name for name in head.groups if INSIDE.search(name)]
    for name in chosen:
        if name not in head.groups:
            raise unknown("group", name, head.groups)
        inside = _inner_vertices(head, head.groups[name])
        flags[inside] = 1.0
        notes.append(f"Free by the group {name}: {len(inside)} vertices.")
    if mask is not None:
        values = np.asarray(mask, dtype=np.float64)
        if values.shape != flags.shape or not np.isfinite(values).all():
            raise MoueError(f"the free mask must be {head.n_vertices} numbers between 0 and 1")
        flags = np.maximum(flags, np.clip(values, 0.0, 1.0))
    return flags, notes


def _rims(head: Head, marks: Landmarks) -> dict[str, NDArray[np.int64]]:
    """The vertices (k,) of the curves at the rims of hollows, by name."""
    from scipy.spatial import cKDTree

    curves = {}
    for name in HOLLOWS:
        if name in marks.curves:
            line = marks.curves[name]
            if not isinstance(line, np.ndarray):
                line = cKDTree(head.neutral).query(marks.curve_positions(name, head.neutral))[1]
            curves[name] = np.asarray(line, dtype=np.int64)
    return curves


def _inner_vertices(head: Head, faces: NDArray) -> NDArray[np.int64]:
    """The vertices all of whose polygons are among `faces`."""
    inside = np.zeros(head.polygons.n_faces, dtype=bool)
    inside[faces] = True
    corners = inside[head.polygons.corner_face]
    total = np.bincount(head.polygons.indices, minlength=head.n_vertices)
    within = np.bincount(head.polygons.indices[corners], minlength=head.n_vertices)
    return np.flatnonzero((within == total) & (total > 0))
