"""Visibility against closed formulas, and the cavities that it finds."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from composer.fitting.hollows.cavities import FEW_DEEP, find_cavities
from composer.fitting.hollows.library import LibrarySkin
from composer.fitting.hollows.places import ELSEWHERE, INSIDE, NAMES, PLACES, counted_by_place
from composer.fitting.hollows.visibility import directions, visibility
from composer.fitting.rays import SculptRays
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface
from composer.head.head import Head
from composer.head.landmarks import Landmarks
from tests.demo_heads import neutral_head


def surface_of(mesh: trimesh.Trimesh) -> Surface:
    return Surface(Polygons(np.full(len(mesh.faces), 3), mesh.faces.ravel(), len(mesh.vertices)), mesh.vertices)


def test_directions_are_even() -> None:
    for count in (64, 96, 1000):
        rays = directions(count)
        np.testing.assert_allclose(np.linalg.norm(rays, axis=1), 1.0)
        assert np.abs(rays.mean(axis=0)).max() < 1.0 / count  # balanced
        np.testing.assert_allclose(rays.T @ rays / count, np.eye(3) / 3.0, atol=0.01)  # the same in every direction


def test_outside_of_a_ball_is_open_and_its_inside_shut() -> None:
    ball = trimesh.creation.icosphere(subdivisions=3)
    rays = SculptRays(ball.vertices, ball.faces)
    np.testing.assert_allclose(visibility(rays, ball.vertices, ball.vertex_normals, 2.0, 96), 1.0)
    assert visibility(rays, ball.vertices, -ball.vertex_normals, 2.0, 96).max() == 0.0


@pytest.mark.parametrize("depth", [0.5, 1.0, 2.0, 3.0])
def test_bottom_of_a_well_sees_its_mouth(depth: float) -> None:
    """The view factor of a small element facing a disk of radius r at distance h on its axis is r^2 / (r^2 + h^2)
    (Howell, "A Catalog of Radiation Heat Transfer Configuration Factors", from memory; also Siegel and Howell,
    "Thermal Radiation Heat Transfer")."""
    well = trimesh.creation.annulus(r_min=1.0, r_max=1.2, height=depth, sections=256)
    well.apply_translation([0.0, 0.0, depth / 2.0])
    rays = SculptRays(np.asarray(well.vertices), well.faces)
    found = visibility(rays, np.zeros((1, 3)), np.array([[0.0, 0.0, 1.0]]), 2.0, 4000)
    assert found[0] == pytest.approx(1.0 / (1.0 + depth**2), abs=0.01)


def dented(depth: float) -> Surface:
    """A ball with a pit of this depth, in radii, at its top."""
    ball = trimesh.creation.icosphere(subdivisions=4)
    up = ball.vertices[:, 2]
    pit = np.clip((up - 0.97) / 0.02, 0.0, 1.0)
    points = np.asarray(ball.vertices) * 100.0
    points[:, 2] -= 100.0 * depth * pit
    return surface_of(trimesh.Trimesh(points, ball.faces, process=False))


def test_a_ball_has_no_cavity_and_a_pit_is_one() -> None:
    assert find_cavities(dented(0.0)).pieces == ()
    found = find_cavities(dented(0.8))
    assert len(found.pieces) == 1
    piece = found.pieces[0]
    assert dented(0.0).positions[piece][:, 2].min() > 90.0  # all of it at the top
    assert found.deep(piece).sum() >= FEW_DEEP and not found.deep(piece)[~piece].any()


@pytest.fixture(scope="module")
def keeper() -> Head:
    return neutral_head("keeper")


def kinds(head: Head) -> list[str]:
    """The place of each cavity of a head, sorted."""
    assert head.landmarks is not None
    library = LibrarySkin.of(head)
    places, names = library.places(head, head.landmarks), (*PLACES, ELSEWHERE)
    for piece in library.cavities.pieces:
        assert len(np.unique(places[piece])) == 1  # a cavity lies in one place
    return sorted(names[int(places[piece][0])] for piece in library.cavities.pieces)


def test_cavities_of_the_demo_lie_at_nose_eyes_lips_and_ears(keeper: Head) -> None:
    found = kinds(keeper)
    assert found.count("nose") == 2 and found.count("eyes") == 2 and found.count("lips") == 1
    assert ELSEWHERE not in found and "ears" in found


def test_cavities_of_a_real_library_lie_at_nose_eyes_lips_and_ears(real_head: Head, real_marks: Landmarks) -> None:
    found = kinds(real_head.with_(landmarks=real_marks))
    assert found == ["ears", "ears", "eyes", "eyes", "lips", "nose", "nose"]


def test_a_library_is_looked_at_once(keeper: Head) -> None:
    first = LibrarySkin.of(keeper)
    assert LibrarySkin.of(keeper.with_(name="another", landmarks=None)) is first
    assert LibrarySkin.of(keeper.with_(neutral=keeper.neutral * 1.5)) is not first


def test_polygons_are_counted_once_each(keeper: Head) -> None:
    assert keeper.landmarks is not None
    library = LibrarySkin.of(keeper)
    names = library.place_names(keeper, keeper.landmarks)
    random = np.random.default_rng(3).random(library.skin.polygons.n_faces) < 0.3
    counts = counted_by_place(names, random)
    assert sum(counts.values()) == random.sum() and set(counts) == set(NAMES)


def test_the_bag_behind_the_lips_is_the_mouths_inside(keeper: Head) -> None:
    assert keeper.landmarks is not None
    library = LibrarySkin.of(keeper)
    at, polygons = library.surface.positions, library.skin.polygons
    chosen = library.place_names(keeper, keeper.landmarks) == INSIDE
    middle = np.add.reduceat(at[polygons.indices], polygons.starts[:-1]) / polygons.counts[:, None]
    line = keeper.landmarks.curve_positions("mouth_inner", keeper.neutral)
    assert chosen.sum() > 50 and (middle[chosen, 2] < line[:, 2].max()).all()
