"""What each cell does at a place sums to what the recipe does there."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.mixing.linear import Mixer
from composer.mixing.movers import movers
from composer.mixing.recipe import Cell, Recipe, Row
from tests.small_heads import polygon_meshes, random_head, random_masks


@settings(deadline=None, max_examples=40)
@given(polygon_meshes(), st.integers(0, 2**32 - 1))
def test_the_movements_of_all_cells_sum_to_the_recipe_s(mesh, seed) -> None:
    rng = np.random.default_rng(seed)
    head = random_head(rng, mesh, 3)
    masks = random_masks(rng, head.n_vertices, ["brow", "mouth"])
    cells = tuple(Cell(r, s, float(rng.uniform(-1, 2))) for r in ("all", "brow", "mouth") for s in head.shape_names)
    recipe = Recipe("r", cells, {"brow": Row("replace", 0.7)}, float(rng.uniform(0.2, 1.5)))
    mixer = Mixer(head, masks)
    corners = rng.choice(head.n_vertices, size=min(3, head.n_vertices), replace=False)
    bary = rng.dirichlet(np.ones(len(corners)))
    found = movers(mixer, recipe, corners, bary)
    wanted = bary @ mixer.displacement(recipe)[corners]
    np.testing.assert_allclose(sum((one.by for one in found), np.zeros(3)), wanted, atol=1e-9 * head.diagonal)
    assert [one.mm for one in found] == sorted((one.mm for one in found), reverse=True)
