"""Each check finds the fault planted for it, measures it rightly, and says nothing on what is clean."""

import numpy as np
import pytest

from composer.checks.finding import Finding
from composer.checks.limits import Limits
from composer.checks.registry import CHECKS, chosen, run_checks
from composer.checks.subject import CheckSubject, HeadFacts
from composer.errors import MoueError
from composer.mixing.recipe import Cell, Recipe, Row
from tests.composer.checks.check_heads import eye_head, is_lower, lips_head, plane_head

WIDER = [[1.3, 0, 0], [0, 1, 0], [0, 0, 1]]  # x stretched by 30 percent
TALLER = [[1, 0, 0], [0, 1.3, 0], [0, 0, 1]]


def found(subject, name) -> list[Finding]:
    return list(chosen([name])[0].run(subject))


def codes(findings) -> list[str]:
    return [finding.code for finding in findings]


def mixed(head, recipe, masks=None):
    """The pose of adding rows, written out by hand."""
    pose = head.neutral.copy()
    for cell in recipe.cells:
        mask = 1.0 if cell.region == "all" else (masks or {})[cell.region][:, None]
        pose += (
            recipe.strength
            * recipe.row(cell.region).amount
            * cell.weight
            * mask
            * head.shape(cell.shape).delta
        )
    return pose


def test_one_shape_alone_is_clean_for_every_check_that_knows_shapes():
    head = plane_head({"wider": WIDER})
    recipe = Recipe("alone", (Cell("all", "wider", 1.0),))
    subject = CheckSubject.of(head, mixed(head, recipe), recipe=recipe)
    for name in ("flipped", "folds", "stretch", "pinch", "seam", "empty", "asymmetry"):
        assert found(subject, name) == []


def test_stretch_beyond_the_shapes_is_found_and_measured():
    head = plane_head({"wider": WIDER})
    recipe = Recipe("twice", (Cell("all", "wider", 1.0),))
    pose = head.neutral * [1.3 * 1.5, 1.0, 1.0]  # half as long again as the shape makes it
    finding = found(CheckSubject.of(head, pose, recipe=recipe), "stretch")[0]
    assert finding.code == "stretch.torn" and finding.severity == "warning"
    assert finding.value == pytest.approx(50.0, abs=0.01)
    assert len(finding.vertices) == head.n_vertices


def test_shapes_that_stretch_across_each_other_stay_within_their_envelope():
    head = plane_head({"wider": WIDER, "taller": TALLER})
    recipe = Recipe("both", (Cell("all", "wider", 1.0), Cell("all", "taller", 1.0)))
    assert found(CheckSubject.of(head, mixed(head, recipe), recipe=recipe), "stretch") == []


def test_a_face_turned_over_is_found_with_its_own_corners():
    head = plane_head({"wider": WIDER})
    pose = head.neutral.copy()
    face = head.polygons.face(70)
    pose[face] = pose[face[::-1]]  # the other way round
    recipe = Recipe("r", (Cell("all", "wider", 0.1),))
    finding = found(CheckSubject.of(head, pose, recipe=recipe), "flipped")[0]
    assert finding.code == "flipped.faces" and finding.severity == "error"
    assert set(face) <= set(finding.vertices) and finding.value == pytest.approx(180.0)


def test_a_face_that_a_shape_turns_over_by_itself_is_the_librarys_own():
    mirror = [[-1, 0, 0], [0, 1, 0], [0, 0, 1]]
    head = plane_head({"over": mirror})
    recipe = Recipe("r", (Cell("all", "over", 1.0),))
    assert found(CheckSubject.of(head, head.target("over"), recipe=recipe), "flipped") == []


def shift_head(ramp_mm, move_mm):
    """A shape that slides everything along x, and a mask that falls from 1 to 0 over `ramp_mm` about x = 0."""
    head = plane_head({"none": np.eye(3)}, n=30)
    from composer.head.head import Shape

    delta = np.tile(np.array([move_mm, 0.0, 0.0], dtype=np.float32), (head.n_vertices, 1))
    mask = np.clip(0.5 - head.neutral[:, 0] / ramp_mm, 0.0, 1.0)
    return head.with_(shapes=(Shape("slide", delta),)), {"cheek": mask}


