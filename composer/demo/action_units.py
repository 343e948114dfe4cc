"""Action units: what each muscle group of the face does, after the Facial Action Coding System.

The muscle named beside each unit is that of PMC7264164, table 1. Places are landmarks with offsets in mm of the
average adult; lengths are in mm. A unit of two sides is split into `NAME_left` and `NAME_right` by a ramp of
`split_mm` to either side of the midline, so that both together are the whole movement.
"""

from __future__ import annotations

from dataclasses import dataclass

from composer.demo.lips import LipMove, LipMovement, LipRoll, LipThin
from composer.demo.muscles import Fold, Muscle, Pad, Pull, Sphincter

O = (0.0, 0.0, 0.0)  # noqa: E741


@dataclass(frozen=True)
class ActionUnit:
    """One unit: `muscles` of the flesh, `lips`, what it adds to the lids (in shares of the opening) and to the jaw.

    `sided` units come as a left and a right shape; `split_mm` is half the width of the ramp between them.
    """

    name: str
    muscles: tuple[Muscle, ...] = ()
    lips: tuple[LipMovement, ...] = ()
    upper_lid: float = 0.0
    lower_lid: float = 0.0
    jaw_deg: float = 0.0
    jaw_left_mm: float = 0.0
    jaw_forward_mm: float = 0.0
    sided: bool = True
    split_mm: float = 9.0


NASOLABIAL = (
    ("alare", (2.5, 5.0, -3.0)),
    ("alare", (7.0, -6.0, -4.0)),
    ("cheilion", (7.5, 9.0, 0.0)),
    ("cheilion", (10.0, 0.0, -2.0)),
)

