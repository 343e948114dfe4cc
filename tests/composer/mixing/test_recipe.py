"""Recipes are refused at construction where a number of theirs is none."""

import numpy as np
import pytest

from composer.errors import MoueError
from composer.mixing.corrective import Corrective, Trigger
from composer.mixing.recipe import Cell, Recipe, Row

NO_NUMBERS = [float("nan"), float("inf"), -float("inf")]


@pytest.mark.parametrize("number", NO_NUMBERS)
def test_numbers_that_are_none_are_refused(number: float) -> None:
    for made in (
        lambda: Recipe("r", strength=number),
        lambda: Recipe("r", strength=np.float64(number)),
        lambda: Recipe("r", (Cell("all", "smile", number),)),
        lambda: Recipe("r", rows={"all": Row("add", number)}),
        lambda: Recipe("r", halo=number),
        lambda: Recipe("r").scaled(number),
        lambda: Corrective("fix", (Trigger("all", "smile", number),)),
    ):
        with pytest.raises(MoueError):
            made()


def test_a_recipe_on_its_way_has_part_of_every_weight_and_its_own_strength() -> None:
    recipe = Recipe("r", (Cell("all", "a", 1.0), Cell("brow", "b", -0.5, True)), {"brow": Row("replace", 0.4)}, 1.33)
    half = recipe.scaled(0.5)
    assert half == recipe.with_(cells=(Cell("all", "a", 0.5), Cell("brow", "b", -0.25, True)))
    assert recipe.scaled(1.0) is recipe
