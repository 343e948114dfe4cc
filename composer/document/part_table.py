"""The table of a part in a document, to be read and edited by hand.

    [parts.teeth_lower]
    material = "M_Teeth_Lo"              # or group = "...", component = [18, "20-33"], vertices = ["9409-14061", 14100]
    follows = "jaw"                      # skull, jaw, surface or own
    [parts.eye_left]
    component = [34, 35]
    follows = "own"
    gaze = [0.0, 0.0, 1.0]               # direction in which an eyeball looks at rest

Components are connected pieces, numbered from 0 in the order of their lowest vertices. A range includes both ends.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from composer.document.values import Values
from composer.errors import MoueError, unknown
from composer.head.head import FOLLOWS, Head, Part

KEYS = ("group", "material", "component", "vertices", "follows", "gaze")
WHERE = ("group", "material", "component", "vertices")
MOST_RANGES = 24
"""A part of more ranges of pieces than this is written as ranges of vertices, if those are fewer. Readability only."""


def part_of(said: Values, name: str, head: Head) -> Part:
    """The part that a document's table describes. Raises MoueError where it names nothing on this head."""
    follows = said.text("follows") or "skull"
    if follows not in FOLLOWS:
        raise unknown("way to follow", follows, FOLLOWS, said.path)
    where = [key for key in WHERE if key in said.table]
    if len(where) > 1:
        raise said.error(f"has both {where[0]} and {where[1]}", "name a part in one way")
    if "group" in said.table:
        vertices = _of_faces(_named(said, "group", head.groups), head)
    elif "material" in said.table:
        vertices = _of_faces(_named(said, "material", head.materials), head)
    elif "component" in said.table:
        vertices = np.flatnonzero(np.isin(head.polygons.components, said.ranges("component")))
    else:
        vertices = np.asarray(said.ranges("vertices"), dtype=np.int64)
    if not len(vertices) or vertices.max() >= head.n_vertices:
        raise said.error("names no vertices of this head")
    gaze = said.three("gaze") if "gaze" in said.table else None
    if gaze is not None and not any(gaze):
        raise said.error("has a gaze without a direction", "three numbers, such as [0, 0, 1]")
    axis = (gaze[0], gaze[1], gaze[2]) if gaze is not None else None
    return Part(name, np.unique(vertices).astype(np.int32), follows, axis)  # type: ignore[arg-type]


def part_table(part: Part, head: Head) -> dict[str, Any]:
    """The table [parts.NAME] of a part: by the group or material of exactly its vertices, else by pieces, else by
    ranges of vertices.
    """
    table = _where(part, head) | {"follows": part.follows}
    return table | ({"gaze": [float(each) for each in part.gaze]} if part.gaze is not None else {})


def ranges_of(numbers: NDArray) -> list[int | str]:
    """Sorted whole numbers as numbers and ranges: [3, "9-14", 20]."""
    numbers = np.unique(numbers)
    if not len(numbers):
        return []
    breaks = np.flatnonzero(np.diff(numbers) > 1)
    starts, ends = np.r_[numbers[0], numbers[breaks + 1]], np.r_[numbers[breaks], numbers[-1]]
    out: list[int | str] = []
    for a, b in zip(starts.tolist(), ends.tolist(), strict=True):
        out += [a] if a == b else [a, b] if b == a + 1 else [f"{a}-{b}"]
    return out


def _where(part: Part, head: Head) -> dict[str, Any]:
    vertices = np.unique(part.vertices)
    named: tuple[tuple[str, Mapping[str, NDArray]], ...] = (("group", head.groups), ("material", head.materials))
    for key, faces in named:
        for name, held in faces.items():
            if _begins_in(held, head, vertices) and np.array_equal(_of_faces(held, head), vertices):
                return {key: str(name)}
    label = head.polygons.components
    pieces = np.unique(label[vertices])
    ranges = ranges_of(vertices)
    if int(np.isin(label, pieces).sum()) == len(vertices):
        said = ranges_of(pieces)
        if len(said) <= max(MOST_RANGES, len(ranges)):
            return {"component": said}
    return {"vertices": ranges}


def _begins_in(faces: NDArray, head: Head, vertices: NDArray) -> bool:
    """Whether the first of some polygons lies among `vertices` (k,), ascending: told at once, on a large head too."""
    if not len(faces) or not len(vertices):
        return len(faces) == len(vertices)
    first = head.polygons.face(int(faces[0]))
    at = np.minimum(np.searchsorted(vertices, first), len(vertices) - 1)
    return bool((vertices[at] == first).all())


def _of_faces(faces: NDArray, head: Head) -> NDArray[np.int64]:
    on = np.zeros(head.polygons.n_faces, dtype=bool)
    on[faces] = True
    return np.unique(head.polygons.indices[on[head.polygons.corner_face]])


def _named(said: Values, key: str, known: Mapping[str, NDArray]) -> NDArray:
    name = said.text(key) or ""
    if name not in known:
        if key == "group" and not known:
            raise MoueError(f"{said.where} names a group; this head has none", said.path, hint="say material = ...")
        raise unknown(key, name, list(known), said.path)
    return known[name]
