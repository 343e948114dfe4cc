"""The ears, a guess: the only skin beside the head that looks back towards it is the back of the ear."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components

from composer.head.find_landmarks.face import SIDES, Face

Floats = NDArray[np.float64]
BACK = -0.15
"""Cosine to the side's outward direction, at most: skin that looks back to the head."""
LATERAL = 0.6
"""Of half the head's width: the ears lie further out."""
OUTWARD, OUTER = 0.6, 0.82
"""The ear's rearmost place is also far out; its front is looked for beyond this share of how far out it reaches."""
TALL = 25.0
"""mm: the least height of an ear."""


def ears_of(face: Face, eyes_up: float, base_up: float, nose_ahead: float) -> dict[str, Floats]:
    """superaurale, subaurale, postaurale and tragion of each ear that is found, by name, (3,) in the head's frame.

    `eyes_up`, `base_up` and `nose_ahead` are how high the eyes and the nose's base lie, and how far ahead that, in mm.
    """
    s, places = face.scale, face.places
    near = face.skin & (places[:, 1] < eyes_up + 40.0 * s) & (places[:, 1] > base_up - 35.0 * s)
    if not near.any():
        return {}
    half = float(np.ptp(places[near, 0])) / 2.0
    adjacency = face.head.polygons.adjacency
    out: dict[str, Floats] = {}
    for sign, side in SIDES:
        beside = near & (sign * places[:, 0] > LATERAL * half)
        back = beside & (sign * face.normals[:, 0] < BACK) & (places[:, 2] < nose_ahead - 60.0 * s)
        if int(back.sum()) < 6:
            continue
        for _ in range(2):
            back |= (adjacency @ back.astype(np.float64) > 0) & beside
        index = np.flatnonzero(back)
        label = connected_components(adjacency[index][:, index], directed=False)[1]
        ear = places[index[label == np.bincount(label).argmax()]]
        if float(np.ptp(ear[:, 1])) < TALL * s:
            continue
        out[f"superaurale_{side}"] = ear[np.argmax(ear[:, 1])]
        out[f"subaurale_{side}"] = ear[np.argmin(ear[:, 1])]
        out[f"postaurale_{side}"] = ear[np.argmax(OUTWARD * sign * ear[:, 0] - ear[:, 2])]
        outer = ear[sign * ear[:, 0] > OUTER * float((sign * ear[:, 0]).max())]
        height = (float(ear[:, 1].max()) + float(ear[:, 1].min())) / 2.0
        out[f"tragion_{side}"] = np.array([sign * OUTER * np.abs(ear[:, 0]).max(), height, float(outer[:, 2].max())])
    return out
