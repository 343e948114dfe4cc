"""Laws of contact in a mix: what may be moved, how far, and that it turns, grows and mirrors with the head."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from composer.geometry.polygons import Polygons
from composer.head.head import Head
from composer.mixing.active import LivePose
from composer.mixing.contact import MixContact
from composer.mixing.linear import Mixer
from composer.mixing.recipe import Cell, Recipe
from tests.eye_head import eye_head, gaze_of, over_ball
from tests.made_once import thing

ROOM_MM = 0.06
"""What a mix may be deeper than its shapes, on lids of this length."""
SHUT = Recipe("shut", (Cell("all", "blink", 1.1), Cell("all", "narrow", 1.05)), contact=True)
HALF = Recipe("half", (Cell("all", "blink", 0.45), Cell("ball", "gaze_up", 1.0)), contact=True)


def head() -> Head:
    return thing("the made eye", eye_head)


def mixer_of(one: Head) -> Mixer:
    """With a region `ball`, in which the eyeball looks and the lids do not know of it."""
    away = np.linalg.norm(one.neutral - one.neutral[one.part("eye_left").vertices].mean(axis=0), axis=1)
    away[~one.skin] = np.inf
    return Mixer(one, {"ball": (away <= away.min() * (1.0 + 1e-6)).astype(float)})  # where the ball is anchored


def contact() -> MixContact:
    return thing("the made eye's contact", lambda: MixContact(mixer_of(head())))


def part(recipe: Recipe, of: MixContact | None = None) -> tuple[NDArray, NDArray]:
    """The pose without contact and with it."""
    of = of or contact()
    pose = of.mixer.pose(recipe)
    return pose, of.parted(pose, recipe)


@pytest.mark.parametrize("recipe", [SHUT, HALF])
def test_what_goes_through_is_parted_and_the_rest_keeps_its_bits(recipe: Recipe) -> None:
    pose, parted = part(recipe)
    before, after = (sum(left.amounts.sum() for left in contact().left(each, recipe)) for each in (pose, parted))
    assert before > 0.3
    assert after < 0.2 * before
    moved = (parted != pose).any(axis=1)
    about = {int(v) for each in contact()._places for v in each.moved}
    assert set(np.flatnonzero(moved).tolist()) <= about
    assert moved.sum() < len(moved) / 2
    ball = head().part("eye_left").vertices
    assert not moved[ball].any()


@pytest.mark.parametrize("cells", [(), (Cell("all", "blink", 0.6),), (Cell("all", "blink", 1.0),)])
def test_where_nothing_is_deeper_than_a_shape_alone_the_pose_is_the_very_same(cells: tuple[Cell, ...]) -> None:
    recipe = Recipe("alone", cells, contact=True)
    pose, parted = part(recipe)
    assert parted is pose


def test_a_lid_half_shut_rides_on_the_cornea_of_a_looking_eye() -> None:
    """The ball and its bulge are two spheres, so how deep a vertex lies is a closed form."""
    pose, parted = part(HALF)
    gaze = gaze_of(30.0)
    place = contact()._places[0].place
    skin = place.vertices[place.hard[0].own]
    alone = np.minimum(over_ball(contact().mixer.pose(HALF.with_(cells=HALF.cells[:1]))[skin], gaze_of(0.0)), 0.0)
    looks = contact().mixer.pose(Recipe("gaze", (Cell("all", "gaze_up", 1.0),)))
    alone = np.minimum(alone, over_ball(looks[skin], gaze))
    allowed = np.minimum(alone, np.minimum(over_ball(head().neutral[skin], gaze_of(0.0)), 0.0)) - ROOM_MM
    before = (over_ball(pose[skin], gaze) - allowed).min()
    after = (over_ball(parted[skin], gaze) - allowed).min()
    assert before < -0.2
    assert after > -0.1  # the ridge where ball and bulge meet is rounded by the grid


@pytest.mark.parametrize("recipe", [SHUT, HALF])
def test_it_turns_and_grows_with_the_head(recipe: Recipe) -> None:
    turn, scale, shift = Rotation.from_rotvec([0.3, -1.1, 0.4]).as_matrix(), 1.7, np.array([30.0, -5.0, 400.0])
    one = head()
    shapes = tuple(replace(s, delta=(scale * (s.delta.astype(np.float64) @ turn.T))) for s in one.shapes)
    other = one.with_(neutral=scale * (one.neutral @ turn.T) + shift, shapes=shapes)
    pose, parted = part(recipe)
    pose2, parted2 = part(recipe, MixContact(mixer_of(other)))
    want = scale * ((parted - pose) @ turn.T)
    np.testing.assert_allclose(parted2 - pose2, want, atol=1e-6 * scale)
    assert np.abs(want).max() > 0.3


@pytest.mark.parametrize("recipe", [SHUT, HALF])
def test_it_is_its_own_mirror_image_on_the_mirrored_head(recipe: Recipe) -> None:
    flip = np.array([-1.0, 1.0, 1.0])
    one = head()
    faces = [one.polygons.face(i).tolist() for i in range(one.polygons.n_faces)]
    polygons = Polygons.from_faces([[face[0], *face[:0:-1]] for face in faces], one.n_vertices)
    shapes = tuple(replace(s, delta=s.delta * flip.astype(np.float32)) for s in one.shapes)
    other = Head(one.name, polygons, one.neutral * flip, shapes, parts=one.parts, landmarks=one.landmarks)
    pose, parted = part(recipe)
    pose2, parted2 = part(recipe, MixContact(mixer_of(other)))
    np.testing.assert_allclose((parted2 - pose2) * flip, parted - pose, atol=1e-6)


@pytest.mark.parametrize(("base", "swept"), [
    (Recipe("r", (Cell("all", "narrow", 1.2), Cell("all", "blink", 0.0)), contact=True), "blink"),
    (Recipe("r", (Cell("all", "blink", 0.5), Cell("ball", "gaze_up", 0.0)), contact=True), "gaze_up"),
    (Recipe("r", (Cell("all", "blink", 0.7), Cell("ball", "gaze_up", 1.0), Cell("all", "push", 0.0)), contact=True),
     "push"),
])  # fmt: skip
def test_no_step_of_a_sweep_jumps(base: Recipe, swept: str) -> None:
    steps: list[float] = []
    plain: list[float] = []
    last = None
    for weight in np.linspace(0.0, 1.3, 101):
        cells = tuple(replace(c, weight=float(weight)) if c.shape == swept else c for c in base.cells)
        now = part(base.with_(cells=cells))
        if last is not None:
            plain.append(np.linalg.norm(now[0] - last[0], axis=1).max())
            steps.append(np.linalg.norm(now[1] - last[1], axis=1).max())
        last = now
    assert max(steps) <= 3.0 * max(plain)


def test_it_fades_smoothly_to_the_rim_of_its_patch() -> None:
    pose, parted = part(SHUT)
    place = contact()._places[0].place
    moved = np.linalg.norm(parted - pose, axis=1)[place.vertices]
    window = place.patch.window
    assert (moved <= 3.0 * moved.max() * window + 1e-12).all()
    assert window.min() < 0.1


@pytest.mark.parametrize("seed", range(6))
def test_no_face_turns_against_what_it_was(seed: int) -> None:
    rng = np.random.default_rng(seed)
    cells = tuple(Cell("all", shape.name, float(rng.uniform(-0.5, 2.0))) for shape in head().shapes)
    pose, parted = part(Recipe("wild", cells, contact=True))
    triangles = head().polygons.triangles
    before, after = (np.cross(x[triangles[:, 1]] - x[triangles[:, 0]], x[triangles[:, 2]] - x[triangles[:, 0]])
                     for x in (pose, parted))  # fmt: skip
    normals = np.zeros_like(pose)
    for corner in range(3):
        np.add.at(normals, triangles[:, corner], before)
    skin = head().skin[triangles].all(axis=1)
    outer = np.einsum("ti,ti->t", before, normals[triangles].sum(axis=1)) > 0.0
    kept = np.einsum("ti,ti->t", before, after) > 0.0
    assert (kept | ~skin | ~outer).all()


def test_lashes_go_along_with_the_lid() -> None:
    pose, parted = part(SHUT)
    lashes = head().part("lashes_upper_left").vertices
    roots, tips = lashes[: len(lashes) // 2], lashes[len(lashes) // 2 :]
    margin = head().landmarks.curves["upper_lid_left"]  # type: ignore[union-attr]
    lid = (parted - pose)[np.asarray(margin)]
    np.testing.assert_allclose((parted - pose)[roots], lid, atol=0.15 * np.abs(lid).max())
    np.testing.assert_allclose((parted - pose)[tips], (parted - pose)[roots], atol=1e-9)
    stands = contact().mixer.standing
    corners = np.einsum("pc,pcx->px", stands.bary, (parted - pose)[stands.corners])
    assert np.isin(lashes, stands.vertices).all() and np.abs(corners).max() > 0.01
    np.testing.assert_allclose((parted - pose)[stands.vertices], corners, atol=1e-12)


def test_a_drag_shows_what_a_fresh_evaluation_gives(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("composer.mixing.contact_live.BUDGET_SECONDS", np.inf)  # however long a step takes here
    mixer = contact().mixer
    live = LivePose(mixer, SHUT.with_(cells=(Cell("all", "narrow", 1.2),)))
    live.keep_contact(contact())
    for weight in np.linspace(0.0, 1.2, 5):
        first, end = live.set_weight("all", "blink", float(weight))
        before = live.positions.copy()
    recipe = live.recipe
    fresh = contact().parted(mixer.pose(recipe), recipe)
    np.testing.assert_allclose(live.positions, fresh, atol=1e-4)
    moved = np.flatnonzero((fresh != mixer.pose(recipe)).any(axis=1))
    assert first <= moved.min() and moved.max() < end
    live.rebase()
    np.testing.assert_allclose(live.positions, before, atol=1e-4)


def test_left_out_it_changes_nothing() -> None:
    mixer = contact().mixer
    plain = SHUT.with_(contact=False)
    live = LivePose(mixer, plain)
    live.keep_contact(contact())
    assert np.array_equal(live.positions, mixer.pose(plain).astype(np.float32))


def test_a_head_without_curves_is_told_and_left_alone() -> None:
    bare = MixContact(Mixer(head().with_(landmarks=None), {}))
    pose = bare.mixer.pose(SHUT)
    assert bare.parted(pose, SHUT) is pose
    (told,) = bare.missing
    assert "no landmark curves" in told
    assert any("edge of the upper lid, right" in words for words in contact().missing)
