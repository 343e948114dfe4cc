"""What moves together in a library whose places are known gets the places' names, and lies where they lie."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from composer.errors import MoueError
from composer.head.head import Head
from composer.head.presets import lay_regions, place_set
from composer.head.region_names import region_names
from composer.head.symmetry import mirror_of
from masks.from_displacement import MovingRegions, from_displacement
from masks.region_preset import SIDES
from tests.composer.demo.library_fixtures import face

COUNT = 16
RAMP_MM = 10.0
"""Ramps like those of the landmark regions that tell where a place is (5 to 16 mm), for it is places that are compared;
the library's own falloff would make them wider."""
PLACES = {
    "brow": ("brow_inner", "brow_outer", "forehead", "glabella"),
    "upper_lid": ("upper_lid",),
    "cheek": ("cheek", "cheekbone"),
    "nose": ("nose_tip", "nostril", "nose_bridge"),
    "mouth_corner": ("mouth_corner",),
    "jaw": ("jaw", "chin"),
}
"""What an artist expects of a library of action units, and the landmark regions that say where it is. A place may
come out in pieces, which then bear the names of its regions."""


@cache
def moving(name: str) -> tuple[Head, MovingRegions, dict[str, str]]:
    """A demo head, its regions found without landmarks, and their names."""
    head = face(name).head
    found = from_displacement(
        head.surface, [s.delta for s in head.shapes], COUNT, RAMP_MM, head.skin, mirror_of(head).partner
    )  # fmt: skip
    return head, found, region_names(head, found.masks)


@pytest.mark.parametrize("name", ["keeper", "ferrier"])
def test_the_regions_of_a_face_come_out_and_lie_where_landmarks_say(name: str) -> None:
    head, found, names = moving(name)
    laid = lay_regions(head, place_set()).masks
    area = head.surface.mass
    by_name = {names[key]: mask for key, mask in found.masks.items()}
    moves = np.sum(list(found.masks.values()), axis=0)  # a cheekbone that nothing moves has no region to be in
    for place, parts in PLACES.items():
        for side in SIDES if place not in ("nose", "jaw") else ("",):
            pieces = [by_name[one + side] for one in {place, *parts} if one + side in by_name]
            assert pieces, (place + side, sorted(by_name))
            ends = (side, "") if side else (*SIDES, "")
            there = np.minimum(np.sum([laid[p + e] for p in parts for e in ends if p + e in laid], axis=0), 1.0)
            there, mask = there * moves, np.sum(pieces, axis=0)
            shared = float(np.minimum(mask, there) @ area)
            inside, covered = shared / float(mask @ area), shared / float(there @ area)
            assert inside * covered > 0.5**2, (place + side, inside, covered)


@pytest.mark.parametrize("name", ["keeper", "ferrier"])
def test_names_are_given_once_and_left_mirrors_right(name: str) -> None:
    head, found, names = moving(name)
    assert list(names) == list(found.masks) and len(set(names.values())) == len(names)
    partner = mirror_of(head).partner
    for key, given in names.items():
        if given.endswith(SIDES[0]):
            other = next(k for k, v in names.items() if v == given.removesuffix(SIDES[0]) + SIDES[1])
            assert np.array_equal(found.masks[key][partner], found.masks[other])
            assert head.neutral[found.seeds[key], 0] > 0 > head.neutral[found.seeds[other], 0]


def test_a_preset_region_gets_its_own_name() -> None:
    head = face("keeper").head
    laid = lay_regions(head, place_set()).masks
    assert region_names(head, {f"x_{i}": mask for i, mask in enumerate(laid.values())}) == {
        f"x_{i}": name for i, name in enumerate(laid)
    }


def test_without_landmarks_numbers_stay_and_what_does_not_fit_is_refused() -> None:
    head, found, _ = moving("keeper")
    bare = head.with_(landmarks=None)
    assert region_names(bare, found.masks) == {name: name for name in found.masks}
    assert region_names(head, {}) == {}
    assert region_names(head, {"none": np.zeros(head.n_vertices)}) == {"none": "none"}
    with pytest.raises(MoueError, match="'short' has 3 weights"):
        region_names(head, {"short": np.ones(3)})
