"""A real library's own shapes: its parts keep to skin and jaw, and lids that lie in the ball at rest raise no alarm."""

import pytest

from composer.checks.parts_of_face import eyeballs, parts_that_are
from composer.checks.registry import chosen
from composer.checks.subject import CheckSubject, HeadFacts
from composer.head.understand.part_words import ON_SKIN
from composer.mixing.recipe import Cell, Recipe


@pytest.fixture(scope="module")
def facts(real_head):
    return HeadFacts(real_head)


def test_its_eyeballs_teeth_and_what_lies_on_its_skin_are_known(facts):
    assert len(eyeballs(facts)) == 2
    assert {part.name for part in parts_that_are(facts, ("teeth",))} == {"teeth_upper", "teeth_lower"}
    assert len(parts_that_are(facts, ON_SKIN)) == 4


def test_none_of_its_shapes_loses_a_part_and_lids_are_never_deeper_than_what_moved(facts):
    checks = chosen(["lids", "touch", "jaw"])
    for shape in facts.head.shapes:
        recipe = Recipe(shape.name, (Cell("all", shape.name, 1.0),))
        subject = CheckSubject(facts, facts.head.target(shape.name), shape.name, recipe=recipe)
        found = [f for check in checks for f in check.run(subject) if f.severity != "note"]
        assert [(shape.name, f.code, f.words) for f in found if f.code in ("touch.left", "jaw.apart")] == []
        for finding in found:
            assert finding.value <= float(shape.furthest_mm)
