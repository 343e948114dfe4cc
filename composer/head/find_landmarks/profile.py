"""The midline of the face: nose, lips, folds and chin, by the extremes and the curvature of its profile."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from composer.head.find_landmarks.depth import behind_chord, convexity
from composer.head.find_landmarks.face import Face

Floats = NDArray[np.float64]


def midline_points(face: Face, stomion: Floats) -> dict[str, Floats]:
    """Landmarks of the midline by name, (3,) in the head's frame, from where the lips meet. Lengths below are mm of a
    face whose eyes are 63 mm apart; they bound where each is looked for (common practice, no source).
    """
    s, places = face.scale, face.places
    lowest = max(float(places[face.skin, 1].min()), float(stomion[1]) - 90.0 * s)
    highest = min(float(places[face.skin, 1].max()), float(stomion[1]) + 130.0 * s)
    up = np.arange(lowest, highest, 0.5 * s)
    ahead = face.front.profile(0.0, up)
    if not np.isfinite(ahead).any():
        return {}

    def at(height: float) -> int:
        return int(np.clip(np.searchsorted(up, height), 3, len(up) - 4))

    def place(index: int) -> Floats:
        return np.array([0.0, up[index], ahead[index]])

    mouth = at(float(stomion[1]))
    eyes = at(float(np.mean([eye[1] for eye, _ in face.eyes.values()]))) if face.eyes else at(up[mouth] + 68.0 * s)
    if eyes <= mouth + 8:
        return {}
    out: dict[str, Floats] = {}
    tip = mouth + 4 + int(np.argmax(ahead[mouth + 4 : eyes]))
    out["pronasale"] = place(tip)
    fold = convexity(up, ahead, 12)
    near = np.arange(at(up[eyes] - 9.0 * s), at(up[eyes] + 14.0 * s))
    sellion = int(near[np.argmin(np.where(np.isfinite(fold[near]), fold[near], np.inf))])
    out["sellion"] = place(sellion)
    out["glabella"] = place(sellion + int(np.argmax(ahead[sellion : at(up[sellion] + 25.0 * s)])))
    base = behind_chord(up, ahead, mouth + 2, tip)
    lip = mouth + int(np.argmax(ahead[mouth : base + 1]))
    base = behind_chord(up, ahead, lip, tip) if base - lip > 4 else base
    out["subnasale"] = place(base)
    stands = convexity(up, ahead, 4)
    out["labiale_superius"] = place(lip + int(np.argmax(stands[lip : max(base - 4, lip + 2)])))
    out |= _below(face, up, ahead, stands, mouth, at)
    return out


def _below(
    face: Face, up: Floats, ahead: Floats, stands: Floats, mouth: int, at: Callable[[float], int]
) -> dict[str, Floats]:
    """Lower lip, the fold below it, and the chin."""
    s, places = face.scale, face.places

    def place(index: int) -> Floats:
        return np.array([0.0, up[index], ahead[index]])

    deepest = at(up[mouth] - 48.0 * s)
    search = np.arange(deepest, max(at(up[mouth] - 18.0 * s), deepest + 2))
    chin = int(search[np.argmax(ahead[search])])
    lip = mouth - int(np.argmax(ahead[mouth - 1 : at(up[mouth] - 13.0 * s) : -1]))
    fold = behind_chord(up, ahead, chin, lip)
    lower = np.arange(deepest, max(fold - 6, deepest + 1))
    chin = int(lower[np.argmax(ahead[lower])])
    fold = behind_chord(up, ahead, chin, lip)
    border = lip - int(np.argmax(stands[lip:fold:-1])) if lip - fold > 3 else lip
    out = {"labiale_inferius": place(border), "sublabiale": place(fold), "pogonion": place(chin)}
    under = (
        face.skin & (np.abs(places[:, 0]) < 4.0 * s) & (places[:, 1] < up[chin] + 2.0 * s)
        & (places[:, 1] > up[chin] - 30.0 * s) & (places[:, 2] > ahead[chin] - 28.0 * s)
    )  # fmt: skip
    if under.any():
        below = places[under]
        out["gnathion"] = below[np.argmax(below @ [0.0, -0.8, 0.6])] * [0.0, 1.0, 1.0]
        out["menton"] = below[np.argmax(below @ [0.0, -1.0, 0.15])] * [0.0, 1.0, 1.0]
    return out


def nose_wings(face: Face, subnasale: Floats, pronasale: Floats) -> dict[str, Floats]:
    """alare and subalare of both sides: in rows between the nose's base and tip, where the depth falls most steeply,
    the widest row. On an even head both sides are read as one.
    """
    s, front = face.scale, face.front
    lateral = np.arange(4.0 * s, 32.0 * s, 0.5 * s)
    rows = np.arange(float(subnasale[1]), float(pronasale[1]) + 3.0 * s, 0.75 * s)
    depth = {}
    for sign in (1, -1):
        steps = np.array([-0.3, 0.0, 0.3])[:, None, None] * s
        seen = front.at(sign * lateral[None, None] + steps, np.broadcast_to(rows[None, :, None], (1, len(rows), 1)))
        depth[sign] = np.where(np.isfinite(seen), seen, np.nan).max(axis=0)
    if face.even:
        mean = np.nanmean(np.stack([depth[1], depth[-1]]), axis=0) if np.isfinite(depth[1]).any() else depth[1]
        depth = {1: mean, -1: mean}
    out: dict[str, Floats] = {}
    for sign, side in ((1, "left"), (-1, "right")):
        best = None
        for height, row in zip(rows, depth[sign], strict=True):
            fall = np.convolve(np.nan_to_num(np.diff(row)), np.ones(4) / 4.0, mode="same")
            edge = int(np.argmin(fall))
            around = row[max(edge - 2, 0) : edge + 1]
            if np.isfinite(around).any() and (best is None or lateral[edge] > best[0]):
                best = np.array([lateral[edge], height, float(np.nanmax(around))])
        if best is None:
            continue
        out[f"alare_{side}"] = best * [sign, 1, 1]
        wing, height = 0.62 * float(best[0]), float(subnasale[1]) + 0.8 * s
        ahead = front.about(sign * wing, height)
        if np.isfinite(ahead):
            out[f"subalare_{side}"] = np.array([sign * wing, height, ahead])
    return out
