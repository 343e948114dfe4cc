"""What is only on the way, and what only two together do: planted on small heads, and nothing told of clean ones."""

import numpy as np
import pytest

from composer.checks.of_document import check_document, check_recipes
from composer.checks.pairs import pair_cells, pair_recipes
from composer.checks.sweep import sweep_recipes
from composer.document.evaluated import EvaluatedDocument
from composer.document.project import Project
from composer.errors import MoueError
from composer.head.head import InBetween, Shape
from composer.mixing.recipe import Cell, Recipe
from tests.composer.checks.check_heads import eye_head, is_lower, lips_head, plane_head


def evaluated(head, tmp_path, *recipes):
    return EvaluatedDocument(Project(tmp_path / "d.toml", tmp_path / "head", recipes=tuple(recipes)), head)


def closing_head():
    """A lid that goes from one side of an eyeball to the other: by its shape in a straight line through the ball."""
    head = eye_head(clearance=0.5)
    skin = head.skin[:, None]
    turn = np.radians(70.0)
    matrix = np.array([[1, 0, 0], [0, np.cos(turn), np.sin(turn)], [0, -np.sin(turn), np.cos(turn)]])
    straight = np.where(skin, head.neutral @ matrix.T - head.neutral, 0.0).astype(np.float32)
    return head.with_(shapes=(Shape("shut", straight),))


def test_a_lid_that_cuts_the_eyeball_half_way_is_found_there_and_at_neither_end(tmp_path):
    head = closing_head()
    recipe = Recipe("shut", (Cell("all", "shut", 1.0),))
    open_ = evaluated(head, tmp_path, recipe)
    ends = [f.code for _, _, found in check_recipes(open_, [recipe]) for f in found]
    assert "lids.through" not in ends
    checked = list(sweep_recipes(open_, [recipe], 9))
    (lids,) = [(one, f) for one in checked for f in one.findings if f.code == "lids.through"]
    assert lids[0].name == "shut at 50 percent" and lids[0].kind == "sweep"
    # A chord of 70 degrees on 12.5 mm runs 12.5 cos 35 = 10.24 mm from the centre: 1.76 mm inside 12 mm, less the
    # flatness of the ball's faces (0.12 mm), and less off the axis, where the skin is nearer to the turn's axis.
    assert 1.5 < lids[1].value < 1.77
    assert lids[1].words.startswith("on the way only")
    np.testing.assert_allclose(open_.pose(lids[0].recipe), lids[0].positions, atol=1e-12)


def test_a_sweep_of_a_still_and_of_a_straight_recipe_is_clean(tmp_path):
    head = plane_head({"wider": np.diag([1.3, 1.0, 1.0])})
    recipes = [Recipe("straight", (Cell("all", "wider", 1.0),)), Recipe("empty")]
    assert list(sweep_recipes(evaluated(head, tmp_path, *recipes), recipes, 9, cells=True)) == []


@pytest.mark.parametrize("cells", [False, True])
def test_a_pop_of_an_inbetween_is_found_where_it_comes_in(cells, tmp_path):
    head = plane_head({"up": np.diag([1.0, 1.02, 1.0])})
    delta = head.shape("up").delta
    jumped = 0.5 * delta
    jumped[40] += [0.0, 0.0, 6.0]
    places = (InBetween(0.5, 0.5 * delta), InBetween(0.505, jumped))
    after = delta.copy()
    after[40] += [0.0, 0.0, 6.0]
    head = head.with_(shapes=(Shape("up", after, places),))
    recipe = Recipe("popping", (Cell("all", "up", 1.0),))
    (one,) = sweep_recipes(evaluated(head, tmp_path, recipe), [recipe], 9, cells=cells)
    pop = next(f for f in one.findings if f.code == "sweep.pop")
    assert one.name == "popping: all x up at 62 percent" and "50 and 62 percent" in pop.words
    assert pop.vertices.tolist() == [40] and pop.value == pytest.approx(6.0, abs=0.2)
    assert pop.place is not None