ACTION_UNITS: tuple[ActionUnit, ...] = (
    # frontalis, medial part
    ActionUnit("au01", (
        Pad(("brow_head", (0.0, 1.0, 0.0)), (-0.8, 9.5, 0.0), (10.0, 20.0, 22.0), 0.8, below=9.0),
        Pad(("brow_head", (8.0, 4.0, 0.0)), (-0.4, 2.4, 0.0), (10.0, 18.0, 22.0), 0.4, below=8.0),
    ), upper_lid=0.05, split_mm=7.0),
    # frontalis, lateral part
    ActionUnit("au02", (
        Pad(("brow_arch", (2.0, 1.0, 0.0)), (0.4, 9.5, 0.0), (12.0, 20.0, 24.0), 0.8, below=9.0),
        Pad(("brow_tail", (-3.0, 3.0, 0.0)), (0.6, 3.0, 0.0), (8.0, 14.0, 20.0), below=8.0),
        Pad(("brow_body", (0.0, 0.0, 0.0)), (0.0, 1.8, 0.0), (10.0, 16.0, 20.0), below=8.0),
    ), upper_lid=0.06, split_mm=7.0),
    # corrugator supercilii, depressor supercilii, procerus
    ActionUnit("au04", (
        Pad(("brow_head", (0.0, 0.0, 0.0)), (-3.8, -6.2, 0.0), (10.0, 10.0, 20.0), 2.2, below=8.0),
        Pad(("brow_body", (-2.0, 0.0, 0.0)), (-3.0, -5.2, 0.0), (11.0, 10.0, 20.0), 1.6, below=8.0),
        Pad(("brow_arch", (4.0, 0.0, 0.0)), (-1.4, -3.0, 0.0), (12.0, 10.0, 18.0), 0.5, below=8.0),
        Pad(("sellion", (0.0, 9.0, 0.0)), (0.0, -2.4, 0.0), (7.0, 8.0, 14.0), 0.4),
        Pad(("brow_body", (-1.0, 11.0, 0.0)), (0.0, 0.0, 0.0), (9.0, 5.5, 14.0), -1.4),
    ), upper_lid=-0.10, split_mm=6.0),
    # levator palpebrae superioris
    ActionUnit("au05", (Pad(("eye", (0.0, 11.0, 11.0)), (0.0, 1.4, 0.0), (13.0, 4.0, 9.0)),), upper_lid=0.40),
    # orbicularis oculi, orbital part
    ActionUnit("au06", (
        Pad(("orbitale", (7.0, -10.0, 2.0)), (-0.6, 5.6, 0.0), (15.0, 11.0, 18.0), 4.0),
        Pad(("exocanthion", (9.0, -1.0, -3.0)), (-2.6, -0.4, 0.0), (8.0, 10.0, 14.0), 0.5),
        Pad(("brow_tail", (-5.0, 3.0, 0.0)), (-0.5, -2.2, 0.0), (9.0, 8.0, 14.0), below=7.0),
        Fold((("endocanthion", (3.0, -8.0, 2.0)), ("orbitale", (-2.0, 4.0, 2.0)),
            ("exocanthion", (1.0, -9.0, 0.0))), 0.9, 3.6,
             0.8, (0.0, -1.0, 0.0)),
    ), upper_lid=-0.16, lower_lid=0.24),
    # orbicularis oculi, palpebral part
    ActionUnit("au07", (
        Pad(("eye", (0.0, -11.0, 10.0)), (0.0, 1.8, 0.0), (13.0, 5.0, 10.0), 0.7),
        Pad(("exocanthion", (6.0, 0.0, -2.0)), (-1.0, 0.0, 0.0), (6.0, 6.0, 10.0)),
    ), upper_lid=-0.24, lower_lid=0.36),
    # levator labii superioris alaeque nasi
    ActionUnit("au09", (
        Pad(("alare", (1.5, 4.0, -2.0)), (1.4, 6.4, 0.0), (7.0, 10.0, 12.0), 1.8),
        Pad(("sellion", (7.0, -12.0, -4.0)), (-0.4, 3.0, 0.0), (6.0, 9.0, 10.0), 1.5),
        Pad(("crista_philtri", (7.0, 0.0, -2.0)), (0.3, 3.2, 0.0), (8.0, 9.0, 14.0),
            0.6, lip="upper", within="upper_lip"),
        Pad(("brow_head", (0.0, 0.0, 0.0)), (-1.6, -3.6, 0.0), (10.0, 10.0, 18.0), 0.6, below=8.0),
        Pad(("orbitale", (-6.0, -4.0, 2.0)), (-0.8, 2.6, 0.0), (10.0, 9.0, 14.0), 1.0),
        Pad(("pronasale", (0.0, 0.0, 0.0)), (0.0, 0.9, 0.0), (6.0, 7.0, 10.0)),
        Fold(NASOLABIAL[:3], 1.8, 4.2, 1.3),
    ), upper_lid=-0.12, lower_lid=0.16, split_mm=7.0),
    # levator labii superioris
    ActionUnit("au10", (
        Pad(("crista_philtri", (7.0, -3.0, -2.0)), (0.6, 4.6, 0.0), (8.5, 9.0, 16.0),
            0.9, lip="upper", within="upper_lip"),
        Pad(("alare", (2.0, 0.0, -2.0)), (0.9, 2.2, 0.0), (8.0, 9.0, 12.0), 0.4),
        Pad(("orbitale", (0.0, -12.0, 2.0)), (0.0, 2.4, 0.0), (11.0, 10.0, 16.0), 1.5),
        Fold(NASOLABIAL[:3], 1.8, 4.2, 1.6),
    ), lower_lid=0.06, split_mm=9.0),
    # zygomaticus major
    ActionUnit("au12", (
        Pull(("zygion", (-3.0, -8.0, 8.0)), ("cheilion", O), 9.0, 46.0, 0.95, 1.62, bow=1.5),
        Pad(("cheilion", (-1.0, 0.0, 0.0)), (3.4, 3.8, 0.0), (10.0, 9.0, 16.0), -0.4),
        Pad(("orbitale", (5.0, -13.0, 2.0)), (0.2, 4.2, 0.0), (13.0, 9.5, 18.0), 5.2),
        Pad(("alare", (1.0, 0.0, -2.0)), (1.6, 0.8, 0.0), (6.0, 7.0, 10.0)),
        Pad(("cheilion", (9.5, 8.0, -2.0)), (0.0, 0.0, 0.0), (7.0, 10.0, 14.0), 3.0),
        Pad(("cheilion", (18.0, 8.0, -10.0)), (0.0, 0.8, 0.0), (10.0, 13.0, 14.0), 3.4),
        Fold(NASOLABIAL, 2.8, 4.0, 2.2),
    ), lips=(LipMove("upper", (0.0, -0.4, -0.8), 2.0), LipMove("lower", (0.0, 0.4, -0.8), 2.0), LipThin("both", 0.12)),
        upper_lid=-0.03, lower_lid=0.12, split_mm=13.0),
    # levator anguli oris
    ActionUnit("au13", (
        Pad(("cheilion", (0.0, 1.0, 0.0)), (-0.3, 7.0, 0.0), (7.0, 6.5, 14.0), -0.6),
        Pad(("cheilion", (8.0, 18.0, 0.0)), (0.0, 2.0, 0.0), (8.0, 9.0, 14.0), 2.2),
        Fold(NASOLABIAL[1:], 1.0, 4.2, 0.6),
    ), split_mm=11.0),
    # buccinator
    ActionUnit("au14", (
        Pad(("cheilion", (0.0, 0.0, 0.0)), (6.8, 0.9, 0.0), (9.0, 8.0, 14.0), -1.0),
        Pad(("cheilion", (8.0, 1.0, -3.0)), (-0.6, 0.0, 0.0), (5.0, 7.0, 10.0), 1.6),
        Pad(("cheilion", (2.5, 0.5, -1.0)), (0.0, 0.0, 0.0), (2.8, 4.0, 8.0), -2.2),
    ), split_mm=11.0),
    # depressor anguli oris
    ActionUnit("au15", (
        Pad(("cheilion", (0.0, 0.0, 0.0)), (1.2, -7.6, 0.0), (8.0, 8.0, 16.0), -0.3),
        Pad(("cheilion", (4.0, -13.0, -2.0)), (0.0, -2.4, 0.0), (8.0, 9.0, 14.0), 1.6),
        Fold((("cheilion", (6.0, 4.0, 0.0)), ("cheilion", (7.5, -6.0, 0.0)), ("cheilion", (4.0, -16.0, 0.0))),
            1.3, 4.0, 0.8),
    ), split_mm=11.0),
    # depressor labii inferioris
    ActionUnit("au16", (
        Pad(("labiale_inferius", (9.0, 2.0, -2.0)), (0.9, -5.8, 0.0), (10.0, 9.0, 16.0), 0.4, lip="lower"),
        Pad(("sublabiale", (10.0, -3.0, -3.0)), (0.5, -1.6, 0.0), (9.0, 7.0, 14.0), 0.8, lip="lower"),
    ), split_mm=8.0),
    # mentalis
    ActionUnit("au17", (
        Pad(("pogonion", (0.0, 1.0, 0.0)), (0.0, 3.4, 0.0), (13.0, 9.0, 18.0), 1.2),
        Pad(("stomion", (0.0, -5.0, 0.0)), (0.0, 1.9, 0.0), (11.0, 8.0, 16.0)),
        Pad(("stomion", (0.0, 1.0, 0.0)), (0.0, 0.8, 0.0), (12.0, 7.0, 16.0)),
        Pad(("sublabiale", (0.0, -1.0, 0.0)), (0.0, 0.0, 0.0), (11.0, 3.5, 12.0), -0.9),
    ), lips=(LipMove("both", (0.0, 0.8, 1.4), 2.0), LipRoll("lower", 12.0)), sided=False),
    # incisivii labii superioris and inferioris
    ActionUnit("au18", (
        Sphincter(("stomion", (0.0, 0.0, 0.0)), (66.0, 40.0), 0.74, 0.0, 8.0),
        Pad(("cheilion", (12.0, 0.0, -8.0)), (0.0, 0.0, 0.0), (9.0, 14.0, 12.0), -2.2),
    ), lips=(LipMove("upper", (0.0, 1.1, 3.6), 2.0), LipMove("lower", (0.0, -1.3, 3.2), 2.0), LipRoll("upper", 16.0),
             LipRoll("lower", 16.0)), sided=False),
    # risorius and platysma
    ActionUnit("au20", (
        Pad(("cheilion", (0.0, -1.0, 0.0)), (8.4, -2.6, 0.0), (12.0, 11.0, 16.0), -0.4),
        Pad(("cheilion", (12.0, -3.0, -5.0)), (2.5, -1.5, 0.0), (10.0, 12.0, 14.0), 1.2),
        Pad(("gonion", (-22.0, -12.0, 20.0)), (0.0, -1.0, 0.0), (9.0, 16.0, 16.0), 1.4),
    ), lips=(LipMove("lower", (0.0, -0.8, -0.6), 2.0), LipThin("both", 0.16)), split_mm=13.0),
    # orbicularis oris
    ActionUnit("au22", (Sphincter(("stomion", O), (44.0, 34.0), 0.30, 0.0, 5.0),), lips=(
        LipMove("upper", (0.0, 3.0, 2.4), 2.5), LipMove("lower", (0.0, -3.6, 2.4), 2.5), LipRoll("upper", 24.0),
            LipRoll("lower", 24.0),
    ), sided=False),
    ActionUnit("au23", (Sphincter(("stomion", O), (38.0, 26.0), 0.16, 0.06, 0.4),),
        lips=(LipThin("both", 0.28, 0.2),), sided=False),
    ActionUnit("au24", (
        Sphincter(("stomion", O), (38.0, 24.0), 0.08, 0.0, 0.0),
        Pad(("stomion", (0.0, 12.0, 0.0)), (0.0, -1.2, 0.0), (16.0, 6.0, 14.0), 1.0),
        Pad(("stomion", (0.0, -13.0, 0.0)), (0.0, 1.6, 0.0), (16.0, 6.0, 14.0), 1.3),
        Pad(("cheilion", (4.0, 0.0, -1.0)), (0.0, 0.0, 0.0), (4.0, 6.0, 9.0), 0.9),
    ), lips=(LipThin("both", 0.32, 0.4),), sided=False),
    # depressor labii inferioris, or relaxed mentalis and orbicularis oris
    ActionUnit("au25", lips=(LipMove("upper", (0.0, 1.5, 0.3), 3.0), LipMove("lower", (0.0, -3.4, 0.2), 3.0)),
        sided=False),
    # masseter, temporalis and pterygoids relaxed
    ActionUnit("au26", jaw_deg=12.0, sided=False),
    # pterygoids, digastric
    ActionUnit("au27", (
        Pad(("cheilion", (1.0, 0.0, 0.0)), (-3.4, 0.0, 0.0), (9.0, 14.0, 16.0)),
        Pad(("cheilion", (14.0, 0.0, -10.0)), (0.0, 0.0, 0.0), (10.0, 18.0, 14.0), -2.0),
    ), jaw_deg=24.0, sided=False),
    # orbicularis oris: both lips drawn over the teeth
    ActionUnit("au28", (
        Pad(("stomion", (0.0, -16.0, 0.0)), (0.0, 1.6, 0.0), (15.0, 7.0, 14.0), 0.8),
    ), lips=(LipThin("both", 0.56, -0.8), LipMove("both", (0.0, 0.0, -0.8), 1.6)), sided=False),
    # buccinator lets the breath puff the cheeks
    ActionUnit("au34", (
        Pad(("cheilion", (15.0, 1.0, -8.0)), (1.0, 0.0, 0.0), (14.0, 16.0, 18.0), 8.0),
        Pad(("stomion", (0.0, 13.0, 0.0)), (0.0, 0.0, 0.0), (18.0, 6.0, 14.0), 1.6),
        Pad(("stomion", (0.0, -15.0, 0.0)), (0.0, 0.0, 0.0), (18.0, 7.0, 14.0), 1.6),
    ), lips=(LipThin("both", 0.18),), sided=True, split_mm=10.0),
    # levator palpebrae relaxed, orbicularis oculi
    ActionUnit("au43", (Pad(("brow_body", (0.0, 0.0, 0.0)), (0.0, -0.9, 0.0), (14.0, 8.0, 14.0)),),
        upper_lid=-0.78, lower_lid=0.22),
    ActionUnit("jaw_left", jaw_left_mm=5.0, sided=False),
    ActionUnit("jaw_right", jaw_left_mm=-5.0, sided=False),
    ActionUnit("jaw_forward", jaw_forward_mm=6.0, sided=False),
)  # fmt: skip

BY_NAME: dict[str, ActionUnit] = {unit.name: unit for unit in ACTION_UNITS}
GAZES = ("gaze_left", "gaze_right", "gaze_up", "gaze_down")


def unit_names() -> tuple[str, ...]:
    """Every shape of the units in order: left and right where there are two, then the four gazes."""
    names: list[str] = []
    for unit in ACTION_UNITS:
        names += [f"{unit.name}_left", f"{unit.name}_right"] if unit.sided else [unit.name]
    return (*names, *GAZES)
