"""Each action unit moves what its muscle moves, the way it pulls, and leaves the rest alone.

Muscles after PMC7264164, table 1; what each does to the face after FACS (Ekman and Friesen 1978, from memory):
1 and 2 raise the inner and outer brow, 4 lowers and draws it in, 5 raises the upper lid, 6 raises the cheek, 7 and
43 close the lids, 9 and 10 raise nose and upper lip, 12 and 13 raise the corner, 14 tucks it, 15 and 20 lower and
stretch it, 16 lowers the lower lip, 17 raises the chin, 18 and 22 bring the lips forward, 26 and 27 drop the jaw.
"""

from __future__ import annotations

import numpy as np
import pytest

from composer.demo.action_units import unit_names
from composer.errors import MoueError
from tests.composer.demo.library_fixtures import NAMES, face

# unit, landmark, the way it must go (x to the subject's left, y up, z forward), and at least how far, mm of an
# average face
MOVES = [
    ("au01_left", "brow_head", (0, 1, 0), 5.0), ("au02_left", "brow_arch", (0, 1, 0), 5.0),
    ("au04_left", "brow_head", (-0.6, -1, 0), 4.0), ("au05_left", "palpebrale_superius", (0, 1, 0), 1.5),
    ("au06_left", "cheek", (0, 1, 0), 1.5), ("au07_left", "palpebrale_inferius", (0, 1, 0), 1.0),
    ("au09_left", "alare", (0, 1, 0), 2.0), ("au10_left", "crista_philtri", (0, 1, 0), 1.0),
    ("au12_left", "cheilion", (0.6, 1, 0), 7.0), ("au13_left", "cheilion", (0, 1, 0), 4.0),
    ("au14_left", "cheilion", (1, 0, -0.5), 2.0), ("au15_left", "cheilion", (0, -1, 0), 5.0),
    ("au16_left", "labiale_inferius", (0, -1, 0), 1.5), ("au17", "pogonion", (0, 1, 0), 2.0),
    ("au18", "cheilion", (-1, 0, 0.3), 6.0), ("au20_left", "cheilion", (1, -0.2, 0), 4.5),
    ("au22", "labiale_superius", (0, 0.2, 1), 3.0), ("au25", "labiale_inferius", (0, -1, 0), 2.0),
    ("au26", "gnathion", (0, -1, -0.6), 12.0), ("au27", "gnathion", (0, -1, -0.6), 22.0),
    ("au43_left", "palpebrale_superius", (0, -1, 0), 5.0), ("jaw_left", "gnathion", (1, 0, 0), 3.5),
    ("jaw_forward", "gnathion", (0, 0, 1), 4.5),
]  # fmt: skip

# units of the upper face leave the lower face alone, and the other way about
UPPER = ("au01", "au02", "au04", "au05", "au07", "au43")
LOWER = ("au14", "au15", "au16", "au17", "au18", "au20", "au22", "au23", "au24", "au25", "au26", "au28")


def moved_at(name: str, unit: str, landmark: str) -> np.ndarray:
    subject = face(name)
    place = subject.anatomy.points[landmark]
    nearest = np.argmin(np.linalg.norm(subject.anatomy.positions - place, axis=1) + 1e3 * ~subject.anatomy.skin)
    return subject.head.shape(unit).delta[nearest] / subject.anatomy.scale


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(("unit", "landmark", "way", "least"), MOVES, ids=[m[0] for m in MOVES])
def test_a_unit_moves_its_landmark_its_way(name: str, unit: str, landmark: str, way: tuple, least: float) -> None:
    moved = moved_at(name, unit, landmark)
    along = float(moved @ np.array(way) / np.linalg.norm(way))
    room = (
        0.45 if landmark in ("crista_philtri", "pogonion", "alare") else 0.75
    )  # some faces have less room than the average
    assert along >= least * (1.0 if name == "keeper" else room)
    assert along >= 0.6 * np.linalg.norm(moved)


@pytest.mark.parametrize("name", NAMES)
def test_units_of_one_half_of_the_face_leave_the_other_alone(name: str) -> None:
    subject = face(name)
    y = subject.head.neutral[:, 1]
    mouth, brow = subject.anatomy.points["subnasale"][1], subject.anatomy.points["brow_body"][1]
    for shape in subject.head.shapes:
        unit = shape.name.removesuffix("_left").removesuffix("_right")
        size = np.linalg.norm(shape.delta, axis=1)
        if unit in UPPER:
            assert size[y < mouth].max() < 0.25, shape.name
        if unit in LOWER:
            assert size[y > brow].max() < 0.25, shape.name


@pytest.mark.parametrize("name", NAMES)
def test_a_unit_of_one_side_leaves_the_other_side_alone(name: str) -> None:
    subject = face(name)
    far = subject.head.neutral[:, 0] < -20 * subject.anatomy.scale
    for shape in subject.head.shapes:
        if shape.name.startswith("au") and shape.name.endswith("_left"):
            size = np.linalg.norm(shape.delta, axis=1)
            assert size[far].max() < 0.05 * size.max(), shape.name


def test_ears_scalp_and_neck_border_never_move_by_units() -> None:
    subject = face("keeper")
    polygons = subject.neutral.polygons
    still = subject.anatomy.ears.copy()
    border = np.unique(polygons.edges[np.bincount(polygons.corner_edge, minlength=len(polygons.edges)) == 1])
    still[border[subject.anatomy.skin[border]]] = True
    for name in unit_names():
        assert np.abs(subject.head.shape(name).delta[still]).max() < 0.3, name


def test_units_add_up_to_a_smile() -> None:
    subject = face("keeper")
    total = sum(subject.head.shape(f"{unit}_{side}").delta for unit in ("au06", "au12") for side in ("left", "right"))
    corner, middle = subject.anatomy.mouth["contact_front"][9], subject.anatomy.mouth["contact_front"][0]
    assert total[corner, 1] - total[middle, 1] > 5.0
    assert total[corner, 0] > 4.0
    assert total[subject.anatomy.eye["margin_front"][18], 1] > 0.8
    together = (
        subject.posing.pose({f"{u}_{s}": 1.0 for u in ("au06", "au12") for s in ("left", "right")})
        - subject.head.neutral
    )
    assert np.linalg.norm(together - total, axis=1)[subject.anatomy.outer].max() < 1.0


def test_the_list_has_what_was_promised() -> None:
    names = unit_names()
    assert len(names) == len(set(names))
    assert {"au01_left", "au43_right", "au26", "jaw_forward", "gaze_down"} <= set(names)
    assert len({n.removesuffix("_left").removesuffix("_right") for n in names if n.startswith("au")}) >= 24


def test_an_unknown_unit_is_refused_by_name() -> None:
    with pytest.raises(MoueError, match="au12_left"):
        face("keeper").posing.pose({"au12_lef": 1.0})
