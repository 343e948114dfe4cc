"""A document's regions and shapes matched to targets, and to points that are pulled; the answer as a document.

A `Matcher` prepares a head once and answers for any number of targets: for the command one, in the window one a
frame. Rows add, `all` and the shapes of correctives are left out unless they are named. Where shapes turn, pass
through in-betweens or bring correctives in, the weights are found for the straight pose first, and then again for
what it leaves, as long as that comes nearer.
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
from composer.mixing.match_drag import Drag, OnFace
from composer.mixing.recipe import ALL, Cell, CellKey, Recipe

ROUNDS, WARM_ROUNDS, NEARER = 6, 1, 0.02
"""How often what shapes that do not go straight leave is matched again, at most; a round that comes no nearer than by
this part is the last."""
DIGITS, WRITTEN = 6, 1e-4
"""Of a weight in the document: its digits, and how large it has to be to be written."""


class Matched:
    """Cells with weights, locked ones among them, and how far their pose is from the target."""

    def __init__(
        self, cells: tuple[Cell, ...], left: Callable[[], NDArray], asked: NDArray, vertices: NDArray | None
    ) -> None:
        """`left` makes the target less the pose, (n, 3) mm; `asked` (n, 3) is the target less the neutral; `vertices`
        are those that counted, None for all."""
        self.cells, self._left, self._asked = cells, left, asked
        self._counts = slice(None) if vertices is None else np.asarray(vertices)

    @cached_property
    def left(self) -> NDArray[np.float64]:
        """(n, 3) mm, the target less the pose, made when it is asked for."""
        return self._left()

    @cached_property
    def residual(self) -> NDArray[np.float64]:
        """(n,) mm, how far the pose is from the target, at the vertices that did not count too."""
        return np.sqrt(np.einsum("ij,ij->i", self.left, self.left))

    @cached_property
    def p50_p95_most(self) -> tuple[float, float, float]:
        """The residual in mm at the vertices that counted: middle, 95th percentile, most."""
        counted = self.residual[self._counts]
        if not len(counted):
            return (0.0, 0.0, 0.0)
        middle, high = np.percentile(counted, [50, 95])
        return (float(middle), float(high), float(counted.max()))

    @cached_property
    def explained(self) -> float:
        """How much of the target's squared movement the pose reaches, 1 for all of it; 1 where nothing moves."""
        whole, left = (float(np.square(each[self._counts]).sum()) for each in (self._asked, self.left))
        return 1.0 - left / whole if whole > 0.0 else 1.0


class Matcher:
    """The cells of some regions and shapes of a document, ready to be matched."""

    def __init__(
        self, evaluated: EvaluatedDocument, regions: Sequence[str] | None = None, shapes: Sequence[str] | None = None
    ) -> None:
        """`regions` are the document's and `remainder` unless said, or `all` where the document has none; `shapes` the
        head's without those of correctives. Raises MoueError for names that are not there, or a head without shapes.
        """
        self.evaluated, path = evaluated, evaluated.project.path
        if regions is None:
            own = [name for name, mask in evaluated.effective.items() if mask.any()]
            regions = own if evaluated.project.regions else [ALL]
        if shapes is None:
            shapes = [name for name in evaluated.head.shape_names if name not in evaluated.correctives.names]
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
        self._drag: tuple[tuple[OnFace, ...], Drag] | None = None

    @cached_property
    def columns(self) -> Columns:
        """The columns on the whole head, with their Gram matrix made when it is asked for."""
        return Columns(self.evaluated.mixer, self.regions, self.shapes)

    @property
    def conditioning(self) -> Conditioning:
        """How far weights are told by poses of this head."""
        return self.columns.conditioning

    def solve(
        self, target: NDArray, vertices: NDArray | None = None, locked: Sequence[Cell] = (),
        warm: Sequence[Cell] | None = None, bounds: Bounds | None = None, symmetric: bool = False,
        only: Collection[CellKey] | None = None,
    ) -> Matched:  # fmt: skip
        """The weights whose pose comes nearest to `target` (n, 3) mm at `vertices` (all unless said).

        `locked` cells keep their weights; `warm` are cells to begin from, those of the last answer. `symmetric` gives
        linked cells (`composer.edits.sides.linked`) one weight; `only` are the cells that may have a weight, all
        unless said. Raises MoueError for a target of another length, or
        with a place that is no number.
        """
        head, bounds = self.evaluated.head, bounds or Bounds()
        target = np.asarray(target, dtype=np.float64)
        if target.shape != head.neutral.shape:
            raise MoueError(f"the target has {len(target)} vertices, the head {head.n_vertices}")
        if not np.isfinite(target).all():
            lost = int(np.count_nonzero(~np.isfinite(target).all(axis=1)))
            raise MoueError(f"the target has {lost} vertices whose places are no numbers")
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

        if start is not None and not self._straight:
            wanted = columns.displacement(start) + self._matched(start, locked, asked, vertices).left
        x = weights(wanted, start)
        if self._straight and vertices is None:
            return Matched(self._cells(x, locked), lambda: wanted - columns.displacement(x), asked, None)
        best = self._matched(x, locked, asked, vertices)
        for _ in range(0 if self._straight else ROUNDS if start is None else WARM_ROUNDS):
            x = weights(columns.displacement(x) + best.left, x)
            other = self._matched(x, locked, asked, vertices)
            if 1.0 - other.explained > (1.0 - NEARER) * (1.0 - best.explained):
                break
            best = other
        return best

    def drag(
        self, pulls: Sequence[tuple[OnFace, NDArray]], recipe: Recipe, locked: Collection[CellKey] = (),
        bounds: Bounds | None = None,
    ) -> Recipe:  # fmt: skip
        """The recipe with the weights that bring points of the face, each a vertex or a surface point, to where they
        are wanted, (3,) mm, changed as little as they can (`composer.mixing.match_drag`).

        Begin each move of one drag from the recipe before it. Raises MoueError as `Drag`.
        """
        places = tuple(place for place, _ in pulls)
        if self._drag is None or self._drag[0] != places:
            self._drag = (places, Drag(self.evaluated.mixer, self.regions, self.shapes, places))
        to = np.array([where for _, where in pulls], dtype=np.float64).reshape(-1, 3)
        found = self._drag[1].weights(recipe, to, locked, bounds)
        held = {cell.key for cell in recipe.cells}
        cells = [Cell(*c.key[:2], found.get(c.key, c.weight), c.mirrored) for c in recipe.cells]
        cells += [Cell(r, s, w, m) for (r, s, m), w in found.items() if w != 0.0 and (r, s, m) not in held]
        return recipe.with_(cells=tuple(cells))

    def _columns_on(self, vertices: NDArray) -> Columns:
        """The columns on some vertices; those of the last ones are kept."""
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
    def _straight(self) -> bool:
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
    """The project as a document at `path` with one recipe, named `name`, of the matched cells; `residual` names the
    shape as which what is left is kept. Weights are written to a millionth, those below WRITTEN are not.

    `taken` are the names of the head's shapes and its neutral. Raises MoueError for names that may not be used.
    """
    check_name(name, "recipe", path, ["neutral"])
    if name == "neutral":
        raise MoueError("a recipe may not be named 'neutral'", path, hint="name the target otherwise")
    cells = [replace(cell, weight=round(cell.weight, DIGITS)) for cell in matched.cells]
    made = moved_to(project, path).with_(recipes=(Recipe(name, tuple(c for c in cells if abs(c.weight) >= WRITTEN)),))
    return made if residual is None else keep_shape(made, residual, matched.left, taken)
