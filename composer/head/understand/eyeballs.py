"""Eyeballs: rigid pieces that are balls and have a partner across the midline; irises and inner shells go with them.

A piece is a ball where half of it lies on one sphere, from all about its centre, and every shape moves it rigidly. A
piece inside a ball, or one like a cornea or iris that lies on its front, small and with its rim on the ball, is of the
same group where it moves as the ball does.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from composer.head.understand.midline import Midline
from composer.head.understand.motion import Motion
from composer.head.understand.rigid_fits import RigidFits, fit_mixed
from composer.head.understand.spheres import Sphere, covered_directions, sphere_of

Floats = NDArray[np.float64]
LEAST_VERTICES = 30
SIZE = (0.04, 0.3)
"""Of the skin's width: an eyeball's least and largest side."""
SHARE, COVERED, RIGID = 0.5, 0.4, 0.02
"""What a ball has at least on its sphere, of all directions, and (of its radius) leaves of a rigid motion at most."""
HALF_BALL = 0.2
"""The directions that a piece covers which a name calls an eye: half a ball has half of them."""
ROUND = 0.25
"""A ball's mean side differs from its sphere's width by this share at most: a shell's does more."""
ENTIRE, INNER = 0.7, 0.4
"""The share of a piece's vertices that must move rigidly: for a ball, and for what lies in one (a pupil may widen)."""
SHELL = (0.5, 1.12)
"""In radii: between these lie the vertices of what is of a ball's group."""
CAP_DEG, RIM = 52.0, 0.06
"""A cornea or iris reaches this far from its own middle, seen from the ball's centre, and its rim lies this near (in
radii) on the ball.
"""


@dataclass(frozen=True, eq=False)
class Eye:
    """An eye: the `sphere` of its ball, the `pieces` of its rigid group, the ball's first, `side` 1 left or -1 right,
    how rigid it is: the most that a shape leaves of its rigid motion, mm, and the ball's motion in every shape.
    """

    sphere: Sphere
    pieces: tuple[int, ...]
    side: int
    rigid_mm: float
    fits: RigidFits

    def other_side(self) -> Eye:
        """The same eye called by the other side."""
        return replace(self, side=-self.side)

    def strays(self, motion: Motion, vertices: NDArray) -> float:
        """The most, over the shapes, that `vertices` (k,) stray from the ball's rigid motion, root mean square, mm."""
        if not motion.count:
            return 0.0
        off = self.fits.moves(motion.head.neutral[vertices]) - motion.of(vertices)
        return float(np.sqrt(np.einsum("skx,skx->s", off, off).max() / max(len(vertices), 1)))


def eyes_of(motion: Motion, midline: Midline, named: Collection[int] = ()) -> list[Eye]:
    """The eyes of a head, the one on the midline's far side first. Empty where no piece is a ball.

    `named` are pieces that names call eyes: such a one may be half a ball.
    """
    head, pieces = motion.head, motion.pieces
    width = float(np.ptp(head.neutral[motion.skin] @ midline.normal)) if len(motion.skin) else 0.0
    balls: dict[int, tuple[Sphere, float]] = {}
    for piece in pieces.others:
        points = head.neutral[pieces.of[piece]]
        sides = np.ptp(points, axis=0)
        if len(points) < LEAST_VERTICES or not SIZE[0] * width < sides.min() <= sides.max() < SIZE[1] * width:
            continue
        sphere = sphere_of(points)
        whole = abs(2.0 * sphere.radius / float(sides.mean()) - 1.0) < ROUND
        enough = (sphere.covered > COVERED and whole) or (piece in named and sphere.covered > HALF_BALL)
        if sphere.share > SHARE and enough:
            rigid = _left_of_rigid(motion, pieces.of[piece], ENTIRE, sphere)
            if rigid < RIGID * sphere.radius:
                balls[piece] = (sphere, rigid)
    groups = _with_partners(balls, midline)
    out = []
    for group in groups:
        sphere, rigid = balls[group[0]]
        side = 1 if float(sphere.centre @ midline.normal) > midline.offset else -1
        ball = pieces.of[group[0]]
        fits = _fitted(motion, ball, ENTIRE, sphere)
        eye = Eye(sphere, tuple(group), side, rigid, fits)
        taken = {piece for other in groups for piece in other}
        inner = [piece for piece in pieces.others if piece not in taken and _of_group(motion, piece, eye)]
        out.append(replace(eye, pieces=(*group, *inner)))
    return sorted(out, key=lambda eye: -eye.side)


def _fitted(motion: Motion, vertices: NDArray, share: float, sphere: Sphere) -> RigidFits:
    points = motion.head.neutral[vertices]
    return fit_mixed(points, motion.of(vertices), 1e-5 * motion.size, RIGID * sphere.radius, share)


def _left_of_rigid(motion: Motion, vertices: NDArray, share: float, sphere: Sphere) -> float:
    """The most that any shape leaves, mm, at this share of the vertices."""
    if not motion.count:
        return 0.0
    fits = _fitted(motion, vertices, share, sphere)
    return float(np.quantile(fits.residual, share, axis=1).max())


def _with_partners(balls: dict[int, tuple[Sphere, float]], midline: Midline) -> list[list[int]]:
    """Concentric balls in groups, of those that have a partner across the midline; the fullest ball of each first."""
    groups: list[list[int]] = []
    for piece, (sphere, _) in balls.items():
        mirrored = midline.reflected(sphere.centre[None])[0]
        away = abs(float(sphere.centre @ midline.normal) - midline.offset)
        partners = [
            other for other, (theirs, _) in balls.items()
            if other != piece and np.linalg.norm(theirs.centre - mirrored) < sphere.radius
        ]  # fmt: skip
        if away < 0.5 * sphere.radius or not partners:
            continue
        for group in groups:
            if np.linalg.norm(balls[group[0]][0].centre - sphere.centre) < 0.4 * sphere.radius:
                group.append(piece)
                break
        else:
            groups.append([piece])
    for group in groups:
        group.sort(key=lambda piece: -balls[piece][0].share * balls[piece][0].covered * balls[piece][0].radius)
    return groups


def _of_group(motion: Motion, piece: int, eye: Eye) -> bool:
    """Whether a piece lies in a ball, or on its front as a cornea or an iris does, and moves with it."""
    vertices, sphere = motion.pieces.of[piece], eye.sphere
    points = motion.head.neutral[vertices]
    if len(points) < 8:
        return False
    off = points - sphere.centre
    radius = np.linalg.norm(off, axis=1) / sphere.radius
    if float(np.quantile(radius, 0.1)) < SHELL[0] or float(np.quantile(radius, 0.95)) > SHELL[1] + 0.08:
        return False
    if covered_directions(points, sphere.centre) > COVERED and float(np.quantile(radius, 0.9)) < SHELL[1]:
        return _left_of_rigid(motion, vertices, INNER, sphere) < RIGID * sphere.radius
    middle = off.sum(axis=0)
    middle /= max(float(np.linalg.norm(middle)), 1e-12)
    spread = np.degrees(np.arccos(np.clip(off @ middle / np.linalg.norm(off, axis=1), -1.0, 1.0)))
    if float(spread.max()) > CAP_DEG or float(np.abs(radius[spread > 0.8 * spread.max()] - 1.0).max()) > RIM:
        return False
    return eye.strays(motion, vertices) < RIGID * sphere.radius
