"""A performance on heads that nobody here made for it: a real library, and a head of three shapes and few vertices."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from composer.document.evaluated import EvaluatedDocument
from composer.document.project import Project
from composer.errors import MoueError
from composer.head.head import Head
from tests.composer.edits.taken_head import bowl, matched, taken, weights_of, with_sides
from tests.real_library import real_files, real_head

__all__ = ["real_files", "real_head"]


def test_planted_cells_of_a_real_library_come_back(real_head: Head) -> None:
    """0.2 mm of noise on its 26,719 vertices: weights within 0.03 (95th percentile), nothing else above 0.05."""
    evaluated = EvaluatedDocument(Project(Path("a.moue"), Path("a"), "cm"), real_head)
    names = real_head.shape_names
    cells = [("all", name, False) for name in names[:: len(names) // 7][:8]]
    take = taken(evaluated, cells, 20)
    found = matched(evaluated, take, ["all"])
    off = np.abs(weights_of(found, cells) - take.weights)
    assert np.percentile(off, 95) <= 0.03
    others = [column for column, key in enumerate(found.cells) if key not in cells]
    assert found.weights[:, others].max(initial=0.0) <= 0.05


def test_three_shapes_are_enough() -> None:
    evaluated = with_sides(bowl(3))
    cells = [("all", "push_0", False)]
    take = taken(evaluated, cells, 12, noise_mm=0.0)
    np.testing.assert_allclose(weights_of(matched(evaluated, take, ["all"]), cells), take.weights, atol=2e-4)


def test_a_head_without_shapes_is_said() -> None:
    evaluated = with_sides(bowl(3))
    bare = with_sides(evaluated.head.with_(shapes=()))
    with pytest.raises(MoueError, match="has no shapes or no regions to match with"):
        matched(bare, taken(evaluated, [("all", "push_0", False)], 4))
