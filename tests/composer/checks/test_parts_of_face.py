"""Parts told by what they are: eyeballs by any name, sockets left out, lashes that leave the skin, teeth that leave the
jaw."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from composer.checks.parts_of_face import eyeballs
from composer.checks.registry import chosen
from composer.checks.subject import CheckSubject, HeadFacts
from composer.geometry.polygons import Polygons
from composer.head.head import Head, Part
from composer.head.landmarks import Landmarks
from composer.head.parts import with_recognised_parts
from composer.head.understand.part_words import what_parts_are
from tests.awkward_heads import awkward
from tests.composer.checks.check_heads import eye_head, plane


def found(subject, name):
    return list(chosen([name])[0].run(subject))


@pytest.fixture(scope="module")
def whole() -> Head:
    """The demo's head with its parts as they are found."""
    return with_recognised_parts(awkward("layered_eyes", "rooted_lashes").head)


def renamed(head: Head, how) -> Head:
    parts = tuple(replace(part, name=how(i)) for i, part in enumerate(head.parts))
    return head.with_(parts=parts)


def test_what_a_part_is_does_not_hang_on_its_name(whole):
    ours = list(what_parts_are(whole).values())
    assert {"eye", "lashes", "teeth", "tongue"} <= set(ours)
    assert list(what_parts_are(renamed(whole, lambda i: f"objekt {i}")).values()) == ours
    # A name that begins with eye is no eyeball's for that.
    assert list(what_parts_are(renamed(whole, lambda i: f"eyething_{i}")).values()) == ours


def test_an_iris_that_is_a_part_of_its_own_is_no_eyeball():
    head = awkward("layered_eyes").known()
    told = what_parts_are(head)
    assert [name for name, what in told.items() if what == "eye"] == ["eye_left", "eye_right"]
    assert told["iris_left"] == told["iris_right"] == ""


def test_an_eyebrow_is_no_eyeball():
    head = eye_head()
    points = np.concatenate([head.neutral, np.array([[x, 14.0, 14.0] for x in np.linspace(-8, 8, 20)])])
    brow = Part("eyebrow_left", np.arange(len(head.neutral), len(points), dtype=np.int32), "surface")
    both = Head("brow", Polygons(head.polygons.counts, head.polygons.indices, len(points)), points,
                parts=(replace(head.parts[0], name="kugel"), brow))  # fmt: skip
    assert [part.name for part in eyeballs(HeadFacts(both))] == ["kugel"]


def socket_head(clearance: float = 0.5) -> Head:
    """`eye_head` with a socket behind the ball: a bowl that faces it, a hair's breadth off."""
    head = eye_head(clearance)
    line = np.linspace(-8.0, 8.0, 17)
    x, y = np.meshgrid(line, line)
    bowl = np.stack([x.ravel(), y.ravel(), -np.sqrt(12.05**2 - x.ravel() ** 2 - y.ravel() ** 2)], axis=1)
    index = np.arange(17 * 17).reshape(17, 17) + len(head.neutral)
    quads = np.stack([index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1]], axis=-1).reshape(-1, 4)
    counts = np.concatenate([head.polygons.counts, np.full(len(quads), 4)])
    indices = np.concatenate([head.polygons.indices, quads.ravel()])
    points = np.concatenate([head.neutral, bowl])
    return Head("socket", Polygons(counts, indices, len(points)), points, parts=head.parts, landmarks=head.landmarks)


def test_a_socket_that_comes_into_the_ball_is_not_seen_and_a_lid_is():
    head = socket_head()
    bowl = head.skin & (head.neutral[:, 2] < 0.0)
    pose = head.neutral.copy()
    pose[bowl] *= 11.0 / 12.05
    assert found(CheckSubject.of(head, pose), "lids") == []
    lid = head.skin & (head.neutral[:, 2] > 0.0)
    pose[lid] *= 11.0 / 12.5
    (finding,) = found(CheckSubject.of(head, pose), "lids")
    assert finding.code == "lids.through" and not set(finding.vertices) & set(np.flatnonzero(bowl))


@given(st.floats(0.0, 0.5), st.floats(0.0, 0.4), st.integers(0, 2**31 - 1))
def test_lids_are_never_deeper_than_the_pose_moved_them(sunk, move, seed):
    """Lids that lie in the ball at rest, in one that has an iris within: no depth is larger than what moved."""
    head = eye_head(-sunk)
    ball = head.parts[0].vertices
    moved = np.random.default_rng(seed).uniform(-1.0, 1.0, head.neutral.shape) * move
    for which in (head.skin, np.isin(np.arange(head.n_vertices), ball)):
        pose = head.neutral + moved * which[:, None]
        for finding in found(CheckSubject.of(head, pose), "lids"):
            most = float(np.linalg.norm(pose - head.neutral, axis=1).max())
            assert finding.code != "lids.through" or finding.value <= 2.0 * most + 1e-9
    assert [f for f in found(CheckSubject.of(head, head.neutral), "lids") if f.code == "lids.through"] == []


