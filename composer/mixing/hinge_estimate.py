"""Finding the hinge of a shape that turns, from its neutral and its delta.

The rigid motion is a weighted least-squares fit (`composer.geometry.rigid`), reweighted until the vertices that do not
follow it no longer count. It starts with the vertices that move most, which are the farthest from the hinge. The
motion's rotation gives axis and angle. Its translation across the axis gives the origin, the point of the axis nearest
to the vertices that turn. Its translation along the axis stays in the residual.

The rigidity of a vertex is the share of its displacement that the turn explains, <delta, T> / <T, T> in [0, 1], with
T the displacement of the whole turn there. It is smoothed by diffusion along the surface, weighted by |T|^2, so that
vertices near the axis, where T is too small to measure it, take the values of their neighbours. A vertex that the
shape does not move has rigidity 0.
"""

from __future__ import annotations

import math

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.geometry.common_motion import robust_motion
from composer.geometry.rigid import Similarity, axis_and_angle, is_determined
from composer.geometry.surface import Surface, factorise
from composer.mixing.hinge import Hinge, turning_fields

ROUNDS = 30
"""Rounds of reweighting. A design choice, no source."""
FIRST = 6
"""The first fit weighs each vertex by this power of its movement, so that those that move most decide. A design choice,
no source.
"""
WIDEST, NARROWEST = 0.25, 0.02
"""How far from the rigid motion a vertex may lie and still count, as a fraction of the largest movement, in the first
and the last round. A design choice, no source.
"""
SMOOTH = 0.012
"""Rigidity diffuses over about this fraction of the head's diagonal (5 mm on a head of 400 mm). A design choice, no
source.
"""
OVERTURN = 1.25
"""The turn moves no vertex by more than this times its own movement. A design choice, no source."""
EXPLAINS, TURNS_DEG = 0.75, 4.0
"""The least share of squared displacement that a hinge explains, and its least angle in degrees, for it to be used. At
4 degrees an arc of radius 100 mm leaves its chord by 100 (1 - cos 2 deg) = 0.06 mm. The share: a design choice, no
source.
"""


def worthwhile(hinge: Hinge) -> bool:
    """Whether a hinge explains its shape well enough, and turns far enough, to be used instead of a straight line.

    It explains at least `EXPLAINS` of the squared displacement and turns by at least `TURNS_DEG`.
    """
    return hinge.explained >= EXPLAINS and abs(hinge.angle_deg) >= TURNS_DEG


def estimate_hinge(surface: Surface, delta: NDArray, name: str = "") -> Hinge:
    """The hinge that explains most of a shape's displacement; `worthwhile` says whether to use it.

    `surface` is the neutral's, with parts or without; `delta` (n, 3) in mm. Deterministic.
    Raises MoueError where the shape does not move, or all moving vertices lie on one line, so that the axis is not
    determined.
    """
    neutral, delta = surface.positions, np.asarray(delta, dtype=np.float64)
    if delta.shape != neutral.shape:
        raise MoueError(f"shape {name!r} has {len(delta)} vertices, the neutral {len(neutral)}")
    distance = np.linalg.norm(delta, axis=1)
    largest = float(distance.max(initial=0.0))
    if largest <= 1e-9 * surface.diagonal_mm:
        raise MoueError(f"shape {name!r} does not move, so it has no hinge", hint='set its hinge to "off"')
    motion, weight = _robust_motion(surface, delta, distance, largest, name)
    axis, angle = axis_and_angle(motion.rotation)
    centre = np.average(neutral, axis=0, weights=weight)
    origin = _origin(motion, axis, angle, centre)
    whole = Hinge(axis, origin, angle, np.ones(len(neutral), dtype=np.float32))
    rigidity = _rigidity(surface, delta, distance, whole)
    hinge = Hinge(axis, origin, angle, rigidity)
    residual = turning_fields(neutral, delta, hinge)[2]
    unexplained = float(surface.mass @ (residual**2).sum(axis=1)) / float(surface.mass @ distance**2)
    return Hinge(axis, origin, angle, rigidity, max(0.0, 1.0 - unexplained))


def _robust_motion(
    surface: Surface, delta: NDArray, distance: NDArray, largest: float, name: str
) -> tuple[Similarity, NDArray[np.float64]]:
    """The rigid motion, and the final weights (n,) of the vertices."""
    neutral = surface.positions
    moving = surface.mass * distance / largest
    first = moving * (distance / largest) ** FIRST

    def width(number: int, _: NDArray) -> float:
        return largest * WIDEST * (NARROWEST / WIDEST) ** (number / (ROUNDS - 1))

    motion, weight = robust_motion(neutral, neutral + delta, moving, width, ROUNDS, first)
    if not all(is_determined(neutral, neutral + delta, each) for each in (first, weight)):
        raise MoueError(f"what moves in shape {name!r} lies on one line and has no one axis",
                        hint='set its hinge to "off"')  # fmt: skip
    return motion, weight


def _origin(motion: Similarity, axis: NDArray, angle: float, centre: NDArray) -> NDArray[np.float64]:
    """(3,) the fixed point of the motion across its axis that lies nearest to `centre`.

    The centre goes to R c + t = c + d; with d across the axis, the axis passes at c + (d + cot(angle / 2) k x d) / 2.
    """
    across = motion(centre) - centre
    across = across - (axis @ across) * axis
    half = math.tan(0.5 * angle)
    if half == 0.0:
        return centre
    return centre + 0.5 * (across + np.cross(axis, across) / half)


def _rigidity(surface: Surface, delta: NDArray, distance: NDArray, whole: Hinge) -> NDArray[np.float32]:
    """(n,) in [0, 1], the share of the whole turn that each vertex follows, smooth along the surface."""
    sideways, inward, _ = turning_fields(surface.positions, delta, whole)
    turned = math.sin(whole.angle) * sideways + (1.0 - math.cos(whole.angle)) * inward
    squared = (turned**2).sum(axis=1)
    largest = float(squared.max(initial=0.0))
    if largest == 0.0:
        return np.zeros(len(delta), dtype=np.float32)
    measured = np.clip((delta * turned).sum(axis=1) / np.maximum(squared, 1e-12 * largest), 0.0, 1.0)
    certainty = surface.mass * squared / (squared + 1e-3 * largest)
    diffusion = (SMOOTH * surface.diagonal_mm) ** 2
    system = sp.diags(certainty + 1e-9 * surface.mass, format="csc") + diffusion * surface.laplacian
    smooth = factorise(system).solve((certainty + 1e-9 * surface.mass) * measured)
    limit = np.full(len(delta), np.inf)
    np.divide(OVERTURN * distance, np.sqrt(squared), out=limit, where=squared > 1e-6 * largest)
    return np.where(distance > 0.0, np.clip(np.minimum(smooth, limit), 0.0, 1.0), 0.0).astype(np.float32)
