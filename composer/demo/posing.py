"""Posing: a face at any mixture of action units, as flesh would take it.

Muscles' displacements add up and slide along the face; the lids are then put where the sum of all units says and
turned about the eyeballs; last the jaw turns what it carries. The mouth's interior, the sockets' depth, lashes and
teeth follow. Because lids and jaw are turned once, at the sum, shut lids stay shut in every mixture.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from composer.demo.action_units import ACTION_UNITS, BY_NAME, ActionUnit, unit_names
from composer.demo.anatomy import MIRROR, Anatomy
from composer.demo.gaze import GAZE_DEG, Cornea, turn_eyes
from composer.demo.hair_on_skin import HairOnSkin
from composer.demo.jaw import Jaw, JawPose
from composer.demo.lids import LidPose, Lids
from composer.demo.lips import move_lips, settle_lips, settle_upper_lip, stiffen_contact
from composer.demo.muscles import Slide, displace
from composer.errors import unknown
from composer.geometry.surface import Surface

if TYPE_CHECKING:
    import scipy.sparse as sp
    import scipy.sparse.linalg as spl

Points = NDArray[np.float64]

# how much of the flesh's movement the rings of the lids feel; the lids themselves move only by turning
FLESH = {"orbit": 1.0, "outer": 1.0, "middle": 0.85, "fold": 0.5, "crease": 0.15, "tarsal": 0.03}


class Posing:
    """What is prepared once for a face, and `pose`, which gives its vertices at weights of shapes."""

    def __init__(self, anatomy: Anatomy) -> None:
        self.anatomy = anatomy
        self.surface = Surface(anatomy.polygons, anatomy.positions)
        self.slide = Slide(anatomy, self.surface.vertex_normals)
        self.lids, self.jaw, self.cornea = Lids(anatomy), Jaw(anatomy), Cornea(anatomy)
        self.hair = HairOnSkin(anatomy)
        self._made: dict[tuple[str, float], Points] = {}

    @cached_property
    def _at_rest(self) -> tuple[NDArray[np.float64], Points]:
        """The neutral's heights (n,) over the smoothed face in mm, and their directions (n, 3)."""
        return self.slide.height(self.anatomy.positions)

    @cached_property
    def normals(self) -> Points:
        """(n, 3) directions in which flesh stands out: those of the smoothed face."""
        return self.anatomy.both(self._at_rest[1])

    @cached_property
    def flesh_share(self) -> NDArray[np.float64]:
        """(n,) how far a vertex feels the muscles: 1 on the face, 0 on ears, lids, sockets, parts and the mouth's
        back.
        """
        anatomy = self.anatomy
        share = anatomy.outer.astype(float)
        for name, ring in anatomy.mouth.items():
            if name not in ("vestibule", "pouch", "bag", "throat"):
                share[ring] = share[anatomy.mirror[ring]] = 1.0
        for name, ring in anatomy.eye.items():
            share[ring] = share[anatomy.mirror[ring]] = FLESH.get(name, 0.0)
        share[anatomy.nostril] = share[anatomy.mirror[anatomy.nostril]] = 1.0
        share[anatomy.ears] = 0.0
        return share

    def flesh(self, unit: ActionUnit, amount: float = 1.0) -> Points:
        """(n, 3) even displacement of a unit's flesh and lips in mm at `amount`, lids and jaw left out."""
        key = (unit.name, amount)
        if key not in self._made:
            self._made[key] = self._flesh(unit, amount)
        return self._made[key]

    def _flesh(self, unit: ActionUnit, amount: float) -> Points:
        anatomy = self.anatomy
        along, out = displace(anatomy, unit.muscles, self.normals, amount, self.flesh_share > 0)
        along *= self.flesh_share[:, None]
        moving = anatomy.left[np.linalg.norm(along[anatomy.left], axis=1) > 0.02]
        if len(moving):  # the right half is made of the left one below
            along[moving] = self.slide(anatomy.positions[moving], along[moving], self._at_rest[0][moving])
        moved = along + out * self.flesh_share[:, None] + move_lips(anatomy, unit.lips, amount)
        moved = stiffen_contact(anatomy, moved)
        moved += settle_lips(anatomy, anatomy.positions + moved)
        stiff = moved[anatomy.nostril].mean(0)
        moved[anatomy.nostril] = stiff + 0.08 * (moved[anatomy.nostril] - stiff)
        moved = self._eased(anatomy.both(moved))
        return anatomy.both(self._follow(moved))

    def _eased(self, moved: Points) -> Points:
        """The displacement between the nostrils' stiff loops and the upper lip evened out, so that skin does not
        pile up.
        """
        at, around = self._sill
        moved = moved.copy()
        for _ in range(8):
            moved[at] = around @ moved
        return moved

    @cached_property
    def _sill(self) -> tuple[NDArray[np.int64], sp.csr_matrix]:
        """Skin between nostrils and upper lip, and the averaging (k, n) over the neighbours of each such vertex."""
        import scipy.sparse as sp

        anatomy = self.anatomy
        adjacency = anatomy.polygons.adjacency.astype(float)
        near = np.zeros(anatomy.n, dtype=bool)
        near[anatomy.nostril] = True
        for _ in range(2):
            near |= (adjacency @ near.astype(float)) > 0
        near[anatomy.mouth["skin_outer"][:6]] = near[anatomy.mouth["surround"][:6]] = True
        for name in ("skin_inner", "roll", "border"):
            near[anatomy.mouth[name]] = False
        near[anatomy.nostril] = False
        near &= (self.flesh_share > 0.9) & (anatomy.positions[:, 1] < anatomy.points["alare"][1] + 4 * anatomy.scale)
        near |= near[anatomy.mirror]
        at = np.flatnonzero(near)
        return at, sp.diags(1 / np.asarray(adjacency[at].sum(1)).ravel()) @ adjacency[at]

    @cached_property
    def _hollow(self) -> NDArray[np.bool_]:
        """(n,) skin that follows its rim: behind the lips and inside the nostrils."""
        on = self.anatomy.skin & (self.flesh_share == 0.0) & ~self.anatomy.ears
        for ring in self.anatomy.eye.values():
            on[ring] = on[self.anatomy.mirror[ring]] = False
        on[self.anatomy.mouth["throat"]] = on[self.anatomy.mirror[self.anatomy.mouth["throat"]]] = False
        return on

    @cached_property
    def _filling(self) -> tuple[NDArray[np.int64], NDArray[np.int64], spl.SuperLU, sp.csr_matrix]:
        import scipy.sparse as sp
        import scipy.sparse.linalg as spl

        inside = np.flatnonzero(self._hollow)
        adjacency = self.anatomy.polygons.adjacency.astype(float)
        around = np.flatnonzero((np.asarray(adjacency[inside].sum(0)).ravel() > 0) & ~self._hollow)
        degree = np.asarray(adjacency[inside].sum(1)).ravel()
        system = sp.diags(degree) - adjacency[inside][:, inside]
        return inside, around, spl.splu(system.tocsc()), adjacency[inside][:, around]

    def _follow(self, moved: Points) -> Points:
        """The hollows' displacement as the harmonic filling of that of their rims."""
        inside, around, factor, reach = self._filling
        moved = moved.copy()
        moved[inside] = factor.solve(reach @ moved[around])
        return moved

    def pose(self, weights: Mapping[str, float]) -> Points:
        """(n, 3) vertices at the weights of units by their shapes' names; raises MoueError for a name unknown."""
        for name in weights:
            if name not in unit_names():
                raise unknown("action unit", name, unit_names())
        moved = np.zeros_like(self.anatomy.positions)
        for unit in ACTION_UNITS:
            for name, share in self._sides(unit):
                if weights.get(name, 0.0):
                    w = weights[name]
                    moved += (share[:, None] if share is not None else 1.0) * self.flesh(unit, round(w, 6))
        return self._turned(moved, weights)

    def _sides(self, unit: ActionUnit) -> list[tuple[str, NDArray[np.float64] | None]]:
        if not unit.sided:
            return [(unit.name, None)]
        left = self.anatomy.side(1, unit.split_mm)
        return [(f"{unit.name}_left", left), (f"{unit.name}_right", 1.0 - left)]

    def _turned(self, flesh: Points, weights: Mapping[str, float]) -> Points:
        anatomy = self.anatomy
        positions = anatomy.positions + flesh
        positions = positions + self._follow(settle_upper_lip(anatomy, positions))
        left_deg = GAZE_DEG["left"] * (weights.get("gaze_left", 0.0) - weights.get("gaze_right", 0.0))
        up_deg = GAZE_DEG["up"] * weights.get("gaze_up", 0.0) - GAZE_DEG["down"] * weights.get("gaze_down", 0.0)
        for side, name in ((1, "left"), (-1, "right")):
            pose = self._lid_pose(weights, name, up_deg)
            positions = positions + self.lids.turn(positions, pose, side)
            self._lashes(positions, flesh, pose, side, name)
        positions = positions + turn_eyes(anatomy, left_deg, up_deg)
        positions = positions + self.cornea.push(anatomy, positions, left_deg, up_deg)
        positions = positions + self.jaw.move(positions, self._jaw_pose(weights))
        settled = settle_lips(anatomy, positions)
        positions = positions + (self._follow(settled) if np.abs(settled).max() > 1e-9 else settled)
        return self.hair.move(positions)

    def _lashes(self, positions: Points, flesh: Points, pose: LidPose, side: int, name: str) -> None:
        flip = np.ones(3) if side > 0 else MIRROR
        for lid in ("upper", "lower"):
            at = self.anatomy.parts.get(f"lashes_{lid}_{name}")
            if at is not None:
                positions[at] += self.lids.turn_lashes(positions[at] * flip, pose, lid == "upper") * flip

    @staticmethod
    def _lid_pose(weights: Mapping[str, float], side: str, up_deg: float) -> LidPose:
        upper, lower = 1.0, 0.0
        for unit in ACTION_UNITS:
            w = weights.get(f"{unit.name}_{side}" if unit.sided else unit.name, 0.0)
            upper, lower = upper + w * unit.upper_lid, lower + w * unit.lower_lid
        return LidPose(upper, lower, -up_deg)

    @staticmethod
    def _jaw_pose(weights: Mapping[str, float]) -> JawPose:
        used = [(weights.get(unit.name, 0.0), unit) for unit in BY_NAME.values() if not unit.sided]
        return JawPose(
            sum(w * unit.jaw_deg for w, unit in used),
            sum(w * unit.jaw_left_mm for w, unit in used),
            sum(w * unit.jaw_forward_mm for w, unit in used),
        )
