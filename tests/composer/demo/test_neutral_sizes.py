"""The heads' main sizes against tables of adults. Source beside each check."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from composer.head.levels import levels
from tests.composer.demo.neutral_heads import neutral, skin_polygons


def fine(name: str) -> np.ndarray:
    base = neutral(name)
    points = base.positions[: base.n_skin]
    for step in levels(skin_polygons(base), 2):
        points = step.apply(points)
    return points


def between(name: str, one: str, other: str) -> float:
    base = neutral(name)
    at = [base.positions[base.landmarks.points[mark]] for mark in (one, other)]
    return float(np.linalg.norm(at[0] - at[1]))


def breadth(name: str) -> float:
    """Widest above the ears, of the fine surface."""
    base, points = neutral(name), fine(name)
    above = points[:, 1] > base.positions[base.landmarks.points["superaurale_left"], 1] + 3
    return 2 * float(points[above, 0].max())


def circumference(name: str) -> float:
    """Length of the tape round glabella and opisthocranion: the hull of what lies within 1.5 mm of their plane."""
    base, points = neutral(name), fine(name)
    front, back = (base.positions[base.landmarks.points[mark]] for mark in ("glabella", "opisthocranion"))
    along = (front - back) / np.linalg.norm(front - back)
    up = np.array([0, along[2], -along[1]])
    near = points[np.abs((points - front) @ up) < 1.5]
    flat = np.stack([near[:, 0], near @ along], axis=1)
    return float(ConvexHull(flat).area)  # of a flat hull, its perimeter


def test_keeper_is_within_one_deviation_of_adult_men() -> None:
    # ANSUR II, 2012 (men, n = 4,082): mean and standard deviation in mm, from the public data
    table = {
        "head circumference": (circumference("keeper"), 574.4, 16.0),
        "head length": (between("keeper", "glabella", "opisthocranion"), 199.5, 7.0),
        "head breadth": (breadth("keeper"), 154.3, 5.5),
        "bizygomatic breadth": (between("keeper", "zygion_left", "zygion_right"), 142.6, 6.2),
        "menton to sellion": (between("keeper", "sellion", "gnathion"), 122.6, 6.7),
        "interpupillary breadth": (2 * float(neutral("keeper").eye_left[0]), 64.0, 3.4),
    }
    off = {what: round(size, 1) for what, (size, mean, sd) in table.items() if abs(size - mean) > sd}
    assert not off


@pytest.mark.parametrize(
    ("one", "other", "mean", "band"),
    [
        # Farkas 1994, young adult men (from memory, hence two deviations of about 2.5 to 3 mm)
        ("endocanthion_left", "endocanthion_right", 33.3, 5.4),
        ("exocanthion_left", "exocanthion_right", 91.2, 6.0),
        ("cheilion_left", "cheilion_right", 54.5, 6.0),
        # NIOSH 2003, men, mean nose breadth 36.6 (Zhuang and Bradtmiller 2005, from memory); his nose is broad
        ("alare_left", "alare_right", 36.6, 6.0),
    ],
)
def test_keepers_features_are_within_the_usual_range(one: str, other: str, mean: float, band: float) -> None:
    assert abs(between("keeper", one, other) - mean) < band


def test_ferrier_is_round_and_short_and_bellringer_long_and_thin() -> None:
    def ratio(name: str) -> float:
        return between(name, "sellion", "gnathion") / between(name, "zygion_left", "zygion_right")

    assert ratio("ferrier") < ratio("keeper") - 0.08
    assert ratio("bellringer") > ratio("keeper") + 0.08
    assert breadth("ferrier") > breadth("keeper") > breadth("bellringer")