@pytest.mark.parametrize(("ramp_mm", "move_mm"), [(20.0, 6.0), (20.0, 10.0)])
def test_a_seam_is_measured_as_movement_over_width(ramp_mm, move_mm):
    # A slide by d under a linear ramp of width w presses every line across it together by d / w: stretch 1 - d/w,
    # which is shorter by d/w / (1 - d/w) of what is left. Worked out by hand.
    head, masks = shift_head(ramp_mm, move_mm)
    recipe = Recipe("r", (Cell("cheek", "slide", 1.0),))
    finding = found(CheckSubject.of(head, mixed(head, recipe, masks), recipe=recipe, masks=masks), "seam")[0]
    slope = move_mm / ramp_mm
    assert finding.code == "seam.ramp" and finding.where == "cheek"
    assert finding.value == pytest.approx(100.0 * slope / (1.0 - slope), rel=1e-3)
    assert f"{move_mm:.1f} mm have to meet within {ramp_mm:.1f} mm" in finding.words
    assert (np.abs(head.neutral[finding.vertices, 0]) <= ramp_mm / 2.0 + 2.1).all()


def test_a_wide_ramp_is_clean():
    head, masks = shift_head(50.0, 2.0)
    recipe = Recipe("r", (Cell("cheek", "slide", 1.0),))
    assert found(CheckSubject.of(head, mixed(head, recipe, masks), recipe=recipe, masks=masks), "seam") == []


@pytest.mark.parametrize("ramp_mm", [0.5, 200.0])
def test_a_region_without_a_ramp_tears_and_one_as_wide_as_the_face_does_not(ramp_mm):
    head, masks = shift_head(ramp_mm, 3.0)
    recipe = Recipe("r", (Cell("cheek", "slide", 1.0),))
    subject = CheckSubject.of(head, mixed(head, recipe, masks), recipe=recipe, masks=masks)
    findings = found(subject, "seam")
    assert [f.severity for f in findings] == (["error"] if ramp_mm < 2.0 else [])
    assert all("seamlessly, widen the ramp" in f.hint for f in findings)
    subject = CheckSubject.of(head, subject.pose, recipe=recipe.with_(join="seamless"), masks=masks)
    assert all("widen the ramp" in f.hint and "seamless" not in f.hint for f in found(subject, "seam"))


def test_a_seam_without_its_mask_says_so():
    head, _ = shift_head(20.0, 6.0)
    recipe = Recipe("r", (Cell("cheek", "slide", 1.0),))
    assert codes(found(CheckSubject.of(head, head.neutral, recipe=recipe), "seam")) == ["seam.mask"]


@pytest.mark.parametrize("depth", [0.3, 0.7, 1.2])
def test_lips_pressed_into_each_other_are_found_as_deep_as_they_are(depth):
    head = lips_head(gap=1.0)
    pose = head.neutral.copy()
    pose[is_lower(head)] += [0.25, 1.0 + depth, 0.0]
    finding = found(CheckSubject.of(head, pose), "lips")[0]
    assert finding.code == "lips.through"
    assert finding.value == pytest.approx(depth, abs=1e-6)


def test_lips_that_only_touch_or_part_are_clean():
    head = lips_head(gap=1.0)
    for up in (-3.0, 0.0, 0.9, 1.0):
        pose = head.neutral.copy()
        pose[is_lower(head)] += [0.25, up, 0.0]
        assert found(CheckSubject.of(head, pose), "lips") == []


def test_lips_that_overlap_at_rest_are_judged_by_what_is_added():
    head = lips_head(gap=1.0)
    rest = head.neutral.copy()
    rest[is_lower(head)] += [0.25, 2.0, 0.0]  # 1 mm deep at rest
    head = head.with_(neutral=rest)
    assert found(CheckSubject.of(head, head.neutral), "lips") == []


def test_lips_without_landmarks_are_skipped_aloud():
    head = lips_head().with_(landmarks=None)
    findings = found(CheckSubject.of(head, head.neutral), "lips")
    assert codes(findings) == ["lips.skipped"] and "lip_line_upper" in findings[0].words


