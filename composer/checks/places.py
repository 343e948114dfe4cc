"""Where a finding lies: a point for a camera to look at, and the words a person would use for it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from composer.checks.finding import Finding
from composer.checks.subject import CheckSubject
from composer.mixing.recipe import REMAINDER

Point = tuple[float, float, float]
_AROUND = 1.0 / 12.0  # of the head's diagonal: what lies further from the worst vertex is another place
_MOST = 0.3  # a region is named where its mask is this large on average


def located(finding: Finding, subject: CheckSubject) -> Finding:
    """The finding with its `place` on the pose, and with `where` saying the region or the nearest landmark instead
    of the pose's name."""
    if not len(finding.vertices):
        return replace(finding, where="") if finding.where == subject.name else finding
    place, near = middle(finding, subject.pose, subject.head.diagonal)
    where = finding.where
    if where in ("", subject.name):
        where = region_at(subject, near) or landmark_at(subject, place)
    return replace(finding, place=place, where=where)


def middle(finding: Finding, pose: NDArray, diagonal: float) -> tuple[Point, NDArray[np.int32]]:
    """The middle, in mm on the `pose` (n, 3), of a finding's vertices around its worst one, and those vertices.

    What happens on both sides at once is so shown on one, not in between.
    """
    spots = np.asarray(pose, dtype=np.float64)[finding.vertices]
    off = spots - spots[0 if finding.amounts is None else int(np.argmax(finding.amounts))]
    near = np.einsum("ij,ij->i", off, off) <= (_AROUND * diagonal) ** 2
    x, y, z = spots[near].mean(axis=0).tolist()
    return (x, y, z), finding.vertices[near]


def region_at(subject: CheckSubject, vertices: NDArray) -> str:
    """The region whose mask is largest at some vertices, "" where none is large."""
    shares = {name: float(np.mean(mask[vertices])) for name, mask in subject.masks.items() if name != REMAINDER}
    name = max(shares, key=lambda each: shares[each], default="")
    return name if name and shares[name] >= _MOST else ""


def landmark_at(subject: CheckSubject, place: Point) -> str:
    """The landmark that is nearest to a place in the pose, as "near NAME"; "" where there are none at vertices."""
    marks = subject.head.landmarks
    points = {name: at for name, at in marks.points.items() if isinstance(at, int | np.integer)} if marks else {}
    if not points:
        return ""
    off = subject.pose[np.array(list(points.values()), dtype=np.int64)] - np.array(place)
    return "near " + list(points)[int(np.argmin(np.einsum("ij,ij->i", off, off)))]
