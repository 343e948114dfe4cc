"""The materials of a head in a picture: matt bone, with lips, teeth, tongue and lashes in their own colours.

Colours are albedos in linear light; `sheen` is how strongly a place mirrors the window. The material of a vertex
follows from the names of parts and polygon groups and from the lip curves among the landmarks; all else is bone. The
colours are our choice, by eye.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import breadth_first_order

from composer.geometry.polygons import Polygons
from composer.head.head import Part
from composer.head.landmarks import Landmarks
from composer.picture.colour import rgb

Floats = NDArray[np.float64]

BONE, BONE_SHEEN = rgb(214, 203, 188), 0.035
PARTS = {
    "teeth": (rgb(226, 217, 196), 0.22),
    "tongue": (rgb(186, 122, 112), 0.12),
    "gum": (rgb(178, 116, 108), 0.12),
    "lash": (rgb(62, 50, 44), 0.02),
    "brow": (rgb(96, 78, 64), 0.02),
    "hair": (rgb(96, 78, 64), 0.02),
    "eye": (rgb(226, 222, 214), 0.0),
}
GROUPS = {
    "mouth": (rgb(150, 92, 84), 0.10),
    "teeth": PARTS["teeth"],
    "tongue": PARTS["tongue"],
    "lash": PARTS["lash"],
    "nostril": (rgb(182, 150, 134), 0.03),
    "lip": (rgb(202, 163, 151), 0.10),
}
LIPS, LIPS_SHEEN = GROUPS["lip"]
BROW = rgb(140, 118, 100)


def is_eyeball(name: str) -> bool:
    """Whether a part's name says that it is an eyeball."""
    return name.lower().startswith("eye") and "lash" not in name.lower() and "brow" not in name.lower()


def materials(
    polygons: Polygons,
    parts: Sequence[Part] = (),
    groups: Mapping[str, NDArray] | None = None,
    landmarks: Landmarks | None = None,
) -> tuple[Floats, Floats]:
    """Albedo (n, 3) in linear light and sheen (n,) at every vertex of the cage."""
    albedo = np.tile(BONE, (polygons.n_vertices, 1))
    sheen = np.full(polygons.n_vertices, BONE_SHEEN)
    for name, faces in (groups or {}).items():
        for word, (colour, gloss) in GROUPS.items():
            if word in name.lower():
                amount = _share(polygons, faces)[:, None]
                albedo = albedo * (1.0 - amount) + amount * colour
                sheen = np.where(amount[:, 0] > 0.5, gloss, sheen)
                break
    if landmarks is not None:
        amount = lip_weights(polygons, landmarks)
        albedo += amount[:, None] * (LIPS - albedo)
        sheen += amount * (LIPS_SHEEN - sheen)
    for part in parts:
        for word, (colour, gloss) in PARTS.items():
            if word in part.name.lower() and (word != "eye" or is_eyeball(part.name)):
                albedo[part.vertices], sheen[part.vertices] = colour, gloss
                break
    return albedo, sheen


def _share(polygons: Polygons, faces: NDArray) -> Floats:
    """(n,) the share of the polygons at each vertex that belong to `faces`."""
    on = np.zeros(polygons.n_faces)
    on[faces] = 1.0
    total = np.bincount(polygons.indices, minlength=polygons.n_vertices)
    hit = np.bincount(polygons.indices, weights=on[polygons.corner_face], minlength=polygons.n_vertices)
    return hit / np.maximum(total, 1)


def lip_weights(polygons: Polygons, landmarks: Landmarks) -> Floats:
    """(n,) in [0, 1], 1 on the red of the lips, between the vermilion borders and the lip line.

    The lips are the vertices that a walk from the lip line reaches within as many steps as the border curve
    (`upper_lip`, `lower_lip`) is away from it. Zeros where a curve is missing or is not made of vertices.
    """
    weight = np.zeros(polygons.n_vertices)
    for border_name, line_name in (("upper_lip", "lip_line_upper"), ("lower_lip", "lip_line_lower")):
        border, line = landmarks.curves.get(border_name), landmarks.curves.get(line_name)
        if not (
            isinstance(border, np.ndarray) and isinstance(line, np.ndarray) and len(border) and len(line)
        ):
            continue
        to_line = _steps(polygons.adjacency, line)
        to_border = _steps(polygons.adjacency, border)
        width = to_line[border].max()
        inside = (to_line + to_border <= width + 1) & (to_line <= width)
        weight = np.maximum(weight, np.where(inside & (to_border > 0), 1.0, 0.0))
        weight[border] = np.maximum(weight[border], 0.5)
    return weight


def _steps(adjacency: sp.csr_matrix, start: NDArray) -> Floats:
    """(n,) number of edges from the nearest of `start`; infinite where not reached."""
    n = adjacency.shape[0]
    hub = sp.csr_matrix((np.ones(len(start)), (np.zeros(len(start), dtype=int), start)), shape=(1, n))
    graph = sp.bmat([[adjacency, None], [hub, sp.csr_matrix((1, 1))]], format="csr")
    order, before = breadth_first_order(graph, n, directed=True)
    steps = np.full(n + 1, np.inf)
    steps[n] = 0.0
    for v in order[1:]:
        steps[v] = steps[before[v]] + 1.0
    return steps[:n] - 1.0


def brow_weights(neutral: Floats, skin: NDArray, landmarks: Landmarks, half_mm: float = 3.0) -> Floats:
    """(n,) in [0, 1]: a soft stroke along the brow curves, thinner towards the temple; zeros without such curves."""
    weight = np.zeros(len(neutral))
    size = float(np.linalg.norm(np.ptp(neutral, axis=0))) / 330.0
    for side in ("left", "right"):
        if f"brow_{side}" not in landmarks.curves:
            continue
        line = landmarks.curve_positions(f"brow_{side}", neutral)
        if len(line) < 2:
            continue
        distance, along = _to_line(neutral, line)
        half = half_mm * size * (1.15 - 0.6 * along**2)
        fade = np.clip(1.4 - distance / half, 0.0, 1.0)
        weight = np.maximum(weight, 0.75 * fade * fade * (3.0 - 2.0 * fade))
    return weight * skin


def _to_line(points: Floats, line: Floats) -> tuple[Floats, Floats]:
    """Distance in mm (k,) of points to a polyline, and the place of the nearest point along it, in [0, 1]."""
    best, where = np.full(len(points), np.inf), np.zeros(len(points))
    for i, (a, b) in enumerate(pairwise(line)):
        edge = b - a
        t = np.clip((points - a) @ edge / max(float(edge @ edge), 1e-12), 0.0, 1.0)
        away = points - a - t[:, None] * edge
        distance = np.sqrt(np.einsum("ij,ij->i", away, away))
        nearer = distance < best
        best, where = np.where(nearer, distance, best), np.where(nearer, (i + t) / (len(line) - 1), where)
    return best, where
