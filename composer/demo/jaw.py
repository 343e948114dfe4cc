"""Jaw: a hinge through the two joints before the ears, with a smooth weight for what the mandible carries.

The mandible drops by turning about the axis and, as the joint's head slides on its eminence, glides a little
forward; it also shifts to a side and thrusts forward. Lower teeth and tongue follow rigidly. The skin's weight is 1
on the chin and the lower lip, 0 above the upper lip, and in between the smoothest field over the cage (the square of
the graph Laplacian, minimal); on the mouth's rings it is given column by column, so that the opening is an oval.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.demo.anatomy import MOUTH_COLUMNS, MOUTH_CORNER, Anatomy, smoothstep

Points = NDArray[np.float64]

CORNER = 0.42  # how much of the jaw's turn the corner of the mouth takes
GLIDE_MM_PER_DEG = 0.10


@dataclass(frozen=True)
class JawPose:
    """Where the mandible is: `open_deg` about the hinge, and shifts in mm of the average face."""

    open_deg: float = 0.0
    left_mm: float = 0.0
    forward_mm: float = 0.0


class Jaw:
    """The hinge and the weights of one face. `origin` (3,) lies on the axis at the midline; the axis is x."""

    def __init__(self, anatomy: Anatomy) -> None:
        self.anatomy = anatomy
        self.origin = anatomy.hinge
        self.weight = self._weights()
        self.rigid = np.concatenate([at for name, at in anatomy.parts.items() if anatomy.follows.get(name) == "jaw"])

    def move(self, positions: Points, pose: JawPose) -> Points:
        """(n, 3) displacement of a face whose vertices are at `positions` (n, 3): weighted turn, then the shifts."""
        return self._moved(positions, self.weight, pose)

    def _moved(self, points: Points, weight: NDArray[np.float64], pose: JawPose) -> Points:
        s = self.anatomy.scale
        a = np.radians(pose.open_deg) * weight
        arm = points - self.origin
        c, n = np.cos(a), np.sin(a)
        y = c * arm[:, 1] - n * arm[:, 2]
        z = n * arm[:, 1] + c * arm[:, 2]
        moved = np.stack([np.zeros(len(points)), y - arm[:, 1], z - arm[:, 2]], axis=1)
        glide = pose.forward_mm + GLIDE_MM_PER_DEG * max(pose.open_deg, 0.0)
        return moved + weight[:, None] * np.array([pose.left_mm, 0.0, glide]) * s

    def _weights(self) -> NDArray[np.float64]:
        """(n,) in [0, 1]."""
        import scipy.sparse as sp
        import scipy.sparse.linalg as spl

        anatomy = self.anatomy
        fixed = self._given()
        skin = np.flatnonzero(anatomy.skin)
        adjacency = anatomy.polygons.adjacency[skin][:, skin].astype(float)
        walk = sp.diags(1 / np.maximum(np.asarray(adjacency.sum(1)).ravel(), 1)) @ adjacency
        laplacian = sp.eye(len(skin)) - walk
        bending = (laplacian.T @ laplacian).tocsr()
        value = fixed[skin]
        known = ~np.isnan(value)
        free = np.flatnonzero(~known)
        right = -(bending[free][:, np.flatnonzero(known)] @ value[known])
        value[free] = spl.spsolve((bending[free][:, free] + 1e-9 * sp.eye(len(free))).tocsc(), right)
        weight = np.zeros(anatomy.n)
        weight[skin] = np.clip(value, 0, 1)
        for name, at in anatomy.parts.items():
            if anatomy.follows.get(name) == "jaw":
                weight[at] = 1.0
        return 0.5 * (weight + weight[anatomy.mirror])

    def _given(self) -> NDArray[np.float64]:
        """(n,) weights where they are prescribed, nan elsewhere."""
        anatomy = self.anatomy
        at, s = anatomy.at, anatomy.scale
        x, y, z = np.abs(anatomy.positions[:, 0]), anatomy.positions[:, 1], anatomy.positions[:, 2]
        w = np.full(anatomy.n, np.nan)
        chin, gonion = at("gnathion"), at("gonion")
        w[y > at("alare", (0, 2, 0))[1]] = 0.0
        w[anatomy.ears] = 0.0
        w[(y < chin[1] - 36 * s) | (z < gonion[2] - 22 * s)] = 0.0
        lip = at("sublabiale")[1]
        w[(y < lip - 4 * s) & (y > chin[1] - 3 * s) & (z > chin[2] - 16 * s) & (x < 22 * s)] = 1.0
        along = np.clip((x - 22 * s) / (gonion[0] - 22 * s), 0, 1)
        rim = (np.abs(y - (chin[1] + (gonion[1] - chin[1]) * along)) < 7 * s) & (x > 22 * s) & (z > gonion[2] + 18 * s)
        w[rim & anatomy.outer] = (1 - 0.72 * along[rim & anatomy.outer]) if rim.any() else 0.0
        profile = self.lip_profile()
        for name, ring in anatomy.mouth.items():
            if name in ("surround", "skin_outer", "pouch", "bag", "throat"):
                continue
            w[ring] = w[anatomy.mirror[ring]] = profile
        column = np.arange(MOUTH_COLUMNS)
        floor = smoothstep(column.astype(float), MOUTH_CORNER - 1.5, MOUTH_CORNER + 3.0)
        for name, share in (("pouch", 1.0), ("bag", 1.0), ("throat", 0.9)):
            ring = anatomy.mouth[name]
            w[ring] = w[anatomy.mirror[ring]] = share * floor
        return w

    @staticmethod
    def lip_profile() -> NDArray[np.float64]:
        """(19,) weight along a ring of the mouth: 0 on the upper lip, CORNER at the corner, 1 on the lower lip."""
        column = np.arange(MOUTH_COLUMNS)
        t = np.where(column <= MOUTH_CORNER, column, MOUTH_COLUMNS - 1 - column) / MOUTH_CORNER
        oval = 1 - np.clip(1 - t**2.2, 0, 1) ** 0.62
        return np.where(column <= MOUTH_CORNER, CORNER * oval, 1 - (1 - CORNER) * oval)