def test_too_few_steps_are_refused(tmp_path):
    with pytest.raises(MoueError, match="sweep of 3 steps"):
        list(sweep_recipes(evaluated(plane_head({}), tmp_path), [Recipe("r")], 3))


def pressing_head():
    """Two lips 2 mm apart, and a shape for each that brings it 1.2 mm nearer: only both together make them meet."""
    head = lips_head(gap=2.0)
    lower = is_lower(head)[:, None]
    up, down = np.where(lower, [0.25, 1.4, 0.0], 0.0), np.where(lower, 0.0, [0.0, -1.4, 0.0])
    return head.with_(shapes=(Shape("lift", up.astype(np.float32)), Shape("drop", down.astype(np.float32))))


def test_lips_that_meet_only_by_two_recipes_together_are_a_pair(tmp_path):
    lift, drop = Recipe("lift", (Cell("all", "lift", 1.0),)), Recipe("drop", (Cell("all", "drop", 1.0),))
    soft = Recipe("soft", (Cell("all", "drop", 0.3),))
    open_ = evaluated(pressing_head(), tmp_path, lift, drop, soft)
    (pair,) = pair_recipes(open_, [lift, drop, soft])
    assert pair.name == "lift with drop" and pair.kind == "pair"
    (finding,) = [f for f in pair.findings if f.code == "lips.through"]
    assert finding.value == pytest.approx(0.8, abs=1e-5) and finding.where == "the lips"
    assert finding.words.startswith("together only")


def test_lips_that_meet_only_by_two_cells_of_a_recipe_are_a_pair(tmp_path):
    both = Recipe("both", (Cell("all", "lift", 1.0), Cell("all", "drop", 1.0)))
    open_ = evaluated(pressing_head(), tmp_path, both)
    (pair,) = pair_cells(open_, [both])
    assert pair.name == "both: all x lift with all x drop"
    assert list(pair_recipes(open_, [both])) == []


def test_a_recipe_whose_shape_holds_no_numbers_is_told_and_the_rest_goes_on(tmp_path):
    head = plane_head({"wider": np.diag([1.3, 1.0, 1.0])})
    bad = head.shape("wider").delta.copy()
    bad[3] = np.nan
    head = head.with_(shapes=(*head.shapes, Shape("bad", bad)))
    recipes = [Recipe("broken", (Cell("all", "bad", 1.0),)), Recipe("fine", (Cell("all", "wider", 1.0),))]
    open_ = evaluated(head, tmp_path, *recipes)
    checked = check_recipes(open_, recipes)
    found = {recipe.name: [f.code for f in findings if f.severity != "note"] for recipe, _, findings in checked}
    assert found == {"broken": ["pose.broken"], "fine": []}
    assert [f.code for one in sweep_recipes(open_, recipes, 5) for f in one.findings] == ["pose.broken"]
    assert list(pair_recipes(open_, recipes)) == []
    assert [f.code for f in check_document(open_).findings] == ["shapes.broken"]


def test_progress_rises_and_can_stop_the_work(tmp_path):
    recipe = Recipe("both", (Cell("all", "lift", 1.0), Cell("all", "drop", 1.0)))
    open_ = evaluated(pressing_head(), tmp_path, recipe)
    said = []
    calls = (
        lambda tell: check_recipes(open_, [recipe, recipe], tell),
        lambda tell: sweep_recipes(open_, [recipe], 5, cells=True, progress=tell),
        lambda tell: pair_cells(open_, [recipe], progress=tell),
    )
    for call in calls:
        said.clear()
        list(call(lambda done, words: said.append(done)))
        assert said == sorted(said) and said[0] >= 0.0 and said[-1] <= 1.0

    def stop(done, words):
        raise KeyboardInterrupt

    for call in calls:
        with pytest.raises(KeyboardInterrupt):
            list(call(stop))
