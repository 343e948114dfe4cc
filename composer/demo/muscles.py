"""Muscles: the displacements from which action units are made, in millimetres of the average face.

`Pull` is the linear muscle of Waters (1987, "A muscle model for animating three-dimensional facial expression"):
skin in a cone about the line from a fixed attachment to the insertion moves towards the attachment, by an amount
that rises from nothing at the attachment to its most at `start` and falls to nothing at `finish`. `Sphincter` is
his elliptic one: skin draws to a centre. Flesh is not a line, so two more: a `Pad` moves a soft ellipsoid of flesh
(bulges, corners that wrap round the teeth), and a `Fold` presses a groove along a curve and raises its far bank.

All are written for the left side; the right is the mirror image. `displace` sums them for a face, and `Slide` lets
the result follow the surface of the face rather than cut through it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from composer.demo.anatomy import MIRROR, Anatomy

Points = NDArray[np.float64]
Offset = tuple[float, float, float]
Place = tuple[str, Offset]
Lip = Literal["upper", "lower", "both"]


@dataclass(frozen=True)
class Pull:
    """A linear muscle from `origin` to `insertion`; `amount_mm` at most, `cone_deg` half-angle, `reach` in lengths.

    Towards the midline the sideways movement fades in proportion, the rest with the power `bow`: a smile is a bow.
    """

    origin: Place
    insertion: Place
    amount_mm: float
    cone_deg: float = 40.0
    start: float = 0.9
    reach: float = 1.4
    bow: float = 1.6
    lip: Lip = "both"


@dataclass(frozen=True)
class Pad:
    """Flesh about `at` that moves by `move_mm` and stands out by `lift_mm`, fading over `radius_mm` (x, y, z).

    `below` is the radius downwards where it differs; `lip` limits it to one side of the line between the lips;
    `within` names a stretch of the face (`Anatomy.stretch`) that is shorter on some faces, and the movement with it.
    """

    at: Place
    move_mm: Offset
    radius_mm: Offset
    lift_mm: float = 0.0
    below: float | None = None
    lip: Lip = "both"
    within: str = ""


@dataclass(frozen=True)
class Sphincter:
    """An elliptic muscle about `centre`: x shrinks by `narrow`, y by `squash`, and all comes forward by
    `forward_mm`.
    """

    centre: Place
    radius_mm: tuple[float, float]
    narrow: float
    squash: float = 0.0
    forward_mm: float = 0.0


@dataclass(frozen=True)
class Fold:
    """A groove `depth_mm` deep and `width_mm` wide along a polyline of places, its outer bank raised by `bank_mm`."""

    line: tuple[Place, ...]
    depth_mm: float
    width_mm: float
    bank_mm: float = 0.0
    bank_towards: Offset = (1.0, 0.5, 0.0)


Muscle = Pull | Pad | Sphincter | Fold


def pull(
    points: Points, origin: Points, insertion: Points, amount: float, cone_deg: float, start: float, reach: float
) -> Points:
    """(m, 3) displacement of points under one linear muscle; lengths in mm, `start` and `reach` in muscle lengths."""
    axis = insertion - origin
    length = float(np.linalg.norm(axis))
    away = points - origin
    distance = np.maximum(np.linalg.norm(away, axis=1), 1e-9)
    angle = np.degrees(np.arccos(np.clip(away @ axis / (length * distance), -1, 1)))
    across = 0.5 + 0.5 * np.cos(np.pi * np.clip(angle / cone_deg, 0, 1))
    rise = np.sin(0.5 * np.pi * np.clip(distance / (start * length), 0, 1))
    fall = np.cos(0.5 * np.pi * np.clip((distance - start * length) / ((reach - start) * length), 0, 1))
    return -(amount * across * np.where(distance < start * length, rise, fall) / distance)[:, None] * away


def displace(
    anatomy: Anatomy,
    muscles: Sequence[Muscle],
    normals: Points,
    amount: float = 1.0,
    where: NDArray[np.bool_] | None = None,
) -> tuple[Points, Points]:
    """Sum of the muscles of both sides at `amount` (1 is the whole movement), as two displacements (n, 3) in mm.

    The first is to slide along the face, the second (what stands out or comes forward) is not. `normals` (n, 3) are
    the directions in which flesh stands out. The sum is made on the left half, of which the right is the image; where
    `where` (n,) is given, only there, and the rest is at zero.
    """
    slid, free = np.zeros_like(anatomy.positions), np.zeros_like(anatomy.positions)
    left = anatomy.left if where is None else anatomy.left[where[anatomy.left]]
    for muscle in muscles:
        for mirror in (np.ones(3), MIRROR):
            along, out = _one(anatomy, muscle, left, anatomy.positions[left] * mirror, normals[left] * mirror)
            slid[left] += along * mirror * amount
            free[left] += out * mirror * amount
    return anatomy.both(slid), anatomy.both(free)


def _one(
    anatomy: Anatomy, muscle: Muscle, left: NDArray[np.int64], p: Points, normals: Points
) -> tuple[Points, Points]:
    """What one muscle does to vertices of the left half, at `p`, or, with those mirrored, to them as the right half's.
    """
    scale = anatomy.scale
    none = np.zeros_like(p)
    if isinstance(muscle, Pull):
        origin, insertion = anatomy.at(*muscle.origin), anatomy.at(*muscle.insertion)
        moved = pull(p, origin, insertion, muscle.amount_mm * scale, muscle.cone_deg, muscle.start, muscle.reach)
        across = np.clip(p[:, 0] / anatomy.points["cheilion"][0], 0, 1)[:, None]
        moved *= np.hstack([across, across**muscle.bow, across**muscle.bow])
        return moved * _lip_share(anatomy, muscle.lip, left)[:, None], none
    if isinstance(muscle, Pad):
        scale = scale * (anatomy.stretch(muscle.within) if muscle.within else 1.0)
        weight = (pad_weight(anatomy, muscle, p) * _lip_share(anatomy, muscle.lip, left) * scale)[:, None]
        return weight * np.array(muscle.move_mm), weight * muscle.lift_mm * normals
    if isinstance(muscle, Sphincter):
        return _sphincter(anatomy, muscle, p)
    return none, _fold(anatomy, muscle, p, normals) * scale


def pad_weight(anatomy: Anatomy, pad: Pad, p: Points) -> NDArray[np.float64]:
    """(m,) the Gaussian of a pad, 1 at its place, softer or steeper below it where the pad says so."""
    away = (p - anatomy.at(*pad.at)) / anatomy.scale
    radius = np.broadcast_to(np.array(pad.radius_mm), away.shape).copy()
    if pad.below is not None:
        radius[away[:, 1] < 0, 1] = pad.below
    return np.exp(-0.5 * ((away / radius) ** 2).sum(1))


def _lip_share(anatomy: Anatomy, lip: Lip, left: NDArray[np.int64]) -> NDArray[np.float64]:
    """(m,) of vertices of the left half."""
    if lip == "both":
        return np.ones(len(left))
    upper = anatomy.upper[left]
    return upper if lip == "upper" else 1.0 - upper


def _sphincter(anatomy: Anatomy, muscle: Sphincter, p: Points) -> tuple[Points, Points]:
    """Half of the movement, because a sphincter's two sides are one muscle and both are summed.

    The middle of the lips gathers less than their corners, which keeps its cushions from being squeezed to a keel.
    """
    away = p - anatomy.at(*muscle.centre)
    rx, ry = np.array(muscle.radius_mm) * anatomy.scale
    d = np.sqrt((away[:, 0] / rx) ** 2 + (away[:, 1] / ry) ** 2)
    weight = 0.5 + 0.5 * np.cos(np.pi * np.clip(d, 0, 1))
    weight *= np.clip((away[:, 2] + 45 * anatomy.scale) / (25 * anatomy.scale), 0, 1)
    corner = anatomy.points["cheilion"][0]
    share = 0.45 + 0.55 * np.clip(np.abs(away[:, 0]) / corner, 0, 1) ** 2
    drawn = (
        -0.5
        * weight[:, None]
        * away
        * np.stack([muscle.narrow * share, np.full(len(p), muscle.squash), np.zeros(len(p))], axis=1)
    )
    return drawn, 0.5 * weight[:, None] * np.array([0.0, 0.0, muscle.forward_mm * anatomy.scale])


def _fold(anatomy: Anatomy, fold: Fold, p: Points, normals: Points) -> Points:
    line = np.array([anatomy.at(*place) for place in fold.line])
    distance, across, along = to_polyline(p, line)
    width = fold.width_mm * anatomy.scale
    ends = np.sin(np.pi * np.clip(along, 0.0, 1.0))
    side = across @ _unit(np.array(fold.bank_towards)) / width
    past = np.exp(-0.5 * np.clip(distance / width - np.abs(side), 0, None) ** 2)
    groove = np.exp(-0.5 * (distance / width) ** 2)
    bank = np.exp(-0.5 * ((side - 1.7) / 1.0) ** 2) * past
    return ((fold.bank_mm * bank - fold.depth_mm * groove) * ends)[:, None] * normals


def _unit(v: Points) -> Points:
    return v / np.linalg.norm(v)


def to_polyline(p: Points, line: Points) -> tuple[NDArray[np.float64], Points, NDArray[np.float64]]:
    """Distance (m,) of points from a polyline (k, 3), the way from it (m, 3), and how far along it (m,) in [0, 1]."""
    lengths = np.linalg.norm(np.diff(line, axis=0), axis=1)
    before = np.concatenate([[0.0], np.cumsum(lengths)])
    best, across, along = np.full(len(p), np.inf), np.zeros_like(p), np.zeros(len(p))
    for i, length in enumerate(lengths):
        step = line[i + 1] - line[i]
        t = np.clip((p - line[i]) @ step / length**2, 0, 1)
        away = p - line[i] - t[:, None] * step
        distance = np.linalg.norm(away, axis=1)
        nearer = distance < best
        best[nearer], across[nearer] = distance[nearer], away[nearer]
        along[nearer] = ((before[i] + t * length) / before[-1])[nearer]
    return best, across, along


class Slide:
    """Lets displaced skin follow the face: each point keeps its height over a smoothed surface of the neutral.

    The height is that of implicit moving least squares (Kolluri 2005, "Provably good moving least squares"): the
    Gaussian average of the distances to the tangent planes of the neutral's outer skin, over `radius_mm`.
    """

    def __init__(self, anatomy: Anatomy, vertex_normals: Points, radius_mm: float = 7.0) -> None:
        from scipy.spatial import cKDTree

        self._points = anatomy.positions[anatomy.outer]
        self._normals = vertex_normals[anatomy.outer]
        self._tree = cKDTree(self._points)
        self._radius = radius_mm * anatomy.scale

    def height(self, points: Points) -> tuple[NDArray[np.float64], Points]:
        """(m,) height over the smoothed face in mm and (m, 3) its unit direction."""
        distance, near = self._tree.query(points, k=min(64, len(self._points)))
        weight = np.exp(-0.5 * ((distance - distance[:, :1]) / self._radius) ** 2)
        weight /= weight.sum(1, keepdims=True)
        normals = self._normals[near]
        value = np.einsum("mk,mki,mki->m", weight, points[:, None] - self._points[near], normals)
        direction = np.einsum("mk,mki->mi", weight, normals)
        return value, direction / np.maximum(np.linalg.norm(direction, axis=1, keepdims=True), 1e-9)

    def __call__(self, points: Points, moved: Points, start: NDArray[np.float64] | None = None) -> Points:
        """Displacements (m, 3) nearest to `moved` that keep each point's height, `start` (m,) mm where it is known."""
        if start is None:
            start, _ = self.height(points)
        target = points + moved
        for _ in range(3):
            now, direction = self.height(target)
            target = target + (start - now)[:, None] * direction
        return target - points
