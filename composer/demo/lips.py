"""Lips: movements of the rings about the mouth, column by column, each lip by itself.

A muscle's field is smooth in space and cannot part two lips that touch; the rings can. `LipMove` shifts a lip,
`LipRoll` turns its cross-section outwards or inwards about its border, `LipThin` presses its height towards the
line between the lips. Each fades towards the corner and, ring by ring, into the skin around.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from composer.demo.anatomy import MOUTH_COLUMNS, MOUTH_CORNER, Anatomy

Points = NDArray[np.float64]

_INNER = dict.fromkeys(("vermilion_outer", "vermilion_inner", "contact_front", "contact_middle", "contact_back"), 1.0)
MOVE_FADE = {
    "inner_lip": 1.0,
    **_INNER,
    "border": 1.0,
    "roll": 0.88,
    "skin_inner": 0.5,
    "skin_outer": 0.2,
    "surround": 0.05,
}
ROLL_FADE = {"inner_lip": 0.8, **_INNER, "border": 0.85, "roll": 0.55, "skin_inner": 0.12}
THIN_FADE = {**_INNER, "border": 1.0, "roll": 0.8, "skin_inner": 0.35, "skin_outer": 0.1}


@dataclass(frozen=True)
class LipMove:
    """One lip moves by `move_mm`; `power` tells how late it fades towards the corner (2 soon, 5 late)."""

    lip: Literal["upper", "lower", "both"]
    move_mm: tuple[float, float, float]
    power: float = 3.0


@dataclass(frozen=True)
class LipRoll:
    """One lip turns by `degrees` about its border, outwards where positive."""

    lip: Literal["upper", "lower"]
    degrees: float
    power: float = 4.0


@dataclass(frozen=True)
class LipThin:
    """The red of one lip or both loses `share` of its height towards the line between them, and swells by
    `swell_mm`.
    """

    lip: Literal["upper", "lower", "both"]
    share: float
    swell_mm: float = 0.0


LipMovement = LipMove | LipRoll | LipThin


def move_lips(anatomy: Anatomy, movements: Sequence[LipMovement], amount: float = 1.0) -> Points:
    """(n, 3) displacement in mm of the rings about the mouth, even to both sides, at `amount` of the movement."""
    total = np.zeros_like(anatomy.positions)
    for movement in movements:
        lips = ("upper", "lower") if movement.lip == "both" else (movement.lip,)
        for lip in lips:
            _add(anatomy, movement, lip, amount, total)
    return anatomy.both(total)


CONTACT = ("contact_front", "contact_middle", "contact_back")
SETTLE_FADE = {
    "inner_lip": 1.0,
    "vermilion_inner": 0.9,
    "vermilion_outer": 0.7,
    "border": 0.5,
    "roll": 0.36,
    "skin_inner": 0.18,
}
STICKY_MM = 0.7


def stiffen_contact(anatomy: Anatomy, moved: Points) -> Points:
    """(n, 3) the displacement with the whole depth of the contact moving as its front does, even to both sides.

    The two sheets of the contact then keep their shape, and lie on each other as they do at rest.
    """
    moved = moved.copy()
    front = anatomy.mouth["contact_front"]
    for name, share in (("contact_middle", 1.0), ("contact_back", 1.0), ("inner_lip", 1.0)):
        ring = anatomy.mouth[name]
        moved[ring] = share * moved[front] + (1 - share) * moved[ring]
    return anatomy.both(moved)


def settle_lips(anatomy: Anatomy, positions: Points) -> Points:
    """(n, 3) displacement that keeps the lips from entering each other, each giving way by half.

    Along each line of the contact the lower lip's height is held against the upper lip's at the same x: where it is
    nearer than at rest it is laid as it lay at rest; where the lips part by less than `STICKY_MM` they still hold
    together in part, as moist lips do at the corner of an opening mouth. Sideways the lips slide on each other. The
    red of the lips and the skin beside it follow by the share of their ring.
    """
    moved = np.zeros_like(positions)
    give: dict[str, tuple[Points, Points]] = {}
    for name in CONTACT:
        upper, lower = _lines(anatomy, name)
        give[name] = _give(anatomy, positions, upper, lower), _give(anatomy, positions, lower, upper)
        moved[upper[1:-1]], moved[lower[1:-1]] = give[name][0][1:-1], give[name][1][1:-1]
    for name, fade in SETTLE_FADE.items():
        upper, lower = _lines(anatomy, name)
        by = give["contact_back" if name == "inner_lip" else "contact_front"]
        moved[upper[1:-1]], moved[lower[1:-1]] = fade * by[0][1:-1], fade * by[1][1:-1]
    return moved


def _lines(anatomy: Anatomy, name: str) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """A ring's upper and lower line, (19,) each, from the right corner to the left one."""
    left = anatomy.mouth[name]
    right = anatomy.mirror[left]
    up, low = left[: MOUTH_CORNER + 1], left[: MOUTH_CORNER - 1 : -1]
    up_right, low_right = right[: MOUTH_CORNER + 1], right[: MOUTH_CORNER - 1 : -1]
    return np.concatenate([up_right[:0:-1], up]), np.concatenate([low_right[:0:-1], low])


def _give(anatomy: Anatomy, positions: Points, mine: NDArray[np.int64], other: NDArray[np.int64]) -> Points:
    """(19, 3) by how much one line gives way to the other."""
    rest, now = (_apart(p, mine, other) for p in (anatomy.positions, positions))
    opened = (now - rest)[:, 1] * np.sign(rest[MOUTH_CORNER, 1])
    hold = np.clip(1 - opened / (STICKY_MM * anatomy.scale), 0, 1)[:, None] ** 2
    return 0.5 * hold * (rest - now) * np.array([0.0, 1.0, 1.0])


