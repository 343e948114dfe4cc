"""Who a head of the demo is: the few numbers, in millimetres, from which its neutral is built.

The short film "The Tide Clock" has three heads. The keeper of the clock owns the library of expressions; the
ferrier and the bellringer are new heads to carry it to. All lengths in mm, angles in degrees; x is the subject's
left, y up, z forward, and the origin lies on the midline, level with the eyeball centres.
"""

from __future__ import annotations

from dataclasses import dataclass

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
    cheek_forward: float = 0.0  # malar
    cheek_hollow: float = 0.0  # below it
    temple_hollow: float = 0.5
    fold: float = 0.8  # depth of the nasolabial fold
    jowl: float = 0.0  # heaviness beside the chin
    eye_bag: float = 0.0  # below the lower lid
    hood: float = 0.0  # 0 open fold, 1 the fold hangs over the outer half of the upper lid
    aperture: float = 1.0  # opening of the lids, 1 is the average
    lips: float = 1.0  # fullness
    neck: float = 1.0  # thickness
    ear: float = 1.0  # size
    weather: float = 0.0  # depth of wrinkles in the sculpt, 0 to 1
    seed: int = 1  # of the sculpt's own fine detail


KEEPER = Character("keeper")
FERRIER = Character("ferrier")
BELLRINGER = Character("bellringer")
CHARACTERS: dict[str, Character] = {c.name: c for c in (KEEPER, FERRIER, BELLRINGER)}


def character(name: str) -> Character:
    """The character of this name. Raises MoueError with the nearest names where there is none."""
    if name not in CHARACTERS:
        raise MoueError(f"no character is named {name!r}", mend=nearest(name, list(CHARACTERS)))
    return CHARACTERS[name]
