"""The sample: a neutral at some level, from another program's subdivision, that defines the layout of a bake.

Subdivision has no standard order of vertices and no single rule for open borders and creases. The program in which
the targets will be edited decides; one file from it shows its order and rules.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_level import EvaluatedLevel
from composer.errors import MoueError
from composer.formats.mesh import Mesh
from composer.formats.registry import read_mesh
from composer.geometry.rigid import similarity
from composer.head.head import Head
from composer.head.levels import Refinement, levels, refine, vertex_count
from composer.head.order import match_order
from composer.head.rules import creases_of, ruled_levels
from composer.mixing.recipe import Recipe
from composer.units import MM_PER_UNIT, mm_per

HIGHEST_SAMPLE = 6
"""The highest level of a sample: a cage of 10,000 vertices has 41 million there."""
FOLLOWS = 1e-5
"""A sample follows a rule if it is within this fraction of the head's diagonal of it: files hold six or seven
digits.
"""
SCALED = 1e-4
"""A scale within this of 1 is rounding and gives no note."""
MOVED = 0.3
"""A sample is moved if the best similarity leaves less than this fraction of its RMS distance to the head. A design
choice, no source.
"""


@dataclass(frozen=True, eq=False)
class Sample:
    """A sample and its layout. `order` (n_k,) is the vertex in Moue's own order of each vertex of the sample.

    `steps` subdivide the cage by the sample's rules, `mesh` is the sample and `unit` its unit. `turn` (3, 3), a
    rotation times a scale, maps displacements of the head, as rows, to the sample. `notes` are for the person.
    """

    mesh: Mesh
    level: int
    order: NDArray[np.int32]
    steps: list[Refinement]
    unit: str
    turn: NDArray[np.float64]
    notes: tuple[str, ...]


class InSampleOrder:
    """Poses of a document over a sample: its vertices and their order, its polygons, its text and its unit.

    The sample's own positions are the neutral. A pose adds the recipe's displacement at that level, so that a vertex
    that does not move keeps its line in the sample's file. `head` and `pose` are as in `EvaluatedLevel`; `notes` are
    for the person.
    """

    def __init__(self, evaluated: EvaluatedDocument, path: Path) -> None:
        """Raises MoueError as `read_sample` and `EvaluatedLevel`."""
        self.evaluated = evaluated
        self.sample = read_sample(path, evaluated.head)
        self.level = EvaluatedLevel(evaluated, self.sample.level, rules=self.sample.steps)
        self.notes = self.sample.notes
        mesh, source = self.sample.mesh, self.sample.mesh.path
        is_text = source is not None and source.suffix.lower() == ".obj"
        self.head: Head = Head(
            evaluated.head.name, mesh.polygons,
            evaluated.head.axes.from_files(mesh.positions) * mm_per(self.sample.unit),
            groups={**mesh.objects, **mesh.groups}, materials=mesh.materials, uv=mesh.uv, unit=self.sample.unit,
            neutral_name=evaluated.head.neutral_name, neutral_file=source if is_text else None,
            path=evaluated.head.path, axes=evaluated.head.axes,
        )  # fmt: skip

    def pose(self, recipe: Recipe, strength: float | None = None) -> NDArray[np.float64]:
        """(m, 3) mm in the sample's order, a recipe's pose, by default at its own strength."""
        moved = self.level.pose(recipe, strength) - self.level.head.neutral
        return self.head.neutral + moved[self.sample.order] @ self.sample.turn


def level_with(head: Head, vertices: int, where: Path | str | None = None) -> int:
    """The level at which the head has `vertices` vertices. Raises MoueError, with the counts of levels, if none has."""
    counts = [vertex_count(head.polygons, k) for k in range(HIGHEST_SAMPLE + 1)]
    if vertices not in counts:
        listed = ", ".join(f"{k}: {count:,}" for k, count in enumerate(counts[:5]))
        raise MoueError(f"no level has {vertices:,} vertices", where, hint=f"the levels have {listed} ...")
    return counts.index(vertices)


def read_sample(path: Path, head: Head) -> Sample:
    """Read the sample in `path`, of the head at any level.

    Raises MoueError where its vertex count is that of no level, or its polygons are not the head's subdivided, with
    the first place where they differ.
    """
    mesh = read_mesh(path)
    positions = head.axes.from_files(mesh.positions)
    level = level_with(head, mesh.n_vertices, path)
    steps: list[Refinement] = levels(head.polygons, level)
    polygons = steps[-1].polygons if steps else head.polygons
    smooth = refine(head.neutral, steps)
    try:
        match = match_order(polygons, mesh.polygons, smooth, positions)
    except MoueError as error:
        raise error.at(path) from None
    in_order = positions[match.vertices].astype(np.float64)
    fit = similarity(in_order, smooth)
    unit, notes = _unit(fit.scale, head)
    placed, turn = in_order * mm_per(unit), np.eye(3)
    away = _apart(placed, smooth)
    if _apart(fit(in_order), smooth) < MOVED * away and away > FOLLOWS * head.diagonal:
        larger = mm_per(unit) / fit.scale
        placed, turn = fit(in_order), larger * fit.rotation
        notes.append(f"The sample is moved and turned by {fit.angle_deg:.1f} degrees; the bake follows the sample.")
        if abs(larger - 1.0) > SCALED:
            notes.append(f"The sample is {larger:.4g} times as large as the head; so is what the recipes move.")
    steps, rule = _rules(head, level, steps, placed)
    notes.append(f"{path.name} is level {level}, {mesh.n_vertices:,} vertices; {rule}.")
    order = np.empty(len(match.vertices), dtype=np.int32)
    order[match.vertices] = np.arange(len(order), dtype=np.int32)
    if match.turned:
        notes.append("The sample's polygons are turned inside out; they are kept as they are.")
    return Sample(mesh, level, order, steps, unit, turn, tuple(notes))


def _apart(a: NDArray[np.float64], b: NDArray[np.float64]) -> float:
    """RMS distance of vertices."""
    return float(np.sqrt(((a - b) ** 2).sum(axis=1).mean()))


def _unit(scale: float, head: Head) -> tuple[str, list[str]]:
    """The unit whose millimetres match the scale from the sample to the head; the head's own unit if none matches."""
    near = min(MM_PER_UNIT, key=lambda unit: abs(np.log(scale / MM_PER_UNIT[unit])))
    if abs(np.log(scale / MM_PER_UNIT[near])) < 0.02:
        return near, []
    return head.unit, [f"The sample is {1 / scale:.4g} times the head's mm, which is no unit; {head.unit} kept."]


