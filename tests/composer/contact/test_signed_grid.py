"""Distances of a grid from closed and open bodies, against closed forms: a box, two spheres in each other."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from composer.contact.signed_grid import signed_distances

CELL, BAND, SHAPE = 0.5, 2.0, (21, 19, 17)
LOW = np.array([-5.0, -4.5, -4.0])
HALF = np.array([2.2, 1.7, 1.3])


def nodes() -> np.ndarray:
    return LOW + CELL * np.stack(np.meshgrid(*(np.arange(each) for each in SHAPE), indexing="ij"), axis=-1)


def box(places: np.ndarray) -> np.ndarray:
    """The signed distance of a box (the common closed form, from memory)."""
    off = np.abs(places) - HALF
    return np.linalg.norm(np.maximum(off, 0.0), axis=-1) + np.minimum(off.max(axis=-1), 0.0)


@pytest.mark.parametrize("inverted", [False, True])
def test_a_box(inverted: bool) -> None:
    mesh = trimesh.creation.box(2.0 * HALF).subdivide().subdivide()
    faces = mesh.faces[:, ::-1] if inverted else mesh.faces
    found = signed_distances(mesh.vertices, faces, LOW, CELL, SHAPE, BAND)
    np.testing.assert_allclose(found, np.minimum(box(nodes()), BAND), atol=0.02)


def test_a_box_that_is_open_on_one_side_is_closed() -> None:
    mesh = trimesh.creation.box(2.0 * HALF).subdivide().subdivide()
    faces = mesh.faces[mesh.face_normals[:, 2] < 0.5]
    assert len(faces) == len(mesh.faces) * 5 / 6
    found = signed_distances(mesh.vertices, faces, LOW, CELL, SHAPE, BAND)
    np.testing.assert_allclose(found, np.minimum(box(nodes()), BAND), atol=0.02)


def test_bodies_that_run_into_each_other_are_one_outside() -> None:
    mesh = trimesh.creation.icosphere(4, 1.8)
    other = mesh.vertices + (1.5, 0.0, 0.0)
    points, faces = np.concatenate([mesh.vertices, other]), np.concatenate([mesh.faces, mesh.faces + len(other)])
    found = signed_distances(points, faces, LOW, CELL, SHAPE, BAND)
    away = [np.linalg.norm(nodes() - middle, axis=-1) - 1.8 for middle in ((0.0, 0.0, 0.0), (1.5, 0.0, 0.0))]
    np.testing.assert_allclose(found, np.minimum(np.minimum(*away), BAND), atol=0.01)
