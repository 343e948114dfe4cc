"""Gaze: eyeballs turn about their centres, the lids follow them up and down, and the cornea pushes the lids out."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.demo.anatomy import Anatomy

Points = NDArray[np.float64]

GAZE_DEG = {"left": 28.0, "right": 28.0, "up": 22.0, "down": 28.0}
CLEARANCE_MM = 0.25
"""Least distance between a lid and the eyeball, mm (our choice)."""


def rotation(left_deg: float, up_deg: float) -> NDArray[np.float64]:
    """(3, 3) the turn of an eyeball that looks to the subject's left and up: first up, then left (Fick's order)."""
    a, b = np.radians(left_deg), np.radians(up_deg)
    about_y = np.array([[np.cos(a), 0, np.sin(a)], [0, 1, 0], [-np.sin(a), 0, np.cos(a)]])
    about_x = np.array([[1, 0, 0], [0, np.cos(b), np.sin(b)], [0, -np.sin(b), np.cos(b)]])
    return about_y @ about_x


def turn_eyes(anatomy: Anatomy, left_deg: float, up_deg: float) -> Points:
    """(n, 3) displacement of both eyeballs."""
    moved = np.zeros_like(anatomy.positions)
    turn = rotation(left_deg, up_deg)
    for name, centre in (("eye_left", anatomy.eyes[0]), ("eye_right", anatomy.eyes[1])):
        if name in anatomy.parts:
            arm = anatomy.positions[anatomy.parts[name]] - centre
            moved[anatomy.parts[name]] = arm @ turn.T - arm
    return moved


class Cornea:
    """How far an eyeball's surface lies from its centre, by the angle from its axis of sight."""

    def __init__(self, anatomy: Anatomy) -> None:
        from scipy.interpolate import PchipInterpolator

        arm = anatomy.positions[anatomy.parts["eye_left"]] - anatomy.eyes[0]
        reach = np.linalg.norm(arm, axis=1)
        self._radius = float(np.percentile(reach, 30))
        angle = np.degrees(np.arccos(np.clip(arm[:, 2] / np.maximum(reach, 1e-9), -1, 1)))
        bins = np.arange(0, 61, 4.0)
        most = [max(reach[np.abs(angle - b) <= 3].max(initial=0.0), self._radius) for b in bins]
        self._profile = PchipInterpolator(bins, most)

    def radius(self, angle_deg: NDArray[np.float64]) -> NDArray[np.float64]:
        """(m,) mm from the centre to the surface."""
        return np.where(angle_deg < 60, self._profile(np.minimum(angle_deg, 60.0)), self._radius)

    def push(self, anatomy: Anatomy, positions: Points, left_deg: float, up_deg: float) -> Points:
        """(n, 3) displacement that keeps every lid vertex `CLEARANCE_MM` outside the turned eyeball.

        Only a vertex that is nearer than it was at rest, and nearer than the clearance, moves; it moves outwards.
        """
        moved = np.zeros_like(positions)
        sight = rotation(left_deg, up_deg)[:, 2]
        rings = np.concatenate([ring for name, ring in anatomy.eye.items() if name not in ("orbit", "outer")])
        for ids, centre in ((rings, anatomy.eyes[0]), (anatomy.mirror[rings], anatomy.eyes[1])):
            at = np.unique(ids)
            arm = positions[at] - centre
            length = np.linalg.norm(arm, axis=1)
            angle = np.degrees(np.arccos(np.clip(arm @ sight / length, -1, 1)))
            rest = np.linalg.norm(anatomy.positions[at] - centre, axis=1)
            least = np.maximum(self.radius(angle) + CLEARANCE_MM * anatomy.scale, np.minimum(rest, 0))
            short = np.clip(least - length, 0.0, None)
            moved[at] = arm / length[:, None] * short[:, None]
        return moved
