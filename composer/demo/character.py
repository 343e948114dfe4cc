"""Who a head of the demo is: the few numbers, in millimetres, from which its neutral is built.

The short film "The Tide Clock" has three heads. The keeper of the clock owns the library of expressions; the
ferrier and the bellringer are new heads to carry it to. All lengths in mm, angles in degrees; x is the subject's
left, y up, z forward, and the origin lies on the midline, level with the eyeball centres.
"""

from __future__ import annotations

from dataclasses import dataclass

from composer.demo.brows import Brow
from composer.errors import MoueError, nearest


@dataclass(frozen=True)
class Character:
    """Sizes and features of one head. Defaults are those of nobody: an average adult man."""

    name: str
    head_length: float = 199.5  # glabella to opisthocranion
    head_breadth: float = 154.3  # widest above the ears
    bizygomatic: float = 142.6  # zygion to zygion
    bigonial: float = 116.0  # jaw angle to jaw angle
    pupils_apart: float = 64.0  # eyeball centre to eyeball centre
    nose_breadth: float = 37.0  # ala to ala
    mouth_width: float = 52.0  # cheilion to cheilion
    face_stretch: float = 1.0  # length of the face below the eyes, 1 is the average
    vault_stretch: float = 1.0  # height of the skull above the brow, 1 is the average
    chin_drop: float = 0.0  # chin lower by
    chin_forward: float = 0.0
    nose_forward: float = 0.0  # tip further out
    nose_drop: float = 0.0  # tip hangs lower
    nose_hump: float = 0.0  # bridge raised half way down
    nose_bulb: float = 1.0  # size of the tip
    brow_forward: float = 0.0  # ridge over the eyes
    brow_drop: float = 0.0  # and lower
    cheek_forward: float = 0.0  # malar
    cheek_hollow: float = 0.0  # below it
    temple_hollow: float = 0.5
    fold: float = 0.8  # depth of the nasolabial fold
    jowl: float = 0.0  # heaviness beside the chin
    eye_bag: float = 0.0  # below the lower lid
    hood: float = 0.0  # 0 open fold, 1 the fold hangs over the outer half of the upper lid
    aperture: float = 1.0  # opening of the lids, 1 is the average
    lips: float = 1.0  # fullness
    lashes: float = 1.0  # length
    brow: Brow = Brow()
    neck: float = 1.0  # thickness
    ear: float = 1.0  # size
    weather: float = 0.0  # depth of wrinkles in the sculpt, 0 to 1
    seed: int = 1  # of the sculpt's own fine detail


KEEPER = Character(
    "keeper", head_length=201.0, head_breadth=155.0, bizygomatic=144.0, bigonial=127.0, nose_breadth=40.0,
    mouth_width=54.0, face_stretch=1.0, chin_drop=1.0, chin_forward=1.0, nose_forward=0.2, nose_drop=1.2, nose_hump=1.6,
    nose_bulb=1.08, brow_forward=5.0, brow_drop=1.8, cheek_forward=1.0, cheek_hollow=1.6, temple_hollow=1.0, fold=2.6,
    jowl=1.8, eye_bag=0.9, hood=0.75, aperture=0.9, lips=0.80, lashes=0.7,
    brow=Brow(strength=1.15, length=1.25, breadth=1.25, lift=0.8, line=(0.85, 1.0, 1.0)), neck=1.05, ear=1.10, weather=1.0, seed=11,
)  # fmt: skip
FERRIER = Character(
    "ferrier", head_length=190.0, head_breadth=164.0, bizygomatic=154.0, bigonial=132.0, nose_breadth=42.0,
    mouth_width=55.0, face_stretch=0.9, vault_stretch=0.92, chin_drop=-2.0, chin_forward=-1.0, nose_forward=-3.0,
    nose_drop=-1.5, nose_bulb=1.2, brow_forward=1.0, cheek_forward=3.5, cheek_hollow=-2.0, temple_hollow=0.0, fold=1.2,
    jowl=2.5, eye_bag=0.3, hood=0.2, aperture=1.0, lips=1.02, lashes=0.75, neck=1.12, ear=0.95, weather=0.3, seed=12,
)  # fmt: skip
BELLRINGER = Character(
    "bellringer", head_length=203.0, head_breadth=143.0, bizygomatic=130.0, bigonial=102.0, pupils_apart=62.0,
    nose_breadth=34.0, mouth_width=50.0, face_stretch=1.14, vault_stretch=1.08, chin_drop=3.0, chin_forward=1.0,
    nose_forward=1.0, nose_drop=0.4, nose_hump=0.3, nose_bulb=0.95, brow_forward=0.5, cheek_hollow=2.2,
    temple_hollow=2.0, fold=0.6, eye_bag=0.2, hood=0.0, aperture=1.08, lips=0.9, lashes=0.85, neck=0.9, ear=1.05,
    weather=0.15, seed=13,
)  # fmt: skip
CHARACTERS: dict[str, Character] = {c.name: c for c in (KEEPER, FERRIER, BELLRINGER)}


def character(name: str) -> Character:
    """The character of this name. Raises MoueError with the nearest names where there is none."""
    if name not in CHARACTERS:
        raise MoueError(f"no character is named {name!r}", hint=nearest(name, list(CHARACTERS)))
    return CHARACTERS[name]