def _rules(
    head: Head, level: int, smooth: list[Refinement], placed: NDArray[np.float64]
) -> tuple[list[Refinement], str]:  # fmt: skip
    """The subdivision steps that come nearest to the sample, and a description of them."""
    mesh, most = head.polygons, FOLLOWS * head.diagonal
    if not level:
        off = np.linalg.norm(head.neutral - placed, axis=1)
        far = f", up to {off.max():.3g} mm from the neutral" if off.max() > most else ""
        return smooth, f"the cage itself{far}"
    corners = mesh.border_vertices & (mesh.valence == 2)
    errors = {}
    for sharp in (False, True) if corners.any() else (False,):
        steps = ruled_levels(mesh, level, sharp) if sharp else smooth
        errors[sharp] = np.linalg.norm(refine(head.neutral, steps) - placed, axis=1), steps
    at_corners = {sharp: float(off[: mesh.n_vertices][corners].max(initial=0.0)) for sharp, (off, _) in errors.items()}
    sharp = min(at_corners, key=lambda each: at_corners[each])
    off, steps = errors[sharp]
    border = "its border's corners stay sharp" if sharp else "its border is smooth"
    if not mesh.border_vertices.any():
        border = "it has no open border"
    elif not corners.any():
        border = "its open border has no corners, so both rules agree"
    if level == 1 and off.max() > most:
        creases = creases_of(mesh, head.neutral, placed, most)
        creased = ruled_levels(mesh, 1, sharp, creases)
        remaining = np.linalg.norm(refine(head.neutral, creased) - placed, axis=1)
        if creases.any() and (remaining**2).sum() < 0.25 * (off**2).sum():
            off, steps = remaining, ruled_levels(mesh, level, sharp, creases)
            border += f", {int(creases.sum())} edges are creases"
    if off.max() > most:
        border += f"; elsewhere it departs from subdivision by up to {off.max():.3g} mm"
    return steps, border
