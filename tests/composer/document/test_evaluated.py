"""A document made ready again after an edit is the same as one made ready afresh, and shares what did not change."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.document.evaluated import EvaluatedDocument
from composer.document.project import Project
from composer.edits import landmarks
from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.head import symmetry
from composer.head.head import Head, Shape
from composer.mixing.recipe import Cell, Recipe
from tests.composer.document.small_document import COLUMNS, N, small_head, small_project
from tests.composer.document.small_edits import EDITS

HEAD = small_head()
PROJECT = small_project()
seeds = st.integers(0, 2**32 - 1)


def same(one: EvaluatedDocument, other: EvaluatedDocument) -> None:
    assert one.head.shape_names == other.head.shape_names
    assert one.head.landmarks == other.head.landmarks
    np.testing.assert_array_equal(one.head.skin, other.head.skin)
    for name in ("raw", "effective"):
        ours, theirs = getattr(one, name), getattr(other, name)
        assert list(ours) == list(theirs)
        for region in ours:
            np.testing.assert_array_equal(ours[region], theirs[region], err_msg=f"{name} {region}")
    assert list(one.hinges) == list(other.hinges)
    for name, hinge in one.hinges.items():
        np.testing.assert_array_equal(hinge.rigidity, other.hinges[name].rigidity)
        assert hinge.angle == other.hinges[name].angle
    assert (one.mirror is None) == (other.mirror is None)
    assert sorted(one.notes) == sorted(other.notes)
    for recipe in one.project.recipes:
        outcome = [_pose(each, recipe) for each in (one, other)]
        np.testing.assert_array_equal(*outcome, err_msg=recipe.name)


def _pose(evaluated: EvaluatedDocument, recipe: Recipe) -> np.ndarray | str:
    try:
        return evaluated.pose(recipe)
    except MoueError as error:
        return str(error)


@pytest.mark.parametrize("name", EDITS)
def test_one_edit_again_is_the_same_as_afresh(name: str) -> None:
    evaluated = EvaluatedDocument(PROJECT, HEAD).again(PROJECT)
    try:
        edited = EDITS[name](PROJECT, evaluated)
    except MoueError:
        assert name in ("forget kept", "no landmark", "no corrective")
        return
    same(evaluated.again(edited), EvaluatedDocument(edited, HEAD))


@given(st.lists(st.sampled_from(sorted(EDITS)), min_size=2, max_size=8), seeds)
@settings(deadline=None, max_examples=40)
def test_any_edits_again_are_the_same_as_afresh(names: list[str], seed: int) -> None:
    """With steps back in between: `again` never looks at the order in which states came."""
    rng = np.random.default_rng(seed)
    evaluated, seen = EvaluatedDocument(PROJECT, HEAD).again(PROJECT), [PROJECT]
    for name in names:
        try:
            edited = EDITS[name](evaluated.project, evaluated)
            evaluated = evaluated.again(edited)
        except MoueError:
            continue  # the name is taken by now, or its region gone
        seen.append(edited)
        if rng.random() < 0.3:
            evaluated = evaluated.again(seen[int(rng.integers(len(seen)))])
    same(evaluated, EvaluatedDocument(evaluated.project, HEAD))


def test_a_weight_keeps_everything() -> None:
    evaluated = EvaluatedDocument(PROJECT, HEAD).again(PROJECT)
    other = evaluated.again(EDITS["weight"](PROJECT, evaluated))
    for name in ("head", "effective", "hinges", "mixer"):
        assert getattr(other, name) is getattr(evaluated, name)


def test_paint_keeps_the_other_sets_motions_and_anchors() -> None:
    evaluated = EvaluatedDocument(PROJECT, HEAD).again(PROJECT)
    evaluated.pose(PROJECT.recipe("call"))
    other = evaluated.again(EDITS["paint"](PROJECT, evaluated))
    assert other.head is evaluated.head and other.hinges is evaluated.hinges
    assert other.mixer is not evaluated.mixer and other.mixer.anchors is evaluated.mixer.anchors
    for region in PROJECT.regions:
        assert (other.raw[region.name] is evaluated.raw[region.name]) == (region.name != "brow_left")
        assert (other.effective[region.name] is evaluated.effective[region.name]) == (region.set == "overlay")
    cell = Cell("all", "drop", 1.0)
    assert other.mixer.motion(cell) is evaluated.mixer.motion(cell)


def test_a_kept_shape_shares_the_head() -> None:
    evaluated = EvaluatedDocument(PROJECT, HEAD).again(PROJECT)
    evaluated.pose(PROJECT.recipe("call"))
    other = evaluated.again(EDITS["keep"](PROJECT, evaluated))
    assert other.head.shapes[:-1] == evaluated.head.shapes and other.head.surface is evaluated.head.surface
    assert other.effective is evaluated.effective and other.hinges is evaluated.hinges
    assert other.mixer.motion(Cell("all", "drop", 1.0)) is evaluated.mixer.motion(Cell("all", "drop", 1.0))
    assert other.raw["moving"] is evaluated.raw["moving"]  # a kept pose never moves a region


def test_the_mirror_map_is_found_once(monkeypatch: pytest.MonkeyPatch) -> None:
    found: list[int] = []
    plain = symmetry.mirror_map
    monkeypatch.setattr(symmetry, "mirror_map", lambda *given: found.append(1) or plain(*given))
    evaluated = EvaluatedDocument(PROJECT.with_(regions=(), recipes=()), small_head())
    assert evaluated.mirror is None and not found
    mirror = evaluated.mirror_map
    np.testing.assert_allclose(mirror.values(HEAD.neutral), HEAD.neutral * [-1, 1, 1], atol=1e-9)
    other = evaluated.again(
        evaluated.project.with_(recipes=(Recipe("turned", (Cell("all", "skew", 1.0, mirrored=True),)),))
    )
    assert other.mirror is mirror and other.mirror_map is mirror and len(found) == 1


def uneven_document(one_sided: int) -> EvaluatedDocument:
    """The small head with a strip of `one_sided` squares on its left edge only, and recipes with mirrored cells."""
    head, more = small_head(), one_sided + 1
    rows = np.arange(more)
    edge = rows * COLUMNS + COLUMNS - 1
    faces = [head.polygons.face(i).tolist() for i in range(head.polygons.n_faces)]
    faces += [[int(edge[i]), N + i, N + i + 1, int(edge[i + 1])] for i in range(one_sided)]
    neutral = np.vstack([head.neutral, head.neutral[edge] + [10.0, 0.0, 2.0]])
    lift, low = (np.zeros((len(neutral), 3), dtype=np.float32) for _ in range(2))
    lift[:, 1] = 3.0
    low[head.neutral.shape[0] - 2 * COLUMNS : N, 1] = 3.0  # two rows at the other end, far from the strip
    head = Head("odd", Polygons.from_faces(faces, len(neutral)), neutral, (Shape("lift", lift), Shape("low", low)))
    recipes = tuple(Recipe(name, (Cell("all", name, 1.0, mirrored=True),)) for name in ("lift", "low"))
    return EvaluatedDocument(Project(Path("odd.moue"), Path("odd"), recipes=recipes), head)


def test_only_a_recipe_that_moves_what_has_no_partner_is_refused() -> None:
    evaluated = uneven_document(4)
    pose = evaluated.pose(evaluated.project.recipe("low"))
    np.testing.assert_array_equal(pose - evaluated.head.neutral, evaluated.head.shape("low").delta)
    with pytest.raises(MoueError, match=r"recipe 'lift': \d+% of what its mirrored cells move has no mirror partner"):
        evaluated.pose(evaluated.project.recipe("lift"))
    (note,) = [note for note in evaluated.notes if "mirror partner" in note]
    assert note.startswith("5 vertices have no mirror partner; the first is vertex 63 at x 40.0, y 0.0")


def test_a_mistake_leaves_the_state_before_whole() -> None:
    evaluated = EvaluatedDocument(PROJECT, HEAD).again(PROJECT)
    short = PROJECT.with_(stored={**PROJECT.stored, "masks/brow_left.npy": np.zeros(4)})
    with pytest.raises(MoueError, match="4 values"):
        evaluated.again(short)
    with pytest.raises(MoueError, match="another head"):
        evaluated.again(PROJECT.with_(head_path=Path("elsewhere")))
    with pytest.raises(MoueError, match="at vertex 999"):
        evaluated.again(landmarks.place_landmark(PROJECT, "glabella", 999))
    same(evaluated, EvaluatedDocument(PROJECT, HEAD))


def test_a_landmark_moves_its_region_and_on_a_bare_head_makes_it() -> None:
    evaluated = EvaluatedDocument(PROJECT, HEAD).again(PROJECT)
    before = evaluated.raw["glabella"]
    moved = evaluated.again(landmarks.place_landmark(PROJECT, "glabella", 6 * COLUMNS + 1))
    assert not np.array_equal(moved.raw["glabella"], before)
    back = moved.again(landmarks.remove_landmark(moved.project, "glabella"))
    np.testing.assert_array_equal(back.raw["glabella"], before)
    with pytest.raises(MoueError, match="no landmarks"):
        _ = EvaluatedDocument(PROJECT, HEAD.with_(landmarks=None)).raw
    placed = landmarks.place_landmark(PROJECT, "glabella", 2 * COLUMNS + 3)
    assert EvaluatedDocument(placed, HEAD.with_(landmarks=None)).raw["glabella"].max() > 0.5
