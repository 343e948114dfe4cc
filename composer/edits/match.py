"""Matching a document's regions and shapes to targets; the result as a document.

A `Matcher` prepares a head once and solves for any number of targets: one in the command, one a frame in the window.
All rows add. `all` and the shapes of correctives are used only if named. Where shapes have hinges, in-betweens or
correctives, the weights are first solved for linear motions, then again for the remainder, as long as the pose comes
nearer.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.document.project import Project
from composer.document.store import moved_to
from composer.edits.shapes import keep_shape
from composer.edits.sides import linked
from composer.errors import MoueError, unknown
from composer.head.file_names import check_name
from composer.mixing.match import Bounds, Columns, Conditioning
from composer.mixing.recipe import ALL, Cell, CellKey, Recipe

ROUNDS, WARM_ROUNDS, NEARER = 6, 1, 0.02
"""The most rounds for motions that are not linear, the same from a warm start, and the least relative improvement for
another round. A design choice, no source.
"""
DIGITS, WRITTEN = 6, 1e-4
"""Digits of a weight in the document, and the smallest weight that is written: 0.01 percent, which nobody sees."""


class Matched:
    """Matched cells, including locked ones, and the distance of their pose from the target."""

    def __init__(
        self, cells: tuple[Cell, ...], left: Callable[[], NDArray], asked: NDArray, vertices: NDArray | None
    ) -> None:
        """`left` computes the target minus the pose, (n, 3) mm; `asked` (n, 3) mm is the target minus the neutral;
        `vertices` are those that counted, None for all."""
        self.cells, self._left, self._asked = cells, left, asked
        self._counts = slice(None) if vertices is None else np.asarray(vertices)

    @cached_property
    def left(self) -> NDArray[np.float64]:
        """(n, 3) mm, the target minus the pose, computed at first use."""
        return self._left()

    @cached_property
    def residual(self) -> NDArray[np.float64]:
        """(n,) mm, the distance of the pose from the target, also at vertices that did not count."""
        return np.sqrt(np.einsum("ij,ij->i", self.left, self.left))

    @cached_property
    def p50_p95_most(self) -> tuple[float, float, float]:
        """The residual in mm at the vertices that counted: median, 95th percentile, maximum."""
        counted = self.residual[self._counts]
        if not len(counted):
            return (0.0, 0.0, 0.0)
        middle, high = np.percentile(counted, [50, 95])
        return (float(middle), float(high), float(counted.max()))

    @cached_property
    def explained(self) -> float:
        """The share of the target's squared movement that the pose explains, at most 1; 1 where nothing moves."""
        whole, left = (float(np.square(each[self._counts]).sum()) for each in (self._asked, self.left))
        return 1.0 - left / whole if whole > 0.0 else 1.0


