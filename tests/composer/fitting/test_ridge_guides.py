"""Rims of the ears as guides: planted shifts of a made head's ears are found, and nothing is drawn where no ear is."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.demo.character import character
from composer.demo.neutral import build_neutral
from composer.fitting.closest import ClosestSurface
from composer.fitting.hollows.library import LibrarySkin
from composer.fitting.hollows.places import ELSEWHERE, PLACES
from composer.fitting.ridge_guides import GUIDING, LibraryRims, guided
from composer.geometry.rigid import Similarity
from composer.head.head import Head

NONE = np.zeros((0, 3))


@pytest.fixture(scope="module")
def keeper() -> Head:
    return build_neutral(character("keeper")).head()


@pytest.fixture(scope="module")
def library(keeper: Head) -> LibrarySkin:
    return LibrarySkin.of(keeper)


@pytest.fixture(scope="module")
def names(keeper: Head, library: LibrarySkin) -> NDArray[np.str_]:
    assert keeper.landmarks is not None
    return np.array((*PLACES, ELSEWHERE))[library.places(keeper, keeper.landmarks)]


@pytest.fixture(scope="module")
def open_(library: LibrarySkin) -> NDArray[np.bool_]:
    return library.cavities.visibility > 0.3


def planted(library: LibrarySkin, names: NDArray[np.str_], shift: NDArray[np.float64]) -> NDArray[np.float64]:
    """The skin, (s, 3) mm, bent by a smooth map that moves the ears by `shift` (3,) mm and little else."""
    at = library.surface.positions
    away = cKDTree(at[names == "ears"]).query(at)[0]
    return at + np.exp(-0.5 * (away / 12.0) ** 2)[:, None] * shift


def drawn(library, names, open_, sculpt, marks=NONE):  # type: ignore[no-untyped-def]
    triangles = library.skin.polygons.triangles
    start = library.surface.positions
    return guided(
        library.surface, names, open_, start, ClosestSurface(sculpt, triangles), marks, library.surface.diagonal_mm
    )


@pytest.mark.parametrize("shift", [(0.0, 3.0, 0.0), (0.0, -2.0, 2.0)])
def test_rims_go_to_where_a_planted_map_has_them(library, names, open_, shift) -> None:  # type: ignore[no-untyped-def]
    true = planted(library, names, np.array(shift))
    at, said = drawn(library, names, open_, true)
    lines = LibraryRims.of(library.surface, names, open_ & np.isin(names, GUIDING)).lines
    along = lines.along(lines.at(true))
    way = [lines.at(true - there) for there in (library.surface.positions, at)]
    off = [np.linalg.norm(each - along * (each * along).sum(1)[:, None], axis=1).mean() for each in way]
    assert off[0] > 1.5 and off[1] < 0.5 * off[0]  # mm, across the lines: along them nothing is drawn
    np.testing.assert_allclose(at[names == "lips"], library.surface.positions[names == "lips"], atol=0.05)
    assert "ears' rims guide" in said


def test_ears_in_their_place_stay_and_a_head_without_ears_draws_nothing(library, names, open_) -> None:  # type: ignore[no-untyped-def]
    at, said = drawn(library, names, open_, library.surface.positions)
    moved = np.linalg.norm(at - library.surface.positions, axis=1)[names == "ears"]
    assert moved.mean() < 0.05 and np.quantile(moved, 0.95) < 0.25  # mm: normals and the cut edge differ a little
    ball = trimesh.creation.icosphere(subdivisions=4, radius=100.0)
    middle = library.surface.positions.mean(axis=0)
    sculpt = ClosestSurface(np.asarray(ball.vertices) + middle, np.asarray(ball.faces))
    start = library.surface.positions
    at, said = guided(library.surface, names, open_, start, sculpt, NONE, library.surface.diagonal_mm)
    assert np.array_equal(at, start) and "no clear rim" in said


def test_a_moved_turned_and_larger_sculpt_gives_the_moved_answer(library, names, open_) -> None:  # type: ignore[no-untyped-def]
    true = planted(library, names, np.array([0.0, 2.0, 1.0]))
    at, _ = drawn(library, names, open_, true)
    turn = trimesh.transformations.random_rotation_matrix(np.random.default_rng(4).random(3))[:3, :3]
    move = Similarity(turn, np.array([30.0, -200.0, 8.0]), 1.7)
    triangles, start = library.skin.polygons.triangles, move(library.surface.positions)
    moved, _ = guided(
        library.surface, names, open_, start, ClosestSurface(move(true), triangles), NONE,
        1.7 * library.surface.diagonal_mm,
    )  # fmt: skip
    np.testing.assert_allclose(moved, move(at), atol=1e-3)


def test_a_landmark_on_the_rim_holds_it(library, names, open_) -> None:  # type: ignore[no-untyped-def]
    true = planted(library, names, np.array([0.0, 3.0, 0.0]))
    lines = LibraryRims.of(library.surface, names, open_ & np.isin(names, GUIDING)).lines
    marked = np.unique(lines.ends)[::3]
    start = library.surface.positions
    free, _ = drawn(library, names, open_, true)
    held, _ = drawn(library, names, open_, true, start[marked])
    moved, less = (np.linalg.norm(there[marked] - start[marked], axis=1).mean() for there in (free, held))
    assert less < 0.75 * moved
