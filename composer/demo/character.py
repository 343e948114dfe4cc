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
    eye_length: float = 28.7  # along the lids from corner to corner
    eye_tilt: float = 5.2  # outer corner higher, degrees
    lid_slack: float = 0.0  # the lower lid hangs by
    hood: float = 0.0  # 0 open fold, 1 the fold hangs over the outer half of the upper lid
    aperture: float = 1.0  # opening of the lids, 1 is the average
    lips: float = 1.0  # fullness
    lashes: float = 1.0  # length
    brow: Brow = Brow()
    neck: float = 1.0  # thickness
    flesh: float = 0.0  # under the skin of cheeks, chin and neck
    forehead: float = 0.0  # further out
    ear: float = 1.0  # size
    ear_flare: float = 17.0  # from the head, degrees
    age: float = 0.0  # hollows, folds and cords that come with it, 0 to 1
    weather: float = 0.0  # depth of wrinkles in the sculpt, 0 to 1
    seed: int = 1  # of the sculpt's own fine detail


KEEPER = Character(
    "keeper", head_length=201.0, head_breadth=155.0, bizygomatic=144.0, bigonial=125.0, nose_breadth=39.0,
    mouth_width=54.0, face_stretch=1.0, chin_drop=1.0, chin_forward=1.0, nose_forward=0.2, nose_drop=1.2, nose_hump=1.6,
    nose_bulb=1.08, brow_forward=5.0, brow_drop=1.8, cheek_forward=1.0, cheek_hollow=1.6, temple_hollow=1.0, fold=2.6,
    jowl=1.6, eye_bag=0.9, eye_length=30.2, eye_tilt=3.4, hood=0.75, aperture=0.9, lips=0.80, lashes=0.7,
    brow=Brow(strength=1.15, length=1.25, breadth=1.25, lift=0.8, line=(0.85, 1.0, 1.0)), neck=1.06, ear=1.08,
    weather=1.0, seed=11,
)  # fmt: skip
FERRIER = Character(
    "ferrier", head_length=192.0, head_breadth=164.0, bizygomatic=154.0, bigonial=134.0, pupils_apart=65.0,
    nose_breadth=43.0, mouth_width=56.0, face_stretch=0.93, vault_stretch=0.95, chin_drop=-2.0, chin_forward=-1.0,
    nose_forward=-2.0, nose_drop=-1.0, nose_bulb=1.16, brow_forward=2.0, cheek_forward=3.5, cheek_hollow=-2.5,
    temple_hollow=0.0, fold=1.2, jowl=2.5, eye_bag=0.3, eye_length=29.4, eye_tilt=5.4, hood=0.25, aperture=0.96,
    lips=1.02, lashes=0.85, brow=Brow(strength=1.25, length=1.1, breadth=1.2, lift=0.6, line=(0.95, 0.9, 0.7)),
    neck=1.2, flesh=2.0, forehead=2.0, ear=1.0, ear_flare=19.0, weather=0.3, seed=12,
)  # fmt: skip
BELLRINGER = Character(
    "bellringer", head_length=201.0, head_breadth=146.0, bizygomatic=132.0, bigonial=104.0, pupils_apart=62.0,
    nose_breadth=36.0, mouth_width=51.0, face_stretch=1.11, vault_stretch=1.03, chin_drop=2.5, chin_forward=2.0,
    nose_forward=1.4, nose_drop=2.6, nose_hump=1.0, nose_bulb=1.02, brow_forward=2.0, brow_drop=1.0, cheek_hollow=3.0,
    temple_hollow=3.0, fold=4.0, jowl=3.2, eye_bag=1.7, eye_length=28.4, eye_tilt=1.6, lid_slack=0.8, hood=1.0,
    aperture=0.88, lips=0.74, lashes=0.6,
    brow=Brow(strength=0.9, length=1.4, breadth=1.05, lift=1.3, line=(0.75, 1.05, 1.3)), neck=0.95, forehead=-3.0,
    ear=1.14, ear_flare=19.0, age=1.0, weather=0.9, seed=13,
)  # fmt: skip
CHARACTERS: dict[str, Character] = {c.name: c for c in (KEEPER, FERRIER, BELLRINGER)}


def character(name: str) -> Character:
    """The character of this name. Raises MoueError with the nearest names where there is none."""
    if name not in CHARACTERS:
        raise MoueError(f"no character is named {name!r}", hint=nearest(name, list(CHARACTERS)))
    return CHARACTERS[name]
