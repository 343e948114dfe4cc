"""Turning a head as it was read upright: its left to x, up to y, ahead to z."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from composer.geometry.rigid import similarity
from composer.head.aside import aside
from composer.head.axes import FileAxes
from composer.head.head import Head, InBetween, Shape
from composer.head.landmarks import Landmarks, as_curve
from composer.head.places import Place

LEANS_DEG = 20.0
"""A head that is further than this from standing along the axes of its file was placed so by hand (our choice)."""


def turned(head: Head, axes: FileAxes) -> Head:
    """The head, which stands as its files do, in its own axes; `axes` say how the files stand. Parts are left out.

    Positions, displacements and landmarks that are positions are turned. The same head where nothing is to turn.
    """
    if axes.as_they_are:
        return head
    shapes = tuple(
        Shape(s.name, aside(axes.from_files(s.delta)),
              tuple(InBetween(b.at, aside(axes.from_files(b.delta))) for b in s.inbetweens))
        for s in head.shapes
    )
    marks = None if head.landmarks is None else marks_turned(head.landmarks, axes)
    return head.with_(
        neutral=axes.from_files(head.neutral), shapes=shapes, landmarks=marks, parts=(), axes=axes
    )  # fmt: skip


def marks_turned(marks: Landmarks, axes: FileAxes) -> Landmarks:
    """Landmarks that are positions in the files' axes, turned; those on vertices and triangles go along by themselves.
    """
    if axes.as_they_are:
        return marks
    return Landmarks(
        {name: _turned(place, axes) for name, place in marks.points.items()},
        {name: curve if isinstance(curve, np.ndarray) else as_curve([_turned(place, axes) for place in curve])
         for name, curve in marks.curves.items()},
    )  # fmt: skip


def standing_as(
    head: Head, other: Head, finer: Mapping[int, NDArray] | None = None
) -> tuple[Head, dict[int, NDArray]]:
    """Another head of the same vertices, and its neutral (n_k, 3) mm at `finer` levels, turned by quarters to stand as
    `head` does: the quarter turns that bring it nearest, by the best rotation between them (Kabsch 1976). One that
    leans further than LEANS_DEG, or has another number of vertices, is left as it is.
    """
    levels = dict(finer or {})
    if other.n_vertices != head.n_vertices:
        return other, levels
    rows = similarity(head.neutral, other.neutral).rotation.T
    most = np.abs(rows).argmax(axis=1)
    quarters = np.eye(3)[most] * np.sign(rows[np.arange(3), most])[:, None]
    cosine = (np.trace(rows @ quarters.T) - 1.0) / 2.0
    if len(set(most.tolist())) < 3 or np.linalg.det(quarters) < 0.0 or cosine < np.cos(np.radians(LEANS_DEG)):
        return other, levels
    turn = FileAxes.of_rows(quarters)
    if turn.as_they_are:
        return other, levels
    stood = turned(other, turn).with_(parts=other.parts, axes=FileAxes.of_rows(quarters @ other.axes.rows))
    return stood, {level: turn.from_files(points) for level, points in levels.items()}


def _turned(place: Place, axes: FileAxes) -> Place:
    """A place, turned where it is a position; a vertex or a place on a triangle goes along by itself."""
    if isinstance(place, tuple):
        x, y, z = (float(each) for each in axes.from_files(np.array(place, dtype=np.float64)))
        return x, y, z
    return place
