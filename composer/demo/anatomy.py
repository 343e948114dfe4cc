"""What the library of shapes asks of a neutral: rings, landmarks, eyeballs and mirror, by name.

The shapes are written once, for the left side of any head: a place is a landmark plus an offset in millimetres of
an average adult, scaled by the size of this face, and the loops of lids and lips are found by the names of their
rings. Nothing here or above it knows a vertex by its number.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from composer.demo.layout import EYE_RINGS, MOUTH_RINGS
from composer.errors import unknown
from composer.geometry.polygons import Polygons
from composer.head.places import resolve

if TYPE_CHECKING:
    from composer.demo.neutral import DemoNeutral

Points = NDArray[np.float64]
Ints = NDArray[np.int64]

AVERAGE_PUPILS_MM = 64.0  # ANSUR II 2012, interpupillary breadth, men
AVERAGE_MOUTH_MM = 52.0
EYE_COLUMNS, MOUTH_COLUMNS = 24, 19
EYE_CORNER, MOUTH_CORNER = 12, 9
STRETCHES = {"upper_lip": ("subnasale", "labiale_superius", 11.5), "lower_lip": ("labiale_inferius", "pogonion", 30.0)}
MIRROR = np.array([-1.0, 1.0, 1.0])


@dataclass(frozen=True, eq=False)
class Anatomy:
    """A neutral as the library sees it; n vertices, parts included, positions in mm.

    `mirror` (n,) is the vertex across the midline; `skin` (n,) bool; `outer` (n,) bool, the skin that can be seen
    and slides over the bone (no mouth interior, sockets, nostrils, ears); `eye` and `mouth` give the left side's
    rings by name, (24,) from the inner corner over the upper lid and (19,) from the upper midline round the corner;
    `nostril` (k,) is the loop round the left one; `interior` (n,) bool is the mouth behind the lips; `points` are
    landmarks (3,) by name, the left one of a pair
    under its bare name; `curves` are polylines (k, 3); `eyes` are the eyeballs' centres, left and right, (2, 3);
    `hinge` (3,) lies on the jaw's axis, which runs along x; `parts` gives vertices by name,
    `follows` what each follows.
    """

    positions: Points
    polygons: Polygons
    mirror: Ints
    skin: NDArray[np.bool_]
    outer: NDArray[np.bool_]
    interior: NDArray[np.bool_]
    ears: NDArray[np.bool_]
    eye: dict[str, Ints]
    mouth: dict[str, Ints]
    nostril: Ints
    points: dict[str, Points]
    curves: dict[str, Points]
    eyes: Points
    parts: dict[str, Ints]
    hinge: Points
    follows: dict[str, str] = field(default_factory=dict)

    @property
    def n(self) -> int:
        """Number of vertices."""
        return len(self.positions)

    @cached_property
    def scale(self) -> float:
        """Size of this face, 1 for the average adult: the mean of its pupils' distance and its mouth's width."""
        pupils = 2 * self.eyes[0, 0] / AVERAGE_PUPILS_MM
        return float(0.5 * pupils + self.points["cheilion"][0] / AVERAGE_MOUTH_MM)

    def at(self, landmark: str, offset_mm: ArrayLike = (0.0, 0.0, 0.0)) -> Points:
        """(3,) a left landmark moved by an offset of the average face. Raises MoueError where it has none so named."""
        if landmark == "eye":
            start = self.eyes[0]
        elif landmark in self.points:
            start = self.points[landmark]
        else:
            raise unknown("landmark", landmark, [*self.points, "eye"])
        return start + self.scale * np.asarray(offset_mm, dtype=float)

    def stretch(self, name: str) -> float:
        """How much room for movement a stretch of this face has against the average one of its size, at most 1."""
        start, end, average_mm = STRETCHES[name]
        length = float(np.linalg.norm(self.points[start] - self.points[end]))
        return min(1.0, length / (average_mm * self.scale)) ** 1.6

    @cached_property
    def upper(self) -> NDArray[np.float64]:
        """(n,) how far a vertex belongs to the upper lip's side of the face: 1 above, 0 below, 1/2 at the corner.

        Along the mouth's rings it is told by the column, so that the lips part exactly at the line between them;
        away from the mouth it fades over the height of the corner.
        """
        corner = self.points["cheilion"]
        upper = smoothstep(self.positions[:, 1], corner[1] - 9 * self.scale, corner[1] + 9 * self.scale)
        column = np.arange(MOUTH_COLUMNS)
        share = 0.5 + 0.5 * np.clip((MOUTH_CORNER - column) / 3.5, -1.0, 1.0)
        for name, ring in self.mouth.items():
            if name not in ("surround", "bag", "throat"):
                upper[ring] = upper[self.mirror[ring]] = share
        return upper

    @cached_property
    def left(self) -> Ints:
        """(m,) the vertices of the left half, those on the midline among them."""
        return np.flatnonzero(~(self.positions[:, 0] < 0))

    @cached_property
    def _right(self) -> tuple[Ints, Ints, Ints]:
        """The vertices right of the midline (r,), their mirror images (r,), and what is its own image (k,)."""
        right = np.flatnonzero(self.positions[:, 0] < 0)
        return right, self.mirror[right], np.flatnonzero(self.mirror == np.arange(self.n))

    def both(self, left: Points) -> Points:
        """A displacement (n, 3) made exactly even: its left half, and the mirror image of that on the right."""
        right, images, own = self._right
        whole = left.copy()
        whole[right] = left[images] * MIRROR
        whole[own, 0] = 0.0
        return whole

    def side(self, sign: int, width_mm: float) -> NDArray[np.float64]:
        """(n,) share of one side (+1 left, -1 right), a ramp of `width_mm` to either side of the midline; sums to 1."""
        w = width_mm * self.scale
        left = smoothstep(np.maximum(self.positions[:, 0], 0.0), -w, w)
        right = self.positions[:, 0] < 0
        left[right] = 1.0 - smoothstep(-self.positions[right, 0], -w, w)
        return left if sign > 0 else 1.0 - left


def smoothstep(x: NDArray[np.float64], a: float, b: float) -> NDArray[np.float64]:
    """3 u^2 - 2 u^3 of u = (x - a) / (b - a), clamped to [0, 1]."""
    u = np.clip((x - a) / (b - a), 0.0, 1.0)
    return u * u * (3 - 2 * u)


def anatomy_of(neutral: DemoNeutral) -> Anatomy:
    """The anatomy of a demo neutral: its rings named, its landmarks resolved, its skin sorted by what can be seen."""
    n = len(neutral.positions)
    skin = np.zeros(n, dtype=bool)
    skin[: neutral.n_skin] = True
    of_group = {name: _vertices(neutral.polygons, faces, n) for name, faces in neutral.groups.items()}
    ears = of_group["ear_left"] | of_group["ear_right"]
    hidden = ears | of_group["mouth_interior"]
    for side in ("left", "right"):
        hidden |= of_group[f"socket_{side}"] | of_group[f"nostril_{side}"]
    points, curves = {}, {}
    for name, place in neutral.landmarks.points.items():
        points[name.removesuffix("_left")] = resolve(place, neutral.positions)
    for name in neutral.landmarks.curves:
        curves[name.removesuffix("_left")] = neutral.landmarks.curve_positions(name, neutral.positions)
    for name, along in (("brow_head", 0.03), ("brow_body", 0.47), ("brow_arch", 0.66), ("brow_tail", 0.97)):
        points[name] = _along(curves["brow"], along)
    mouth = neutral.rings["mouth"][:, :MOUTH_COLUMNS]
    return Anatomy(
        positions=neutral.positions, polygons=neutral.polygons, mirror=neutral.mirror, skin=skin, outer=skin & ~hidden,
        interior=of_group["mouth_interior"] & ~(of_group["face"] & ~of_group["mouth_interior"]), ears=ears,
        eye=dict(zip(EYE_RINGS, neutral.rings["eye_left"], strict=True)),
        mouth=dict(zip(MOUTH_RINGS, mouth, strict=True)),
        nostril=neutral.rings["nostril_left"][0], points=points, curves=curves, eyes=np.stack([neutral.eye_left,
            neutral.eye_right]),
        parts={part.name: part.vertices.astype(np.int64) for part in neutral.parts},
        follows={part.name: part.follows for part in neutral.parts},
        hinge=neutral.jaw_hinge,
    )  # fmt: skip


def _vertices(polygons: Polygons, faces: NDArray[np.int32], n: int) -> NDArray[np.bool_]:
    on = np.zeros(n, dtype=bool)
    on[polygons.indices[np.isin(polygons.corner_face, faces)]] = True
    return on


def _along(line: Points, share: float) -> Points:
    """(3,) the point at a share of a polyline's length."""
    before = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    return np.array([np.interp(share * before[-1], before, line[:, k]) for k in range(3)])
