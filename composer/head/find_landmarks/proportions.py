"""Places that no form marks sharply, guessed by proportion: temples, cheekbones, orbits, jaw angles, hairline, neck.

Heights are shares of the way from the eyes' centres down to the lips, lateral places of half the way between the eyes,
depths mm of a face whose eyes are 63 mm apart (set by eye on the demo's head, after the proportions in Farkas,
Anthropometry of the Head and Face, 2nd edition 1994, from memory). Each is taken to the skin that is nearest.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.head.find_landmarks.face import SIDES, Face

Floats = NDArray[np.float64]
FRONT: dict[str, tuple[float, float]] = {
    "orbitale": (1.12, -0.28), "cheek": (1.43, -0.41), "frontotemporale": (1.6, 0.4),
}  # fmt: skip
"""Lateral and height of what is seen from the front, one on each side."""
BESIDE: dict[str, tuple[float, float, float]] = {
    "zygion": (2.27, -0.32, -52.0), "gonion": (1.9, -1.07, -63.0), "tragion": (2.35, -0.2, -65.0),
}  # fmt: skip
"""Lateral, height and depth of what lies at the side of the head, one on each side."""
TRICHION = 1.15
UNDER_CHIN, NECK, SLIT = -1.85, -2.35, 0.04
"""Between these heights the neck's border is taken where the head goes on below it; and how thick the slice is."""
NEAR_ENOUGH = 0.25
"""Where the skin ends no further below that height, its border is the neck's."""
SHOULDER = 1.2
"""What is this many times as wide as the neck's narrowest slice is a shoulder."""
LEAST_RING = 12


def guessed_places(face: Face, stomion: Floats, labiale_superius: Floats | None) -> dict[str, Floats]:
    """Places by name, (3,) in the head's frame, on or near the skin."""
    if len(face.eyes) != 2:
        return {}
    s = face.scale
    centre = np.mean([eye for eye, _ in face.eyes.values()], axis=0)
    half = abs(float(face.eyes["left"][0][0]))
    down = float(centre[1] - stomion[1])
    out: dict[str, Floats] = {}
    for name, (lateral, height) in FRONT.items():
        for sign, side in SIDES:
            x, up = sign * lateral * half, float(centre[1] + height * down)
            ahead = face.front.about(x, up)
            out[f"{name}_{side}"] = np.array([x, up, ahead if np.isfinite(ahead) else float(centre[2])])
    for name, (lateral, height, back) in BESIDE.items():
        for sign, side in SIDES:
            out[f"{name}_{side}"] = np.array([sign * lateral * half, centre[1] + height * down, centre[2] + back * s])
    ahead = face.front.about(0.0, float(centre[1] + TRICHION * down))
    if np.isfinite(ahead):
        out["trichion"] = np.array([0.0, centre[1] + TRICHION * down, ahead])
    if labiale_superius is not None:
        for sign, side in SIDES:
            x, up = sign * 0.09 * half, float(labiale_superius[1]) + s
            ahead = face.front.about(x, up)
            if np.isfinite(ahead):
                out[f"crista_philtri_{side}"] = np.array([x, up, ahead])
    return out


def neck_ring(face: Face, stomion: Floats) -> NDArray[np.int64] | None:
    """The vertices round the neck, in order: the lowest open border, or a slice where the head goes on below it."""
    if len(face.eyes) != 2:
        return None
    eyes = float(np.mean([eye[1] for eye, _ in face.eyes.values()]))
    down = eyes - float(stomion[1])
    places = face.places
    skin = np.flatnonzero(face.skin)
    lowest = float(places[skin, 1].min())
    thick = max(SLIT * down, 0.6 * face.head.surface.mean_edge_mm)
    border = skin[face.head.polygons.border_vertices[skin]]
    border = border[places[border, 1] < lowest + 4.0 * thick]
    if len(border) >= LEAST_RING and lowest > eyes + (NECK - NEAR_ENOUGH) * down:
        return _round(places, border)
    height = _above_shoulders(places[skin], eyes + UNDER_CHIN * down, max(eyes + NECK * down, lowest + thick), thick)
    ring = skin[np.abs(places[skin, 1] - height) <= thick]
    return _round(places, ring) if len(ring) >= LEAST_RING else None


def _round(places: Floats, ring: NDArray) -> NDArray[np.int64] | None:
    """Vertices of a ring in order about its middle, the outermost of each of 48 sectors; None for too few."""
    flat = places[ring][:, [0, 2]] - places[ring][:, [0, 2]].mean(axis=0)
    turn = np.arctan2(flat[:, 0], flat[:, 1])
    bins = np.floor((turn + np.pi) / (2.0 * np.pi) * 48).astype(int)
    outer = [ring[bins == each][np.argmax(np.linalg.norm(flat[bins == each], axis=1))] for each in np.unique(bins)]
    return np.array(outer, dtype=np.int64) if len(outer) >= LEAST_RING else None


def _above_shoulders(skin: Floats, top: float, bottom: float, thick: float) -> float:
    """The lowest height from `top` down to `bottom` at which the skin (k, 3) is still about as wide as a neck."""
    heights = np.arange(top, min(bottom, top) - 1e-9, -max(thick, 1e-6))
    widths = np.array([np.ptp(slab[:, 0]) if len(slab) else np.inf for slab in
                       (skin[np.abs(skin[:, 1] - height) <= thick] for height in heights)])  # fmt: skip
    wide = np.flatnonzero(widths > SHOULDER * widths.min())
    narrow = int(np.argmin(widths))
    below = wide[wide > narrow]
    return float(heights[below[0] - 1] if len(below) else heights[-1])