class Matcher:
    """The cells of some regions and shapes of a document, prepared for matching."""

    def __init__(
        self, evaluated: EvaluatedDocument, regions: Sequence[str] | None = None, shapes: Sequence[str] | None = None
    ) -> None:
        """By default `regions` are the document's and `remainder`, or `all` where it has none, and `shapes` the head's
        without those of correctives. Raises MoueError for unknown names, or a head without shapes.
        """
        self.evaluated, path = evaluated, evaluated.project.path
        if regions is None:
            nonempty = [name for name, mask in evaluated.effective.items() if mask.any()]
            regions = nonempty if evaluated.project.regions else [ALL]
        if shapes is None:
            shapes = [one.name for one in evaluated.head.expressions if one.name not in evaluated.correctives.names]
        for name in regions:
            if name != ALL and name not in evaluated.effective:
                raise unknown("region", name, [ALL, *evaluated.effective], path)
        for name in shapes:
            if name not in evaluated.head.shape_index:
                raise unknown("shape", name, evaluated.head.shape_names, path)
        if not regions or not shapes:
            raise MoueError("has no shapes or no regions to match with", path)
        self.regions, self.shapes = list(dict.fromkeys(regions)), list(dict.fromkeys(shapes))
        self.keys: list[CellKey] = [(region, shape, False) for region in self.regions for shape in self.shapes]
        self._some: tuple[bytes, Columns] | None = None

    @cached_property
    def columns(self) -> Columns:
        """The columns on the whole head; their Gram matrix is computed at first use."""
        return Columns(self.evaluated.mixer, self.regions, self.shapes)

    @property
    def conditioning(self) -> Conditioning:
        """How well poses of this head determine the weights."""
        return self.columns.conditioning

    def solve(
        self, target: NDArray, vertices: NDArray | None = None, locked: Sequence[Cell] = (),
        warm: Sequence[Cell] | None = None, bounds: Bounds | None = None, symmetric: bool = False,
        only: Collection[CellKey] | None = None,
    ) -> Matched:  # fmt: skip
        """The weights whose pose comes nearest to `target` (n, 3) mm at `vertices`, by default all.

        `locked` cells keep their weights; `warm` are cells to start from, such as those of the last result.
        `symmetric` gives linked cells (`composer.edits.sides.linked`) one weight. `only` are the cells that may have a
        weight, by default all. Raises MoueError for a target of another length, or with a position that is not finite.
        """
        head, bounds = self.evaluated.head, bounds or Bounds()
        target = np.asarray(target, dtype=np.float64)
        if target.shape != head.neutral.shape:
            raise MoueError(f"the target has {len(target)} vertices, the head {head.n_vertices}")
        if not np.isfinite(target).all():
            lost = int(np.count_nonzero(~np.isfinite(target).all(axis=1)))
            raise MoueError(f"the target has {lost} vertices with positions that are not finite")
        columns = self.columns if vertices is None else self._columns_on(np.asarray(vertices))
        asked = target - head.neutral
        wanted = asked - self.evaluated.mixer.displacement(Recipe("locked", tuple(locked))) if locked else asked
        fixed = {cell.key for cell in locked}
        chosen = None if only is None else set(only) - fixed
        allowed = None
        if fixed or chosen is not None:
            allowed = np.array([key not in fixed if chosen is None else key in chosen for key in columns.keys])
        ties = self._ties if symmetric else ()
        start = None
        if warm is not None:
            start = np.zeros(len(columns.keys))
            for cell in warm:
                if cell.key in columns.index and cell.key not in fixed and (chosen is None or cell.key in chosen):
                    start[columns.index[cell.key]] = cell.weight

        def weights(b: NDArray, begin: NDArray | None) -> NDArray[np.float64]:
            return columns.weights(columns.onto(b), bounds, begin, allowed, ties)

        if start is not None and not self.straight:
            wanted = columns.displacement(start) + self._matched(start, locked, asked, vertices).left
        x = weights(wanted, start)
        if self.straight and vertices is None:
            return Matched(self._cells(x, locked), lambda: wanted - columns.displacement(x), asked, None)
        best = self._matched(x, locked, asked, vertices)
        for _ in range(0 if self.straight else ROUNDS if start is None else WARM_ROUNDS):
            x = weights(columns.displacement(x) + best.left, x)
            other = self._matched(x, locked, asked, vertices)
            if 1.0 - other.explained > (1.0 - NEARER) * (1.0 - best.explained):
                break
            best = other
        return best

    def _columns_on(self, vertices: NDArray) -> Columns:
        """The columns on some vertices; the last ones are cached."""
        asked = vertices.tobytes()
        if self._some is None or self._some[0] != asked:
            self._some = (asked, Columns(self.evaluated.mixer, self.regions, self.shapes, vertices))
        return self._some[1]

    @cached_property
    def _ties(self) -> list[tuple[int, int]]:
        index = {key: i for i, key in enumerate(self.keys)}
        found = []
        for key, i in index.items():
            other = linked(Cell(*key[:2], 1.0), self.regions, self.shapes)
            if other is not None and other.key in index:
                found.append((i, index[other.key]))
        return found

    @cached_property
    def straight(self) -> bool:
        """Whether poses are linear in the weights."""
        mixer = self.evaluated.mixer
        plain = all(s not in mixer.hinges and not self.evaluated.head.shape(s).inbetweens for s in self.shapes)
        return plain and not mixer.correctives.names

    def _cells(self, x: NDArray, locked: Sequence[Cell]) -> tuple[Cell, ...]:
        found = [Cell(*key[:2], float(w)) for key, w in zip(self.keys, x, strict=True) if w != 0.0]
        return (*locked, *found)

    def _matched(self, x: NDArray, locked: Sequence[Cell], asked: NDArray, vertices: NDArray | None) -> Matched:
        cells = self._cells(x, locked)
        left = asked - self.evaluated.mixer.displacement(Recipe("matched", cells))
        return Matched(cells, lambda: left, asked, vertices)


def matched_document(
    project: Project, path: Path, name: str, matched: Matched, residual: str | None = None, taken: Collection[str] = ()
) -> Project:
    """The project as a document at `path` with one recipe, named `name`, of the matched cells, which keeps contact.
    With `residual`, the target minus the pose is kept as a shape of that name, and the recipe keeps no contact: with
    that shape it is the target. Weights are rounded to DIGITS; those below WRITTEN are left out.

    `taken` are the names of the head's shapes and its neutral. Raises MoueError for names that may not be used.
    """
    check_name(name, "recipe", path, ["neutral"])
    if name == "neutral":
        raise MoueError("a recipe may not be named 'neutral'", path, hint="give the target another name")
    cells = [replace(cell, weight=round(cell.weight, DIGITS)) for cell in matched.cells]
    written = tuple(cell for cell in cells if abs(cell.weight) >= WRITTEN)
    recipe = Recipe(name, written, contact=residual is None)
    document = moved_to(project, path).with_(recipes=(recipe,))
    return document if residual is None else keep_shape(document, residual, matched.left, taken)
