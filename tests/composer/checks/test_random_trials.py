"""Combinations by chance: the same seed gives the same, the worst are kept, and more tries never give better ones."""

from pathlib import Path

import numpy as np
import pytest

from composer.checks.random_trials import badness, mixable_shapes, worst_random
from composer.document.evaluated import EvaluatedDocument
from composer.document.project import Project, Region
from composer.errors import MoueError
from composer.mixing.corrective import Corrective, Trigger
from tests.composer.checks.check_heads import plane_head

SHAPES = {"wide": np.diag([1.9, 1.0, 1.0]), "tall": np.diag([1.0, 1.6, 1.0]), "turn": np.array(
    [[0.8, 0.6, 0.0], [-0.6, 0.8, 0.0], [0.0, 0.0, 1.0]])}  # fmt: skip


def opened(tmp_path, regions=("left", "right"), **more):
    head = plane_head(SHAPES)
    x = head.neutral[:, 0]
    sides = {"left": np.flatnonzero(x > 0.0), "right": np.flatnonzero(x <= 0.0)}
    made = tuple(
        Region(name, {"from": "vertices", "vertices": sides[name].tolist(), "ramp_mm": 6.0}) for name in regions
    )
    return EvaluatedDocument(Project(tmp_path / "d.toml", tmp_path / "head", regions=made, **more), head)


def test_the_worst_of_many_are_kept_worst_first_and_come_again(tmp_path):
    evaluated = opened(tmp_path)
    every = worst_random(evaluated, 12, 5, 12, cells=2)
    assert sorted(one.name for one in every) == sorted(f"trial_{5 + i}" for i in range(12))
    scores = [badness(one.findings) for one in every]
    assert scores == sorted(scores, reverse=True) and scores[0] > scores[-1]
    few = worst_random(evaluated, 12, 5, 3, cells=2)
    assert [(a.name, a.recipe) for a in few] == [(b.name, b.recipe) for b in every[:3]]
    np.testing.assert_array_equal(evaluated.pose(few[0].recipe), few[0].positions)


def test_only_shapes_that_a_person_mixes_are_drawn():
    shapes = {"smile": {"inbetweens": [{"at": 0.5, "target": "smile_50"}]}, "old": {"hidden": True}}
    fix = Corrective("fix", (Trigger("all", "smile", 1.0),))
    project = Project(Path("d.toml"), Path("head"), shapes=shapes, correctives=(fix,))
    assert mixable_shapes(project, ["smile", "smile_50", "fix", "old", "frown"]) == ["smile", "frown"]


def test_what_cannot_be_tried_is_refused(tmp_path):
    with pytest.raises(MoueError, match="no regions"):
        worst_random(opened(tmp_path, ()), 3, 1, 3)
    with pytest.raises(MoueError, match="cannot be drawn"):
        worst_random(opened(tmp_path), 3, 1, 3, cells=99)
    with pytest.raises(MoueError, match="keeping none"):
        worst_random(opened(tmp_path), 3, 1, 0)
