"""The sample: a neutral at some level, written by the sculptor's own program, that fixes how a bake is laid out.

Subdivision has no standard order of vertices and no one rule for open borders and creases. What matters is the program
in which the targets are going to be worked on; one file from it tells everything.
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
FOLLOWS = 1e-5
"""Of the head's diagonal: a sample that comes this near to a rule follows it (files hold six or seven digits)."""
SCALED = 1e-4
"""A scale as near to 1 as this is rounding, and not worth a note."""
MOVED = 0.3
"""A sample stands elsewhere than the head where the best motion leaves this share of the distance between them."""


@dataclass(frozen=True, eq=False)
class Sample:
    """A sample read and understood. `order` (n_k,) is the vertex of Moue's own order at each of the sample's places.

    `steps` subdivide the cage by the sample's rules, `mesh` is the sample, `unit` what it is in, `turn` (3, 3), a
    rotation times a scale, brings rows of the head's displacements into the sample's pose, `notes` say what was found.
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

    The sample's own places are the neutral, and a pose adds to them what the recipe moves at that level, so that a
    vertex that does not move keeps the sample's own line. `head` and `pose` as in `EvaluatedLevel`; `notes` are for the
    person.
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
            evaluated.head.name, mesh.polygons, mesh.positions * mm_per(self.sample.unit),
            groups={**mesh.objects, **mesh.groups}, materials=mesh.materials, uv=mesh.uv, unit=self.sample.unit,
            neutral_name=evaluated.head.neutral_name, neutral_file=source if is_text else None,
            path=evaluated.head.path,
        )  # fmt: skip

    def pose(self, recipe: Recipe, strength: float | None = None) -> NDArray[np.float64]:
        """(m, 3) mm in the sample's order, a recipe's pose at its own strength unless another is given."""
        moved = self.level.pose(recipe, strength) - self.level.head.neutral
        return self.head.neutral + moved[self.sample.order] @ self.sample.turn


def level_with(head: Head, vertices: int, where: Path | str | None = None) -> int:
    """The level at which the head has so many vertices. Raises MoueError that lists the levels and their counts."""
    counts = [vertex_count(head.polygons, k) for k in range(HIGHEST_SAMPLE + 1)]
    if vertices not in counts:
        listed = ", ".join(f"{k}: {count:,}" for k, count in enumerate(counts[:5]))
        raise MoueError(f"no level has {vertices:,} vertices", where, hint=f"the levels have {listed} ...")
    return counts.index(vertices)


def read_sample(path: Path, head: Head) -> Sample:
    """The sample in `path` of the head at whatever level it is.

    Raises MoueError where it is at no level of the head, or its polygons are not the head's subdivided; the first
    place where they differ is named.
    """
    mesh = read_mesh(path)
    level = level_with(head, mesh.n_vertices, path)
    steps: list[Refinement] = levels(head.polygons, level)
    polygons = steps[-1].polygons if steps else head.polygons
    smooth = refine(head.neutral, steps)
    try:
        match = match_order(polygons, mesh.polygons, smooth, mesh.positions)
    except MoueError as error:
        raise error.at(path) from None
    found = mesh.positions[match.vertices].astype(np.float64)
    fit = similarity(found, smooth)
    unit, notes = _unit(fit.scale, head)
    placed, turn = found * mm_per(unit), np.eye(3)
    away = _apart(placed, smooth)
    if _apart(fit(found), smooth) < MOVED * away and away > FOLLOWS * head.diagonal:
        larger = mm_per(unit) / fit.scale
        placed, turn = fit(found), larger * fit.rotation
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
    """The unit whose millimetres are the scale from the sample to the head; the head's own where none is near."""
    near = min(MM_PER_UNIT, key=lambda unit: abs(np.log(scale / MM_PER_UNIT[unit])))
    if abs(np.log(scale / MM_PER_UNIT[near])) < 0.02:
        return near, []
    return head.unit, [f"The sample is {1 / scale:.4g} times the head's mm, which is no unit; {head.unit} kept."]


def _rules(
    head: Head, level: int, smooth: list[Refinement], there: NDArray[np.float64]
) -> tuple[list[Refinement], str]:  # fmt: skip
    """The steps by which the sample was subdivided, as far as it tells, and the same in words."""
    mesh, most = head.polygons, FOLLOWS * head.diagonal
    if not level:
        off = np.linalg.norm(head.neutral - there, axis=1)
        far = f", up to {off.max():.3g} mm from the neutral" if off.max() > most else ""
        return smooth, f"the cage itself{far}"
    corners = mesh.border_vertices & (mesh.valence == 2)
    errors = {}
    for sharp in (False, True) if corners.any() else (False,):
        steps = ruled_levels(mesh, level, sharp) if sharp else smooth
        errors[sharp] = np.linalg.norm(refine(head.neutral, steps) - there, axis=1), steps
    at_corners = {sharp: float(off[: mesh.n_vertices][corners].max(initial=0.0)) for sharp, (off, _) in errors.items()}
    sharp = min(at_corners, key=lambda each: at_corners[each])
    off, steps = errors[sharp]
    border = "its border's corners stay sharp" if sharp else "its border is smooth"
    if not mesh.border_vertices.any():
        border = "it has no open border"
    elif not corners.any():
        border = "its open border has no corners, so both rules agree"
    if level == 1 and off.max() > most:
        creases = creases_of(mesh, head.neutral, there, most)
        creased = ruled_levels(mesh, 1, sharp, creases)
        left = np.linalg.norm(refine(head.neutral, creased) - there, axis=1)
        if creases.any() and (left**2).sum() < 0.25 * (off**2).sum():
            off, steps = left, ruled_levels(mesh, level, sharp, creases)
            border += f", {int(creases.sum())} edges are creases"
    if off.max() > most:
        border += f"; elsewhere it departs from subdivision by up to {off.max():.3g} mm"
    return steps, border
