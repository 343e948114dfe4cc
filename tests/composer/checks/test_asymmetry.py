"""Equal cells on both sides and unequal poses: found where a mask is to blame, silent where it was asked for."""

import numpy as np
import pytest

from composer.checks.registry import chosen
from composer.checks.subject import CheckSubject
from composer.head.head import Shape
from composer.mixing.linear import pose as mixed
from composer.mixing.recipe import Cell, Recipe, Row
from tests.composer.checks.check_heads import plane_head


def smiling():
    """A symmetric head with a symmetric shape, and masks of its two sides that are mirror images."""
    head = plane_head({"none": np.eye(3)})
    x = head.neutral[:, 0]
    out = np.stack([np.sign(x) * 2.0, np.full(len(x), 3.0), np.zeros(len(x))], axis=1)
    head = head.with_(shapes=(Shape("joy", out.astype(np.float32)), Shape("left_up", _one(x).astype(np.float32))))
    return head, {"mouth_left": np.clip(x / 20.0, 0.0, 1.0), "mouth_right": np.clip(-x / 20.0, 0.0, 1.0)}


def _one(x):
    return np.stack([0 * x, np.where(x > 0, 4.0, 0.0), 0 * x], axis=1)


def findings(head, masks, recipe):
    subject = CheckSubject.of(head, mixed(head, masks, recipe), name=recipe.name, recipe=recipe, masks=masks)
    return list(chosen(["asymmetry"])[0].run(subject))


BOTH = Recipe("both", (Cell("mouth_left", "joy", 0.8), Cell("mouth_right", "joy", 0.8)))


def test_equal_masks_give_equal_sides():
    assert findings(*smiling(), BOTH) == []


def test_a_mask_that_is_short_on_one_side_is_found_as_far_as_it_falls_short():
    head, masks = smiling()
    masks["mouth_left"] = 0.5 * masks["mouth_left"]
    (finding,) = findings(head, masks, BOTH)
    assert finding.code == "asymmetry.masks"
    assert finding.value == pytest.approx(0.5 * 0.8 * np.hypot(2.0, 3.0))


@pytest.mark.parametrize(
    "recipe",
    [
        Recipe("one side", (Cell("mouth_left", "joy", 0.8),)),
        Recipe("uneven", (Cell("mouth_left", "joy", 0.8), Cell("mouth_right", "joy", 0.4))),
        BOTH.with_(rows={"mouth_left": Row("add", 0.5)}),
        Recipe("its own", (Cell("all", "left_up", 1.0),)),
    ],
    ids=lambda recipe: recipe.name,
)
def test_what_was_asked_for_is_clean(recipe):
    head, masks = smiling()
    masks["mouth_left"] = 0.5 * masks["mouth_left"] if recipe.name == "one side" else masks["mouth_left"]
    assert findings(head, masks, recipe) == []