def _apart(positions: Points, mine: NDArray[np.int64], other: NDArray[np.int64]) -> Points:
    """(19, 3) from the other line, at the same x, to mine."""
    p, q = positions[mine], positions[other]
    x = np.maximum.accumulate(q[:, 0])
    return np.stack([np.zeros(len(p)), *(p[:, k] - np.interp(p[:, 0], x, q[:, k]) for k in (1, 2))], axis=1)


SHORTEST = 0.45  # of its length at rest, the skin between nose and upper lip


def settle_upper_lip(anatomy: Anatomy, positions: Points) -> Points:
    """(n, 3) displacement that keeps the skin between nose and upper lip from folding over itself.

    Column by column, a lip that would rise too far is held, and the two rings between move by what lies between the
    movements of nose and lip, nearer to the nose's, to whose base the skin is tied. Even to both sides where
    the positions are.
    """
    moved = np.zeros_like(positions)
    up = np.arange(7)
    blend = np.clip((7 - up) / 3, 0, 1)[:, None]
    for flip in (1, -1):
        at = {n: (r if flip > 0 else anatomy.mirror[r])[up] for n, r in anatomy.mouth.items()}
        rest = anatomy.positions[at["surround"]] - anatomy.positions[at["roll"]]
        length = np.linalg.norm(rest, axis=1, keepdims=True)
        axis = rest / length
        now = np.einsum("ij,ij->i", positions[at["surround"]] - positions[at["roll"]], axis)[:, None]
        short = np.clip(SHORTEST * length - now, 0, None) * blend
        for name in ("inner_lip", *_INNER, "border", "roll"):
            moved[at[name]] = -short * axis
        top, low = (positions[at[n]] + moved[at[n]] - anatomy.positions[at[n]] for n in ("surround", "roll"))
        for name in ("skin_outer", "skin_inner"):
            here = anatomy.positions[at[name]]
            share = np.einsum("ij,ij->i", here - anatomy.positions[at["roll"]], axis)[:, None] / length
            even = here + low + np.clip(share, 0, 1) ** 0.5 * (top - low)
            moved[at[name]] = _along_ring(blend * (even - positions[at[name]]), positions[at[name]] - here)
    return moved


def _along_ring(change: Points, already: Points) -> Points:
    """(7, 3) a change that also evens the whole movement, `already` and it, from column to column; the ends stay."""
    whole = already + change
    even = whole.copy()
    even[1:-1] = 0.25 * whole[:-2] + 0.5 * whole[1:-1] + 0.25 * whole[2:]
    return even - already


def _add(anatomy: Anatomy, movement: LipMovement, lip: str, amount: float, total: Points) -> None:
    upper = lip == "upper"
    column = np.arange(MOUTH_COLUMNS)
    corner_share = 1.0 - np.abs(column - MOUTH_CORNER) / MOUTH_CORNER  # 0 at the midline, 1 at the corner
    on = (column < MOUTH_CORNER) if upper else (column > MOUTH_CORNER)
    fades = {LipMove: MOVE_FADE, LipRoll: ROLL_FADE, LipThin: THIN_FADE}[type(movement)]
    for name, fade in fades.items():
        if name not in anatomy.mouth:
            continue
        ring = anatomy.mouth[name]
        p = anatomy.positions[ring]
        if isinstance(movement, LipMove):
            weight = on * fade * (1 - corner_share**movement.power)
            d = weight[:, None] * np.array(movement.move_mm) * anatomy.scale
        elif isinstance(movement, LipRoll):
            weight = on * fade * (1 - corner_share**movement.power)
            d = _rolled(anatomy, p, weight * np.radians(movement.degrees) * amount * (1 if upper else -1)) / max(
                amount, 1e-9
            )
        else:
            weight = on * fade * (1 - corner_share**3)
            line = anatomy.positions[anatomy.mouth["contact_front"]]
            d = np.zeros_like(p)
            d[:, 1] = -movement.share * weight * (p[:, 1] - line[:, 1])
            visible = name.startswith("vermilion") or name == "border"
            d[:, 2] = movement.swell_mm * weight * anatomy.scale * (1.0 if visible else 0.3)
        d = np.where(on[:, None], d, 0.0)
        total[ring] += amount * d
    total[:, 0] = np.where(anatomy.mirror == np.arange(anatomy.n), 0.0, total[:, 0])


def _rolled(anatomy: Anatomy, p: Points, angle: NDArray[np.float64]) -> Points:
    """Displacement (19, 3) of a ring's points turned by `angle` (19,) about an axis along the lip under its border."""
    border = anatomy.positions[anatomy.mouth["border"]]
    along = np.gradient(border, axis=0)
    along[:, 1] = 0.0
    along[MOUTH_CORNER:] *= -1.0
    along[[0, -1]] = (1.0, 0.0, 0.0)
    along /= np.maximum(np.linalg.norm(along, axis=1, keepdims=True), 1e-9)
    pivot = border - np.array([0.0, 0.0, 1.5 * anatomy.scale])
    arm = p - pivot
    c, s = np.cos(angle)[:, None], np.sin(angle)[:, None]
    turned = arm * c + np.cross(along, arm) * s + along * (np.einsum("ij,ij->i", along, arm))[:, None] * (1 - c)
    return (turned - arm) * np.array([1.0, 1.0, 1.0])
