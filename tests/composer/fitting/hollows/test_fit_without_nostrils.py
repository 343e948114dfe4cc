"""A real sculpt whose nostrils are filled, as scans and busts have them: the nose comes out whole."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import cKDTree

from composer.fitting.align import Pairs
from composer.fitting.chain import FittedHead, fit_head
from composer.fitting.fill import fill
from composer.fitting.fit_state import FitOptions
from composer.fitting.hollows.library import LibrarySkin
from composer.fitting.hollows.mended import LET_GO, let_go_words
from composer.fitting.hollows.places import PLACES
from composer.fitting.hollows.visibility import visibility
from composer.fitting.loops import Loops
from composer.fitting.rays import SculptRays
from composer.formats.sculpt_mesh import read_sculpt_mesh
from composer.geometry.surface import Surface
from composer.head.head import Head
from composer.head.landmarks import Landmarks
from tests.real_library import UNIT_MM, real_folder

NOSE = PLACES.index("nose")


@pytest.fixture(scope="module")
def head(real_head: Head, real_marks: Landmarks) -> Head:
    return real_head.with_(shapes=(), landmarks=real_marks)


@pytest.fixture(scope="module")
def fitted(head: Head) -> FittedHead:
    """The library on the second sculpt, whose nostrils are closed by a membrane from their rims."""
    truth = np.load(real_folder() / "truth.npz")
    mesh = read_sculpt_mesh(real_folder() / "sculpt_2.ply", "cm")
    surface = Surface(mesh.polygons, mesh.positions * UNIT_MM)
    library, true = LibrarySkin.of(head), truth["sculpt_2"] * UNIT_MM
    places = library.places(head, head.landmarks or Landmarks({}, {}))
    inside = [library.skin.vertices[p] for p in library.cavities.pieces if places[p][0] == NOSE]
    known = np.concatenate(inside)
    near = np.flatnonzero(cKDTree(true[known[known < len(true)]]).query(surface.positions)[0] < 6.0)
    seen = visibility(
        SculptRays(surface.positions, surface.triangles), surface.positions[near], surface.vertex_normals[near],
        surface.diagonal_mm, 64,
    )  # fmt: skip
    missing = np.zeros(surface.n_vertices, dtype=bool)
    missing[near[seen < 0.35]] = True
    missing = Loops(mesh.polygons, surface.positions).grown(missing, 3)
    assert missing.sum() > 200
    filled = fill(surface, surface.positions, missing, 2.0)
    at = truth["sculpt_2_landmarks"] * UNIT_MM
    names = {int(v): name for name, v in (head.landmarks or Landmarks({}, {})).points.items() if isinstance(v, int)}
    points = zip(truth["landmarks68"], at, strict=True)
    marks = Landmarks({names[int(v)]: (float(p[0]), float(p[1]), float(p[2])) for v, p in points}, {})
    return fit_head(head, filled, mesh.polygons, head.landmarks or marks, marks, FitOptions(up_to=0))


def test_nothing_crosses_at_nose_ears_and_eyes(fitted: FittedHead) -> None:
    sound = fitted.report.sound
    assert [sound.crossing[place] for place in ("nose", "ears", "eyes")] == [0, 0, 0]
    assert sound.crossing["lips"] <= 84  # as the true head of that sculpt has, all places together
    assert not sound.inside_out and not sound.many
    assert fitted.report.reversed_faces == fitted.report.folded_faces == 0


def test_nostrils_lie_inside_the_nose_in_the_library_s_form(fitted: FittedHead, head: Head) -> None:
    library = LibrarySkin.of(head)
    places = library.places(head, head.landmarks or Landmarks({}, {}))
    for piece in library.cavities.pieces:
        if places[piece][0] != NOSE:
            continue
        at = fitted.head.neutral[library.skin.vertices[library.cavities.deep(piece)]]
        found = fitted.sculpt.surface.closest(at)
        depth = -((at - found.points) * found.normal).sum(axis=1)
        assert np.median(depth) > 3.0 and (depth > 0.3).mean() > 0.9  # mm behind the membrane


def test_a_landmark_that_gave_way_is_asked_about() -> None:
    at = np.array([[0.0, 0.0, 0.0], [5.0, 0.0, 0.0], [9.0, 0.0, 0.0]])
    places = at + [[0.1, 0, 0], [3.0, 0, 0], [7.0, 0, 0]]
    pairs = Pairs(("near", "far", "elsewhere"), at, places, np.array([0, 1, -1]), {})
    words = let_go_words(pairs, at, np.array([True, True, True]), 400.0)
    assert LET_GO * 400.0 < 3.0 and len(words) == 1 and "far" in words[0] and words[0].count("?") == 1
    assert let_go_words(pairs, at, np.zeros(3, dtype=bool), 400.0) == []
