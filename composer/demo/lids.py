"""Lids: they turn about the eyeball's left-right axis and meet on a common line, so that they shut without a gap.

Where a lid is, is one number: the share u of the opening, 1 where the upper lid rests, 0 where the lower one does.
The upper lid starts at 1, the lower at 0; as they near each other both head for the line on which they meet, and
there they stop. Every column of the rings turns by the angle of its own margin, and the rings between margin and
orbit by a share of it. Turning keeps each vertex's distance from the eyeball's axis, so no lid enters the eye.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.demo.anatomy import EYE_COLUMNS, EYE_CORNER, MIRROR, Anatomy

Points = NDArray[np.float64]

MEET = 0.22  # where shut lids meet, in shares of the opening: the upper lid does most of the way
MEET_RISE = 0.30  # and how much higher towards the corners, so that the line runs into them
SHUT_MM = 0.01  # between shut margins: contact, without one surface in the other
UPPER_SHARE = {
    "margin_back": 1.0, "margin_middle": 1.0, "margin_front": 1.0, "edge": 1.0, "tarsal": 0.95, "crease": 0.8,
    "fold": 0.42,
    "middle": 0.14, "outer": 0.03, "conjunctiva": 0.9, "fornix": 0.65,
}  # fmt: skip
BEHIND = ("conjunctiva", "fornix")
TIED = np.array(
    [0.85, 0.85, 1, 1, 1, 1, 1, 1, 1, 0.95, 0.85]
)  # of what lies behind the lids, by column: bound to the corners
BEFORE_CORNER = np.array(
    [0.9, 1, 1, 1, 1, 1, 1, 1, 1, 0.95, 0.6]
)  # of the lids' edges, which crowd at the outer corner
LOWER_SHARE = {**UPPER_SHARE, "tarsal": 0.85, "crease": 0.6, "fold": 0.36, "middle": 0.16, "outer": 0.05}


@dataclass(frozen=True)
class LidPose:
    """Where one eye's lids are: `upper` and `lower` in shares of the opening, `follow_deg` the gaze's drop."""

    upper: float = 1.0
    lower: float = 0.0
    follow_deg: float = 0.0


class Lids:
    """The left eye's lids of a face; the right ones are their mirror image."""

    def __init__(self, anatomy: Anatomy) -> None:
        self.anatomy = anatomy
        self.up = np.arange(1, EYE_CORNER)
        self.low = EYE_COLUMNS - self.up
        margin = anatomy.positions[anatomy.eye["margin_middle"]] - anatomy.eyes[0]
        angle = np.arctan2(margin[:, 1], margin[:, 2])
        self.upper_angle, self.lower_angle = angle[self.up], angle[self.low]
        self.x = margin[self.up, 0]
        arch = np.sin(np.pi * self.up / EYE_CORNER)
        self.wide, self.follow, self.lift = arch**0.6, arch**1.2, arch**0.7
        self.meet = MEET + MEET_RISE * np.abs(2 * self.up / EYE_CORNER - 1) ** 2.5
        self.apart = SHUT_MM * anatomy.scale / np.hypot(margin[self.up, 1], margin[self.up, 2])

    def angles(self, pose: LidPose) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """(11,) turns in radians of the upper and the lower lid by column, upwards positive."""
        opening = self.upper_angle - self.lower_angle
        gap = max(pose.upper - pose.lower, 0.0)
        shut = float(np.clip(1 - gap, 0, 1)) ** 3
        squeezed = self.meet + 0.3 * max(pose.lower - MEET, 0.0) * self.lift
        low = (1 - shut) * pose.lower * self.lift + shut * squeezed
        wide = gap if gap <= 1 else 1 + (gap - 1) * self.wide
        drop = np.radians(pose.follow_deg) * self.follow * min(gap, 1.0)
        lower = self.lower_angle + low * opening - 0.45 * drop
        upper = np.maximum(self.lower_angle + (low + wide) * opening - 0.80 * drop, lower + self.apart)
        return upper - self.upper_angle, lower - self.lower_angle

    def turn(self, positions: Points, pose: LidPose, side: int) -> Points:
        """(n, 3) displacement of one side's lids (+1 left, -1 right) from `positions` (n, 3), which it keeps."""
        moved = np.zeros_like(positions)
        flip = np.ones(3) if side > 0 else MIRROR
        upper, lower = self.angles(pose)
        centre = self.anatomy.eyes[0]
        for name in UPPER_SHARE:
            if name not in self.anatomy.eye:
                continue
            ring = self.anatomy.eye[name] if side > 0 else self.anatomy.mirror[self.anatomy.eye[name]]
            for columns, angle, share in ((self.up, upper, UPPER_SHARE[name]), (self.low, lower, LOWER_SHARE[name])):
                at = ring[columns]
                arm = positions[at] * flip - centre
                tied = TIED if name in BEHIND else BEFORE_CORNER if name in ("edge", "tarsal") else 1.0
                moved[at] = turned_x(arm, share * tied * angle) * flip
        return moved

    def turn_lashes(self, points: Points, pose: LidPose, upper: bool) -> Points:
        """(m, 3) displacement of the left eye's lashes, which turn as the margin does at their own x."""
        up, low = self.angles(pose)
        arm = points - self.anatomy.eyes[0]
        return turned_x(arm, np.interp(arm[:, 0], self.x, up if upper else low))


def turned_x(arm: Points, angle: NDArray[np.float64]) -> Points:
    """(m, 3) what arms change by when turned about the x axis by `angle` (m,) radians, upwards at the front."""
    c, s = np.cos(angle), np.sin(angle)
    y = c * arm[:, 1] + s * arm[:, 2]
    z = c * arm[:, 2] - s * arm[:, 1]
    return np.stack([np.zeros(len(arm)), y - arm[:, 1], z - arm[:, 2]], axis=1)
