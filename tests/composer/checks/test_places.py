"""A finding lies where its worst vertex is, and is named by region or landmark, never by the pose."""

import numpy as np

from composer.checks.finding import Finding
from composer.checks.places import located
from composer.checks.registry import run_checks
from composer.checks.subject import CheckSubject, HeadFacts
from composer.checks.words import plain, title_of, why_of
from composer.head.landmarks import Landmarks
from tests.composer.checks.check_heads import eye_head, plane_head


def subject(**more):
    head = plane_head({"none": np.eye(3)}).with_(landmarks=Landmarks({"cheilion_left": 0, "gnathion": 168}, {}))
    return CheckSubject.of(head, head.neutral, name="smile", **more)


def finding(vertices, amounts, where="smile"):
    return Finding("x.y", "error", "w", "m", np.array(vertices, np.int32), np.array(amounts), where=where)


def test_the_place_is_at_the_worst_and_not_between_two_sides():
    at = located(finding([0, 12], [1.0, 2.0]), subject())
    assert at.place == (30.0, -30.0, 0.0)


def test_a_place_is_named_by_its_region_else_by_a_landmark_and_what_is_named_stays():
    mask = np.zeros(169)
    mask[:20] = 1.0
    assert located(finding([0, 1], [1.0, 2.0]), subject(masks={"lip": mask})).where == "lip"
    assert located(finding([168], [1.0]), subject(masks={"lip": mask})).where == "near gnathion"
    assert located(finding([0], [1.0], where="eye_left"), subject()).where == "eye_left"
    assert located(Finding("x.y", "note", "w", where="smile"), subject()).where == ""


def test_places_and_checks_are_said_in_plain_words():
    assert plain("upper_lid_left") == "left upper lid" and plain("near cheilion_right") == "near right cheilion"
    assert plain("eye_left") == "left eye" and plain("nose_tip") == "nose tip" and plain("leftover") == "leftover"
    titles = {"lips.through": "lips through lips", "sweep.pop": "a pop in a sweep", "new.kind": "new"}
    for code, title in titles.items():
        assert title_of(Finding(code, "error", "w")) == title
    assert why_of(Finding("folds.folded", "error", "w")) and why_of(Finding("new.kind", "error", "w")) == ""


def test_amounts_are_said_with_as_many_figures_as_they_deserve():
    said = [Finding("x.y", "error", "w", value=12.345, unit=unit).measure for unit in ("mm", "percent", "degrees", "")]
    assert said == ["12.35 mm", "12 percent", "12 degrees", ""]


def test_what_is_kept_is_made_again_only_for_another_object():
    facts, made = HeadFacts(plane_head({})), []
    mask, other = np.ones(3), np.ones(3)
    for about in (mask, mask, other, other, mask):
        facts.kept("ramp", about, lambda: made.append(1))
    assert len(made) == 3


def test_every_finding_of_the_checks_has_a_place_on_the_pose():
    head = eye_head(clearance=0.5)
    pose = head.neutral.copy()
    pose[head.skin] *= 11.0 / 12.5
    found = run_checks(CheckSubject.of(head, pose, name="shut"))
    placed = [one for one in found if len(one.vertices)]
    assert placed and all(one.place is not None and one.where != "shut" for one in placed)
    for one in placed:
        assert (np.array(one.place) <= pose.max(axis=0)).all() and one.as_dict()["place"] == one.place
