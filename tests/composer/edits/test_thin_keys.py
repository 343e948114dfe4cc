"""Thinned keys: never beyond the tolerance, measured on faces, and fewer than the frames."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from composer.document.evaluated_clip import EvaluatedClip
from composer.edits.match_clip import clip_of_frames
from tests.composer.edits.taken_head import bowl, matched, taken, with_sides

CELLS = [("left", "push_1", False), ("right", "push_4", False), ("all", "push_5", False)]


@pytest.mark.parametrize("within", [0.05, 0.5])
def test_no_vertex_of_any_frame_is_further_off_than_the_tolerance(within: float, tmp_path: Path) -> None:
    evaluated = with_sides(bowl())
    found = matched(evaluated, taken(evaluated, CELLS, 72))
    made = clip_of_frames(evaluated, tmp_path / "a.toml", "take", found, within)
    assert made.thinned is not None
    clip = EvaluatedClip(evaluated, made.project.clip("take"))
    assert clip.n_frames == 72
    off = 0.0
    for number in range(72):
        whole = evaluated.mixer.pose(found.recipe(number))
        off = max(off, float(np.linalg.norm(evaluated.pose(clip.frame(number)) - whole, axis=1).max()))
    assert 0.3 * within < off <= within * (1 + 1e-6)
    assert made.thinned.off_mm == pytest.approx(off, rel=1e-4)
    assert len(made.thinned.keys) < 0.75 * found.weights.size


def test_a_larger_tolerance_needs_fewer_keys(tmp_path: Path) -> None:
    evaluated = with_sides(bowl())
    found = matched(evaluated, taken(evaluated, CELLS, 48))
    counts = [len(clip_of_frames(evaluated, tmp_path / "a.toml", "t", found, mm).project.clip("t").keys)
              for mm in (0.02, 0.2, 2.0)]  # fmt: skip
    assert counts[0] > counts[1] > counts[2]
