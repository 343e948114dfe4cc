"""Free zones of a head: where a sculpt is not to be followed, because it has nothing there or nothing that counts.

The mouth's interior and the sockets of the eyes follow the rest by stiffness alone. They are known by the landmark
curves at their rims, otherwise by the names of face groups, and can be given as a mask.
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
"""Names of face groups that are taken for a free zone (common practice, no source)."""


def free_zones(
    head: Head, landmarks: Landmarks | None = None, *, groups: Sequence[str] | None = None,
    mask: ArrayLike | None = None,
) -> tuple[Rows, list[str]]:  # fmt: skip
    """(n,) 1 where a head is free, and a sentence for each zone on how it was found.

    By the curves `mouth_inner`, `socket_left`, `socket_right` of `landmarks` (the head's own unless given), otherwise
    by the head's groups whose names say so; `groups` adds named groups, `mask` (n,) in [0, 1] adds to all of it.
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
    own = np.bincount(head.polygons.indices[corners], minlength=head.n_vertices)
    return np.flatnonzero((own == total) & (total > 0))
