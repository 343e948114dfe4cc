"""A sculpt on the bake of a recipe that keeps contact comes back as it was sculpted, also where it goes through."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from composer.document.evaluated_recipe import EvaluatedRecipe
from composer.edits.accept import accept
from composer.edits.recipes import set_contact
from composer.edits.sculpt import Sculpt
from composer.mixing.contact import MixContact
from tests.composer.document.test_contact_in_documents import document


def test_what_is_sculpted_on_a_parted_pose_comes_back_as_it_is() -> None:
    evaluated = document()
    kept = evaluated.project.recipe("kept")
    points = EvaluatedRecipe.of(evaluated, kept).pose.copy()
    points[::7] += (0.0, 0.0, 0.4)
    done = accept(evaluated, "kept", Sculpt(Path("kept.obj"), 0, points)).evaluated
    free = done.again(set_contact(done.project, "kept", False))
    limit = 1e-5 * evaluated.head.diagonal
    np.testing.assert_allclose(EvaluatedRecipe.of(free, free.project.recipe("kept")).pose, points, rtol=0, atol=limit)
    seen = EvaluatedRecipe.of(done, done.project.recipe("kept")).pose
    np.testing.assert_allclose(seen, points, rtol=0, atol=limit)
    before = MixContact(evaluated.mixer).parted(points, kept)
    assert np.abs(before - points).max() > 0.2  # without the fix, what is sculpted goes through
