"""Reading a mesh back from the sculptor: its level, vertex order and size are checked.

A fault gives an error of one line before anything else happens: another number of vertices, another order, another unit
or scale, a head that was moved as a whole.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.formats.mesh import Mesh
from composer.formats.registry import axes_in, read_mesh
from composer.geometry.polygons import Polygons
from composer.geometry.rigid import similarity
from composer.head.head import Head
from composer.head.levels import HIGHEST_LEVEL, Refinement, levels, vertex_count
from composer.head.order_difference import order_difference
from composer.units import MM_PER_UNIT, mm_per

OTHER_SIZE = 0.25
"""A sculpt has another unit or scale if its bounding box differs by more than this fraction. A jaw dropped wide adds a
tenth to the diagonal of a face (common practice, no source).
"""
MOVED, EXPLAINED = 0.004, 1.0 / 3.0
"""A sculpt was moved as a whole if one similarity moves it by more than MOVED of the head's diagonal (RMS) and leaves
less than EXPLAINED of its RMS distance. A design choice, no source.
"""


class OtherOrder(MoueError):
    """The sculpt has the polygons of its level in another order, as a bake over a sample has."""


@dataclass(frozen=True, eq=False)
class Sculpt:
    """Positions (n_k, 3) float64 mm at `level`, in Moue's order, read from `path`; `steps` subdivide the cage to that
    level, if already computed, and `rules` do so by the rules of the sample that was baked over."""

    path: Path
    level: int
    positions: NDArray[np.float64]
    steps: list[Refinement] | None = None
    rules: list[Refinement] | None = None


def read_sculpt(
    head: Head, path: Path | str, level: int | None = None, unit: str | None = None, name: str | None = None
) -> Sculpt:  # fmt: skip
    """The sculpt in a file of any format that Moue reads. Its level is found from the vertex count unless `level` is
    given.

    `unit` is the unit of a file that does not state its own, by default the head's. In a file of many shapes the one
    named `name` is read. Raises MoueError, with the file and what to do, where it fits no level of this head or is in
    another order.
    """
    path = Path(path)
    mesh = read_mesh(path)
    points = positions_in(mesh, path, name)
    level = _level_of(head, mesh, path) if level is None else level
    steps = levels(head.polygons, level)
    polygons = steps[-1].polygons if steps else head.polygons
    _refuse_other_order(polygons, mesh.polygons, path, level)
    placed = axes_in(head, path).from_files(points * mm_per(unit or mesh.unit or head.unit, str(path)))
    return Sculpt(path, level, placed, steps)


def check_place(sculpt: Sculpt, pose: NDArray, polygons: Polygons, size: float, unit: str) -> None:
    """Check that a sculpt is in the place of its `pose` (n_k, 3) mm. `polygons` are the level's, `size` is the head's
    diagonal in mm, and `unit` the unit in which the file was read. Raises MoueError, with the file, where it was
    scaled, moved, turned or mirrored as a whole, or its vertices are in another order.
    """
    pose_diagonal = float(np.linalg.norm(np.ptp(pose, axis=0)))
    sculpt_diagonal = float(np.linalg.norm(np.ptp(sculpt.positions, axis=0)))
    ratio = sculpt_diagonal / pose_diagonal if pose_diagonal > 0 else 1.0
    if abs(ratio - 1.0) > OTHER_SIZE:
        other = next((u for u, mm in MM_PER_UNIT.items() if abs(ratio * mm / mm_per(unit) - 1.0) <= OTHER_SIZE), None)
        hint = f"is it in {other}? say --unit {other}" if other else "scale it back"
        raise MoueError(f"is {ratio:.3g} times as large as it should be", sculpt.path, hint=hint)
    difference = order_difference(polygons, polygons, pose, sculpt.positions)
    if difference is not None:
        hint = "export it with its vertices in the order of the bake"
        raise MoueError(difference.words, sculpt.path, hint=hint)
    motion = similarity(pose, sculpt.positions)
    whole = _rms(motion(pose) - pose)
    if whole > MOVED * size and _rms(sculpt.positions - motion(pose)) < EXPLAINED * _rms(sculpt.positions - pose):
        shift = float(np.linalg.norm(motion(pose.mean(axis=0)[None])[0] - pose.mean(axis=0)))
        words = f"{shift:.1f} mm, {motion.angle_deg:.1f} degrees, {motion.scale:.3f} times"
        raise MoueError(f"was moved, turned or scaled as a whole ({words})", sculpt.path, hint="put it back")
    away = min(_rms(sculpt.positions - pose), _rms(sculpt.positions - motion(pose)))
    flipped = sculpt.positions * (-1.0, 1.0, 1.0)
    if away > MOVED * size and _rms(flipped - similarity(pose, flipped)(pose)) < EXPLAINED * away:
        raise MoueError("is mirrored as a whole: left and right are exchanged", sculpt.path, hint="mirror it back")


def positions_in(mesh: Mesh, path: Path, name: str | None) -> NDArray[np.float64]:
    """(n, 3) in the file's unit, the positions of a file of one mesh, or of one of its shapes.

    Raises MoueError where the file holds several shapes and none of this name."""
    if not mesh.shapes:
        return mesh.positions
    chosen = next((shape for shape in mesh.shapes if shape.name == name), None)
    if chosen is None and len(mesh.shapes) > 1:
        what = f"holds {len(mesh.shapes)} shapes, none named {name!r}"
        raise MoueError(what, path, hint="keep only one shape, or rename it")
    return mesh.positions + (chosen or mesh.shapes[0]).delta


def _level_of(head: Head, mesh: Mesh, path: Path) -> int:
    counts: list[int] = []
    for k in range(HIGHEST_LEVEL + 1):
        counts.append(vertex_count(head.polygons, k))
        if counts[-1] == mesh.n_vertices:
            return k
        if counts[-1] > mesh.n_vertices:
            break
    if mesh.n_vertices < 2 * counts[0]:
        found = order_difference(head.polygons, mesh.polygons, _in_files(head), mesh.positions)
        if found is not None and found.kind in ("seam-split", "triangulated"):
            raise MoueError(found.words, path, hint="export it without splitting vertices or cutting polygons")
    said = ", ".join(f"level {k} {count:,}" for k, count in enumerate(counts))
    raise MoueError(f"has {mesh.n_vertices:,} vertices, which is no level of this head ({said})", path)


def _in_files(head: Head) -> NDArray[np.float64]:
    return head.axes.to_files(head.neutral) / mm_per(head.unit)


def _refuse_other_order(expected: Polygons, given: Polygons, path: Path, level: int) -> None:
    if given.n_vertices != expected.n_vertices:
        raise MoueError(f"has {given.n_vertices:,} vertices, level {level} has {expected.n_vertices:,}", path)
    difference = order_difference(expected, given)
    if difference is None:
        return
    if difference.kind in ("triangulated", "seam-split"):
        raise MoueError(difference.words, path, hint="export it without cutting polygons")
    if difference.kind == "turned over":
        raise MoueError(difference.words, path, hint="turn its polygons round")
    raise OtherOrder(difference.words, path, hint="was it baked in a sample's order? name that: --order-of SAMPLE")


def _rms(away: NDArray) -> float:
    return float(np.sqrt(np.einsum("ij,ij->", away, away) / max(len(away), 1)))
