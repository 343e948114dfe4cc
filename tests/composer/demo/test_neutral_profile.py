"""The heads in profile against norms of adult faces: angles of nose, lip and chin, and the lips before the line from
nose to chin. Bands are two standard deviations about the mean unless another is given. The numbers are from memory.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from composer.head.levels import levels
from tests.composer.demo.neutral_heads import NAMES, neutral, skin_polygons


@cache
def marks(name: str) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """The landmarks (y, z) in mm on the skin at level 1, and the midline (k, 2) of its front."""
    base = neutral(name)
    points = base.positions[: base.n_skin]
    middle = np.isin(np.arange(base.n_skin), base.landmarks.curves["midline_front"]).astype(float)
    for step in levels(skin_polygons(base), 1):
        points, middle = step.apply(points), step.apply(middle)
    at = {mark: points[vertex, 1:] for mark, vertex in base.landmarks.points.items()}
    return at, points[(np.abs(points[:, 0]) < 1e-6) & (middle > 0.1), 1:]


def angle(a: np.ndarray, b: np.ndarray, c: np.ndarray) -> float:
    u, v = a - b, c - b
    return float(np.degrees(np.arccos(u @ v / np.linalg.norm(u) / np.linalg.norm(v))))


def ahead(p: np.ndarray, above: np.ndarray, below: np.ndarray) -> float:
    """How far (y, z) lies before the line between two points, mm."""
    along = (below - above) / np.linalg.norm(below - above)
    return float((p - above) @ np.array([along[1], -along[0]]) * np.sign(-along[0]))


def columella(name: str) -> np.ndarray:
    """The lowest place of the midline between the base of the nose and its tip."""
    at, middle = marks(name)
    base = at["subnasale"]
    under = middle[(middle[:, 1] > base[1] + 3) & (middle[:, 1] < base[1] + 9) & (middle[:, 0] > base[0] - 6)]
    under = under[under[:, 0] < at["pronasale"][0] - 4]
    return under[np.argmin(under[:, 0])]


@pytest.mark.parametrize("name", NAMES)
def test_angles_of_the_profile_are_those_of_adult_men(name: str) -> None:
    at, _ = marks(name)
    found = {
        # Farkas 1994, Anthropometry of the Head and Face, young adult men: 130.3 +- 7.4
        "nasofrontal": (angle(at["glabella"], at["sellion"], at["pronasale"]), 115.5, 145.1),
        # the same: 99.8 +- 11.8
        "nasolabial": (angle(columella(name), at["subnasale"], at["labiale_superius"]), 76.2, 123.4),
        # the same: 113.5 +- 20.7
        "mentolabial": (angle(at["labiale_inferius"], at["sublabiale"], at["pogonion"]), 72.1, 154.9),
        # Legan and Burstone 1980, Soft tissue cephalometric analysis for orthognathic surgery: 12 +- 4
        "convexity": (180 - angle(at["glabella"], at["subnasale"], at["pogonion"]), 4.0, 20.0),
    }
    assert not {what: round(v, 1) for what, (v, low, high) in found.items() if not low <= v <= high}


@pytest.mark.parametrize("name", NAMES)
def test_lips_stand_where_they_do_beside_nose_and_chin(name: str) -> None:
    at, middle = marks(name)

    def lip(low: np.ndarray, high: np.ndarray, above: str, below: str) -> float:
        on = middle[(middle[:, 0] > low[0] - 0.3) & (middle[:, 0] < high[0] + 0.3) & (middle[:, 1] > low[1] - 4)]
        return max(ahead(p, at[above], at[below]) for p in on)

    upper, lower = (at["stomion"], at["labiale_superius"]), (at["labiale_inferius"], at["stomion"])
    found = {
        # Ricketts 1968, Esthetics, environment, and the law of lip relation: adults about 4 and 2 mm behind the line
        # from nose to chin, +- 3
        "upper lip, line to the nose": (lip(*upper, "pronasale", "pogonion"), -7.0, -1.0),
        "lower lip, line to the nose": (lip(*lower, "pronasale", "pogonion"), -5.0, 1.0),
        # Burstone 1967, Lip posture and its significance in treatment planning: 3.5 +- 1.4 and 2.2 +- 1.6
        "upper lip, line to subnasale": (lip(*upper, "subnasale", "pogonion"), 0.7, 6.3),
        "lower lip, line to subnasale": (lip(*lower, "subnasale", "pogonion"), -1.0, 5.4),
        # Farkas 1994, young adult men: sn-prn 19.5 +- 1.9, sn-sto 22.3 +- 2.1, ls-sto 8.0 +- 1.4
        "nose out": (float(np.linalg.norm(at["pronasale"] - at["subnasale"])), 15.7, 23.3),
        "upper lip": (float(at["subnasale"][0] - at["stomion"][0]), 18.1, 26.5),
        "its red": (float(at["labiale_superius"][0] - at["stomion"][0]), 5.2, 10.8),
    }
    assert not {what: round(v, 1) for what, (v, low, high) in found.items() if not low <= v <= high}


def test_the_three_heads_are_three_people() -> None:
    # what tells faces apart at a glance: features differ by more than a standard deviation of adult men (ANSUR II 2012:
    # bizygomatic breadth 6.2, sellion to menton 6.7, head breadth 5.5; eye length 1.2, Farkas 1994; both from memory)
    def eye(name: str) -> np.ndarray:
        at = {mark: neutral(name).positions[v] for mark, v in neutral(name).landmarks.points.items()}
        return at["exocanthion_left"] - at["endocanthion_left"]

    lengths = sorted(np.linalg.norm(eye(name)) for name in NAMES)
    tilts = sorted(np.degrees(np.arctan2(eye(name)[1], eye(name)[0])) for name in NAMES)
    assert lengths[-1] - lengths[0] > 1.2 and np.diff(tilts).min() > 1.0
    broad = {name: neutral(name).positions[neutral(name).landmarks.points["zygion_left"], 0] for name in NAMES}
    assert 2 * (broad["ferrier"] - broad["bellringer"]) > 6.2
