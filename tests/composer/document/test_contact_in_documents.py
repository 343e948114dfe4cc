"""The key `contact` of a recipe: left out it means false, and with it every pose of the recipe is parted."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_recipe import EvaluatedRecipe
from composer.document.project import Project
from composer.document.read import parse_document
from composer.document.text import document_text
from composer.edits.recipes import set_contact
from composer.head.levels import levels, refine
from composer.mixing.contact import MixContact
from composer.mixing.recipe import Cell, Recipe
from tests.eye_head import eye_head
from tests.made_once import thing

SHUT = Recipe("shut", (Cell("all", "blink", 1.2), Cell("all", "narrow", 1.2)))


def document() -> EvaluatedDocument:
    project = Project(Path("eye.moue"), Path("eye"), recipes=(SHUT, SHUT.with_(name="kept", contact=True)))
    return EvaluatedDocument(project, thing("the made eye", eye_head))


def test_a_pose_is_parted_where_the_recipe_says_so_and_else_as_it_was() -> None:
    evaluated = document()
    plain, kept = (EvaluatedRecipe.of(evaluated, each).pose for each in evaluated.project.recipes)
    np.testing.assert_array_equal(plain, evaluated.mixer.pose(SHUT))
    contact = MixContact(evaluated.mixer)
    np.testing.assert_array_equal(kept, contact.parted(plain, evaluated.project.recipes[1]))
    assert np.abs(kept - plain).max() > 0.2
    fine = EvaluatedRecipe.of(evaluated, evaluated.project.recipes[1], level=1).pose
    np.testing.assert_allclose(fine, refine(kept, levels(evaluated.head.polygons, 1)), atol=1e-9)


def test_the_key_comes_back_from_the_text_and_is_written_only_where_it_is_true() -> None:
    project = document().project
    text = document_text(project, Path())
    assert text.count("contact = true") == 1
    assert [each.contact for each in parse_document(text.encode(), project.path).recipes] == [False, True]
    assert not set_contact(project, "kept", False).recipe("kept").contact


def test_a_head_without_curves_says_in_one_line_that_nothing_is_parted() -> None:
    project = document().project
    bare = thing("the made eye", eye_head).with_(landmarks=None)
    notes = EvaluatedDocument(project, bare).again(project).notes
    (told,) = (note for note in notes if "parts nothing" in note)
    assert "Landmarks" in told
    plain = project.with_(recipes=(SHUT,))
    assert not any("parts nothing" in note for note in EvaluatedDocument(plain, bare).again(plain).notes)
    assert not any("parts nothing" in note for note in document().again(project).notes)
