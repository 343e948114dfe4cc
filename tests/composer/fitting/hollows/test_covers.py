"""Caps, collars and hair on made heads are found and asked about; bald heads are left in peace."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from composer.fitting.chain import fit_head
from composer.fitting.fit_state import FitOptions
from composer.fitting.hollows.borders import cover_question
from composer.fitting.hollows.covers import Cover, covers
from composer.fitting.hollows.hollowness import ABOUT, hollowness
from composer.fitting.hollows.library import LibrarySkin
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface
from composer.head.landmarks import Landmarks
from tests.demo_heads import NAMES, neutral_head
from tests.worn_heads import cap, collar, hair, large_skull

Rows = np.ndarray
KEEPER = "keeper"


class Person:
    """A made head on the keeper's topology: its skin, and places of its face."""

    def __init__(self, name: str) -> None:
        head, library = neutral_head(name), neutral_head(KEEPER)
        assert library.landmarks is not None
        self.marks = library.landmarks
        self.library = LibrarySkin.of(library)
        self.places = self.library.places(library, self.marks)
        self.skin = self.library.surface.at(head.neutral[self.library.skin.vertices])
        self.brow, self.chin, neck, back = (
            np.asarray(self.marks.position(each, head.neutral))
            for each in ("glabella", "gnathion", "cervicale", "opisthocranion")
        )
        self.neck, self.nape = neck, np.array([0.0, 0.5 * (back[1] + self.brow[1]) - 10.0, back[2]])

    def worn(self, positions: Rows) -> list[Cover]:
        return covers(self.library, positions, np.ones(len(positions), dtype=bool), self.places)


@cache
def person(name: str) -> Person:
    return Person(name)


@pytest.mark.parametrize("name", NAMES)
def test_a_bare_head_and_a_large_bald_skull_wear_nothing(name: str) -> None:
    one = person(name)
    assert one.worn(one.skin.positions) == []
    for times in (1.3, 1.5):
        assert one.worn(large_skull(one.skin, one.brow, times)) == []


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("thick", [5.0, 10.0])
def test_a_smooth_cap_is_found_and_stands_out_by_its_thickness(name: str, thick: float) -> None:
    one = person(name)
    positions = cap(one.skin, one.brow, one.nape, thick)
    found = one.worn(positions)
    under = np.linalg.norm(positions - one.skin.positions, axis=1) > 0.5 * thick
    assert len(found) == 1 and found[0].flags[under].mean() > 0.97
    assert found[0].flags.sum() < 1.6 * under.sum()
    assert found[0].stands_mm == pytest.approx(thick, abs=1.5)
    said = cover_question(found[0], one.library.surface.positions, one.marks, neutral_head(KEEPER).neutral)
    assert "above the eyes" in said and "?" in said and f"by {found[0].stands_mm:.0f} mm" in said


@pytest.mark.parametrize(("name", "off_mm"), [("ferrier", 2.0), ("bellringer", 3.0)])
def test_a_collar_is_found_too(name: str, off_mm: float) -> None:
    """The second neck is old: its cords stand out by some millimetres, and so does the collar on them."""
    one = person(name)
    low = collar(one.skin, one.chin, one.neck, 10.0)
    under = np.linalg.norm(low - one.skin.positions, axis=1) > 5.0
    found = one.worn(low)
    assert len(found) == 1 and found[0].flags[under].mean() > 0.97
    assert found[0].stands_mm == pytest.approx(10.0, abs=off_mm)


def test_hair_is_found_too() -> None:
    one = person("bellringer")
    shell = hair(one.skin, one.brow, one.nape, 12.0, 3)
    under = np.linalg.norm(shell - one.skin.positions, axis=1) > 6.0
    found = one.worn(shell)
    assert len(found) == 1 and found[0].flags[under].mean() > 0.97
    assert found[0].stands_mm == pytest.approx(12.0, abs=2.0)


def test_a_fit_under_a_cap_has_the_librarys_skull_and_asks() -> None:
    one, head = person(KEEPER), neutral_head(KEEPER)
    assert head.landmarks is not None
    capped = cap(one.skin, one.brow, one.nape, 8.0)
    under = np.linalg.norm(capped - one.skin.positions, axis=1) > 4.0
    on_face = {
        name: tuple(map(float, np.asarray(head.landmarks.position(name, head.neutral))))
        for name in head.landmarks.points
        if name.startswith(("pronasale", "gnathion", "cheilion", "exocanthion", "tragion"))
    }
    marks = Landmarks(on_face, {})
    fitted = fit_head(head, capped, one.library.skin.polygons, head.landmarks, marks, FitOptions(up_to=0))
    off = np.linalg.norm(fitted.head.neutral[one.library.skin.vertices] - one.skin.positions, axis=1)
    assert off[under].mean() < 2.0  # the cap is 8 mm thick, and the head under it is the library's own
    assert any("a cap, hair, a collar?" in note for note in fitted.report.notes)
    assert fitted.report.not_followed["under hair, a hat or a collar"] >= 0.9 * under.sum()


def test_where_the_sculpt_shows_nothing_no_step_is_seen() -> None:
    one = person(KEEPER)
    positions = cap(one.skin, one.brow, one.nape, 8.0)
    assert covers(one.library, positions, np.zeros(len(positions), dtype=bool), one.places) == []


def test_the_hollowness_of_a_paraboloid_is_that_of_its_mean_curvature() -> None:
    """The mean of a smooth function f under heat of time t is f + t times its Laplacian (Evans 2010, "Partial
    differential equations", section 2.3); the position's Laplacian is twice the mean curvature along the normal."""
    side = np.linspace(-100.0, 100.0, 81)
    x, y = np.meshgrid(side, side, indexing="ij")
    i = np.arange(81 * 81).reshape(81, 81)
    quads = np.stack([i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]], axis=-1).reshape(-1, 4)
    bend = 1.0 / 400.0  # 1/mm, in both directions, hollow from above
    points = np.stack([x, y, 0.5 * bend * (x**2 + y**2)], axis=-1).reshape(-1, 3)
    bowl = Surface(Polygons(np.full(len(quads), 4), quads.ravel(), len(points)), points)
    width = ABOUT * bowl.diagonal_mm
    middle = hollowness(bowl)[i[40, 40]]
    assert abs(middle) == pytest.approx(0.5 * width**2 * 2.0 * bend / width, rel=0.05)
    assert np.sign(middle) == np.sign(bowl.vertex_normals[i[40, 40], 2])
