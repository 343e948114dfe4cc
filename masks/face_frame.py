"""The size of a face and its midline, from the available landmarks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.geometry.surface import Floats, Surface
from masks.region_preset import LEFT, RIGHT

Points = Mapping[str, NDArray[np.float64]]

SIZES = (
    (("zygion_left",), ("zygion_right",), 138.2),
    (("tragion_left",), ("tragion_right",), 145.0),
    (("exocanthion_left",), ("exocanthion_right",), 91.2),
    (("endocanthion_left",), ("endocanthion_right",), 32.4),
    (("cheilion_left",), ("cheilion_right",), 54.5),
    (("sellion",), ("gnathion",), 117.9),
    (("pronasale",), ("gnathion",), 70.0),
)
"""Distances that give a face's size where the eyes do not, in mm for an interpupillary breadth of 62.9 mm.
Bizygomatic breadth and menton to sellion: ANSUR II 2012, mean of men and women; canthi and mouth: Farkas 1994, from
memory; between the ears and nose to chin: common practice, no source.
"""


@dataclass(frozen=True, eq=False)
class FaceFrame:
    """`scale` is the face's size over that of the preset; the midline plane passes through `origin` (3,), and
    `left` (3,) is the unit vector to the subject's left. `words` name the evidence for the size.
    """

    scale: float
    origin: Floats
    left: Floats
    words: str

    def side_mm(self, positions: Floats) -> Floats:
        """(n,) signed distance in mm of positions (n, 3) from the midline plane, positive on the left."""
        return (positions - self.origin) @ self.left


def face_frame(surface: Surface, points: Points, interpupillary_mm: float) -> FaceFrame:
    """The frame of the face with these landmark positions (3,) in mm.

    Size: from the distance between the centres of both eyes, otherwise the first pair of SIZES available, otherwise
    the mesh's diagonal (390 mm for a head with its neck; common practice, no source). Midline: from pairs of
    landmarks, otherwise the x axis through the mesh's centre.
    """
    size, by = _interpupillary(surface, points)
    left, origin = _midline(surface, points)
    return FaceFrame(size / interpupillary_mm, origin, left, by)


def _interpupillary(surface: Surface, points: Points) -> tuple[float, str]:
    corners = [f"{name}{side}" for side in (LEFT, RIGHT) for name in ("endocanthion", "exocanthion")]
    if all(name in points for name in corners):
        a, b, c, d = (points[name] for name in corners)
        return float(np.linalg.norm((a + b) / 2 - (c + d) / 2)), "the corners of the eyes"
    for one, other, usual in SIZES:
        if one[0] in points and other[0] in points:
            size = float(np.linalg.norm(points[one[0]] - points[other[0]]))
            return 62.9 * size / usual, f"{one[0]} and {other[0]}"
    return 62.9 * surface.diagonal_mm / 390.0, "the measures of the mesh"


def _midline(surface: Surface, points: Points) -> tuple[Floats, Floats]:
    stems = [name[: -len(LEFT)] for name in points if name.endswith(LEFT) and name[: -len(LEFT)] + RIGHT in points]
    if not stems:
        middle = (surface.positions.max(axis=0) + surface.positions.min(axis=0)) / 2
        return np.array([1.0, 0.0, 0.0]), middle
    stems.sort()
    across = np.array([points[s + LEFT] - points[s + RIGHT] for s in stems]).sum(axis=0)
    middles = np.array([(points[s + LEFT] + points[s + RIGHT]) / 2 for s in stems])
    length = float(np.linalg.norm(across))
    left = across / length if length > 0 else np.array([1.0, 0.0, 0.0])
    return left, middles.mean(axis=0)