def lash_head() -> Head:
    """A square of skin and a strip of lash that stands on it: its roots in the skin, its tips 6 mm above."""
    polygons, points = plane(16, 40.0)
    x = np.linspace(-8.0, 8.0, 9)
    roots = np.stack([x, np.full(9, 0.3), np.zeros(9)], axis=1)
    strip = np.concatenate([roots, roots + [0.0, 2.0, 6.0]])
    index = np.arange(9) + len(points)
    quads = np.stack([index[:-1], index[1:], index[1:] + 9, index[:-1] + 9], axis=1)
    counts = np.concatenate([polygons.counts, np.full(len(quads), 4)])
    indices = np.concatenate([polygons.indices, quads.ravel()])
    points = np.concatenate([points, strip])
    part = Part("lashes_upper_left", np.arange(len(points) - 18, len(points), dtype=np.int32), "surface")
    return Head("lash", Polygons(counts, indices, len(points)), points, parts=(part,), landmarks=Landmarks({}, {}))


@pytest.mark.parametrize(("limits", "severity"), [(0.8, None), (1.5, "warning"), (6.0, "error")])
def test_lashes_that_stay_in_the_air_are_found_as_far_as_they_are_off(limits, severity):
    """So many limits apart: a limit is for a head of adult size and goes with the head's."""
    head = lash_head()
    apart = limits * HeadFacts(head).limits.leaves_warning_mm
    pose = head.neutral.copy()
    pose[head.skin, 2] -= apart
    findings = found(CheckSubject.of(head, pose), "touch")
    assert [f.severity for f in findings] == ([severity] if severity else [])
    for finding in findings:
        assert finding.value == pytest.approx(apart, abs=1e-9) and finding.where == "lashes_upper_left"
        assert set(finding.vertices) == set(head.parts[0].vertices[:9])  # the roots; tips need not touch


def test_lashes_that_go_with_the_skin_or_slide_on_it_are_clean():
    head = lash_head()
    turn = np.array([[1.0, 0.0, 0.0], [0.0, 0.8, -0.6], [0.0, 0.6, 0.8]])
    for pose in (head.neutral @ turn.T, head.neutral + 0.0):
        assert found(CheckSubject.of(head, pose), "touch") == []
    slid = head.neutral.copy()
    slid[head.parts[0].vertices, 0] += 3.0
    assert found(CheckSubject.of(head, slid), "touch") == []


def opening(head: Head) -> str:
    """The shape that moves the lower teeth most: on this head the one that opens the jaw."""
    teeth = next(part for part in head.parts if part.name == "teeth_lower").vertices
    return max(head.shapes, key=lambda shape: float(np.abs(shape.delta[teeth]).max())).name


def test_lower_teeth_that_stay_where_the_jaw_goes_are_found(whole):
    facts = HeadFacts(whole)
    teeth = next(part for part in whole.parts if part.name == "teeth_lower")
    target = whole.target(opening(whole))
    assert [f for f in found(CheckSubject(facts, target), "jaw")] == []
    stays = target.copy()
    stays[teeth.vertices] = whole.neutral[teeth.vertices]
    (finding,) = found(CheckSubject(facts, stays), "jaw")
    gone = np.linalg.norm(target - whole.neutral, axis=1)[teeth.vertices]
    assert finding.where == "teeth_lower" and "stays behind the jaw" in finding.words
    assert finding.value == pytest.approx(float(np.median(gone)), rel=0.2)
    # and the other way round: teeth that open in a shut mouth
    alone = whole.neutral.copy()
    alone[teeth.vertices] = target[teeth.vertices]
    (finding,) = found(CheckSubject(facts, alone), "jaw")
    assert "goes where the jaw does not" in finding.words


def test_no_shape_of_the_head_itself_loses_its_parts(whole):
    facts = HeadFacts(whole)
    for shape in whole.shapes:
        subject = CheckSubject(facts, whole.target(shape.name), shape.name)
        told = [f for name in ("touch", "jaw") for f in found(subject, name)]
        # the sheets over the eyes are made by the test, and follow a closing lid to that
        assert [(shape.name, f.words) for f in told if "lid_sheet" not in f.words or f.value > 0.8] == []