@pytest.mark.parametrize("inside", [0.2, 1.0])
def test_lids_inside_an_eyeball_are_found_as_deep_as_they_are(inside):
    head = eye_head(clearance=0.5)
    pose = head.neutral.copy()
    pose[head.skin] *= (12.0 - inside) / 12.5
    finding = found(CheckSubject.of(head, pose), "lids")[0]
    assert finding.code == "lids.through" and finding.where == "eye_left"
    # The ball has flat faces, so it is up to its sagitta thinner than a sphere: 0.12 mm for edges of 3.3 mm.
    assert inside - 0.15 < finding.value <= inside + 1e-9
    igl = pytest.importorskip("igl")
    triangles = head.polygons.triangles
    ball = triangles[~head.skin[triangles].any(axis=1)].astype(np.int32)
    signed = igl.signed_distance(pose[head.skin], pose, ball)[0]
    assert finding.value == pytest.approx(-signed.min(), abs=1e-9)


def test_lids_that_ride_on_the_eyeball_are_clean():
    head = eye_head(clearance=0.5)
    pose = head.neutral.copy()
    pose[head.skin] *= 12.3 / 12.5
    assert found(CheckSubject.of(head, pose), "lids") == []


def test_lids_that_lift_off_are_found():
    head = eye_head(clearance=0.5)
    pose = head.neutral.copy()
    pose[head.skin] *= 15.5 / 12.5
    finding = found(CheckSubject.of(head, pose), "lids")[0]
    assert finding.code == "lids.gap" and 2.9 < finding.value < 3.3


def test_lids_without_an_eyeball_or_without_margins_are_skipped_aloud():
    head = eye_head()
    bare = head.with_(parts=())
    assert codes(found(CheckSubject.of(bare, bare.neutral), "lids")) == ["lids.skipped"]
    unmarked = head.with_(landmarks=None)
    assert codes(found(CheckSubject.of(unmarked, unmarked.neutral), "lids")) == ["lids.skipped"]


@pytest.mark.parametrize(
    ("recipe", "reason"),
    [
        (Recipe("r"), "no cells"),
        (Recipe("r", (Cell("all", "wider", 0.0),)), "weights are 0"),
        (Recipe("r", (Cell("all", "wider", 1.0),), strength=0.0), "strength is 0"),
        (Recipe("r", (Cell("brow", "wider", 1.0),), rows={"brow": Row("add", 0.0)}), "muted"),
        (Recipe("r", (Cell("brow", "wider", 1.0),)), "masks of its regions are empty"),
    ],
)
def test_a_recipe_without_effect_is_found_with_its_reason(recipe, reason):
    head = plane_head({"wider": WIDER})
    masks = {"brow": np.zeros(head.n_vertices)}
    finding = found(CheckSubject.of(head, head.neutral, recipe=recipe, masks=masks), "empty")[0]
    assert finding.code == "empty.recipe" and reason in finding.words


def test_a_cell_without_effect_is_noted():
    head = plane_head({"wider": WIDER})
    masks = {"brow": (head.neutral[:, 0] == 0.0).astype(float)}  # where the shape does not move
    recipe = Recipe("r", (Cell("brow", "wider", 1.0), Cell("all", "wider", 0.5)))
    subject = CheckSubject.of(head, mixed(head, recipe, masks), recipe=recipe, masks=masks)
    assert codes(found(subject, "empty")) == ["empty.cell"]


def test_limits_grow_with_the_head():
    facts = HeadFacts(lips_head(), Limits())
    assert facts.limits.lips_error_mm == pytest.approx(Limits().lips_error_mm * facts.head.diagonal / 330.0)
    assert facts.limits.stretch_warning == Limits().stretch_warning


def test_findings_come_worst_first_and_every_check_says_why_it_matters():
    head = eye_head(clearance=0.5)
    pose = head.neutral.copy()
    pose[head.skin] *= 11.0 / 12.5
    ranks = [finding.rank for finding in run_checks(CheckSubject.of(head, pose))]
    assert ranks == sorted(ranks) and len(ranks) >= 2
    assert all(check.title and check.why for check in CHECKS)
    assert len({check.name for check in CHECKS}) == len(CHECKS)


def test_wrong_input_is_one_line():
    head = plane_head({"wider": WIDER})
    with pytest.raises(MoueError, match="3 vertices"):
        CheckSubject.of(head, np.zeros((3, 3)))
    with pytest.raises(MoueError, match="no position at vertex 5"):
        bad = head.neutral.copy()
        bad[5] = np.nan
        CheckSubject.of(head, bad)
    with pytest.raises(MoueError, match="did you mean stretch"):
        chosen(["strech"])
