"""First movements of a demo head: jaw, lids, brows and the corners of the mouth, as named displacements."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.demo.anatomy import Anatomy, anatomy_of
from composer.demo.jaw import Jaw, JawPose
from composer.demo.lids import LidPose, Lids
from composer.demo.muscles import Pad, Pull, displace
from composer.demo.neutral import DemoNeutral
from composer.head.head import Head, Shape
from masks.polygons import read_only
from masks.surface import Surface

JAW_DEG = 14.0
SMILE = (
    Pull(("zygion", (0.0, 4.0, 0.0)), ("cheilion", (0.0, 0.0, 0.0)), 11.0, cone_deg=36.0),
    Pad(("cheek", (-4.0, -2.0, 0.0)), (0.0, 3.0, 0.0), (24.0, 20.0, 24.0), lift_mm=2.0),
)
BROW_UP = (Pad(("brow_peak", (0.0, 4.0, 0.0)), (0.0, 8.0, 0.0), (34.0, 24.0, 34.0), below=13.0),)


def moving_head(neutral: DemoNeutral) -> Head:
    """The demo head with jaw_drop, lid_close_left and _right, brow_up, and smile as shapes, exactly mirrored."""
    anatomy = anatomy_of(neutral)
    moves = {"jaw_drop": Jaw(anatomy).move(anatomy.positions, JawPose(open_deg=JAW_DEG))}
    closed = _lids(anatomy)
    moves["lid_close_left"], moves["lid_close_right"] = closed, _across(anatomy, closed)
    normals = Surface(neutral.polygons, neutral.positions).vertex_normals
    for name, muscles in (("brow_up", BROW_UP), ("smile", SMILE)):
        slid, free = displace(anatomy, muscles, normals)
        moves[name] = np.where(anatomy.outer[:, None], slid + free, 0.0)
    shapes = (Shape(name, read_only(np.ascontiguousarray(move, dtype=np.float32))) for name, move in moves.items())
    return neutral.head().with_(shapes=tuple(shapes))


def _lids(anatomy: Anatomy) -> NDArray[np.float64]:
    lids, pose = Lids(anatomy), LidPose(upper=0.0, lower=0.22)
    moved = lids.turn(anatomy.positions, pose, 1)
    for name, upper in (("lashes_upper_left", True), ("lashes_lower_left", False)):
        at = anatomy.parts[name]
        moved[at] = lids.turn_lashes(anatomy.positions[at], pose, upper)
    return moved


def _across(anatomy: Anatomy, move: NDArray[np.float64]) -> NDArray[np.float64]:
    return move[anatomy.mirror] * np.array([-1.0, 1.0, 1.0])
