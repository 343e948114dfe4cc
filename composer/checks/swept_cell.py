"""One cell of a document swept over its weights, and what the checks find at each."""

from __future__ import annotations

from composer.checks.checked import Checked
from composer.checks.of_document import check_recipes
from composer.checks.subject import HeadFacts
from composer.document.evaluated import EvaluatedDocument
from composer.edits.trials import sweep
from composer.errors import MoueError, unknown
from composer.mixing.recipe import ALL, CellKey, Recipe
from composer.progress import Progress


def named_cell(evaluated: EvaluatedDocument, words: str) -> CellKey:
    """The cell that REGION:SHAPE names. Raises MoueError where there is no such region or shape."""
    region, colon, shape = words.partition(":")
    if not (region and colon and shape):
        raise MoueError(f"{words!r} names no cell", hint="give REGION:SHAPE, such as cheek_left:joy")
    regions = [ALL, *evaluated.effective]
    if region not in regions:
        raise unknown("region", region, regions, evaluated.project.path)
    if shape not in evaluated.head.shape_index:
        raise unknown("shape", shape, evaluated.head.shape_names, evaluated.project.path)
    return (region, shape, False)


def sweep_cell(
    evaluated: EvaluatedDocument, key: CellKey, base: Recipe, limits: tuple[float, float], steps: int, *,
    progress: Progress | None = None, facts: HeadFacts | None = None,
) -> list[Checked]:  # fmt: skip
    """A cell at `steps` weights from the lower to the upper of `limits`, on the recipe `base`, named by the weight.

    That the cell does nothing at weight 0 is no finding.
    """
    swept = sweep(base, key, *limits, steps)
    weights = [next(cell.weight for cell in each.cells if cell.key == key) for each in swept]
    checks = check_recipes(evaluated, swept, progress, facts)
    return [
        Checked(f"{weight:.3g}", pose, [f for f in findings if not f.code.startswith("empty.")], recipe=each)
        for weight, (each, pose, findings) in zip(weights, checks, strict=True)
    ]
