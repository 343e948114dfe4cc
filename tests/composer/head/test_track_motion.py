"""The head's motion, frame by frame, against the rotations of scipy, and quaternions against scipy's."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from composer.geometry.rigid import Similarity
from composer.head.head import Shape
from composer.head.track_motion import AT_REST, HeadTracker, quaternions
from tests.composer.edits.taken_head import bowl


def test_the_motion_of_a_known_face_is_scipy_s_whatever_some_vertices_do() -> None:
    """Rotation.align_vectors (Wahba 1965) on the vertices that keep to the pose; a fifth of the head goes elsewhere."""
    head = bowl()
    rng = np.random.default_rng(1)
    tracker = HeadTracker(head)
    pose = head.neutral + 0.6 * head.shapes[2].delta
    turn, shift = Rotation.from_euler("xyz", [4.0, -7.0, 2.0], degrees=True), np.array([5.0, -3.0, 8.0])
    frame = turn.apply(pose) + shift + 0.01 * rng.normal(size=pose.shape)
    elsewhere = head.neutral[:, 1] > 48.0
    frame[elsewhere] += [0.0, 9.0, 4.0]
    found = tracker.refined(pose, frame, tracker.first(frame))
    kept = ~elsewhere
    a, b, weights = pose[kept], frame[kept], tracker.weights[kept]
    theirs, _ = Rotation.align_vectors(
        b - np.average(b, axis=0, weights=weights), a - np.average(a, axis=0, weights=weights), weights=weights
    )
    assert np.rad2deg((theirs.inv() * Rotation.from_matrix(found.rotation)).magnitude()) < 0.01
    np.testing.assert_allclose(found(a), b, atol=0.1)


def test_a_frame_of_which_most_does_not_move_is_of_a_head_at_rest() -> None:
    head = bowl()
    frame = head.neutral.copy()
    frame[head.neutral[:, 1] > 30.0] += [0.0, 9.0, 0.0]
    tracker = HeadTracker(head)
    assert tracker.first(frame) is AT_REST and tracker.refined(head.neutral, frame, AT_REST) is AT_REST
    assert not tracker.matters(AT_REST)


def test_a_turn_about_a_still_vertex_is_a_motion() -> None:
    """Where the whole library moves everything, no few vertices decide that the head is at rest."""
    head = bowl()
    rng = np.random.default_rng(2)
    moving = tuple(
        Shape(each.name, (each.delta + rng.normal(size=each.delta.shape)).astype(np.float32)) for each in head.shapes
    )
    tracker = HeadTracker(head.with_(shapes=moving))
    frame = Rotation.from_euler("y", 5.0, degrees=True).apply(np.array(head.neutral))
    assert abs(tracker.first(frame).angle_deg - 5.0) < 1e-6


def test_quaternions_are_scipy_s_and_go_on_without_a_change_of_sign() -> None:
    angles = np.linspace(0.0, 350.0, 40)
    turns = Rotation.from_rotvec(np.deg2rad(angles)[:, None] * np.array([0.6, 0.0, 0.8]))
    found = quaternions([Similarity(each, np.zeros(3)) for each in turns.as_matrix()])
    theirs = turns.as_quat()[:, [3, 0, 1, 2]]
    np.testing.assert_allclose(np.abs(np.einsum("ij,ij->i", found, theirs)), 1.0, atol=1e-12)
    assert (np.einsum("ij,ij->i", found[1:], found[:-1]) > 0.99).all()
