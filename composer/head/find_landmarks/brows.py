"""The brows, a guess: where what raises and what lowers the brow moves the skin most, smoothed to a parabola.

On heads whose brows are known the line lies within 1 to 3 mm and its ends within 6 to 11: a person should look.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.head.find_landmarks.depth import convexity
from composer.head.find_landmarks.face import Face
from composer.head.find_landmarks.lids import Lids

Floats = NDArray[np.float64]
SLICES = 13
BEYOND = (0.2, 0.55)
"""Of the lids' width: how far a brow reaches beyond their inner and outer corner (two heads whose brows are known)."""
SHARP = 6.0
"""The power that motion is raised to, so that only its ridge counts."""


def brow_of(face: Face, lids: Lids) -> tuple[Floats, dict[str, Floats]] | None:
    """A brow's line (13, 3) from its inner end, and by word its two ends and its peak; None where nothing tells."""
    s = face.scale
    top = float(lids.upper[:, 1].max())
    moves = _brow_motion(face, top, float(lids.inner[2]))
    ridge, moving = [], []
    width = float(lids.outer[0] - lids.inner[0])
    for lateral in np.linspace(lids.inner[0] - BEYOND[0] * width, lids.outer[0] + BEYOND[1] * width, SLICES):
        up = np.arange(top + 2.0 * s, top + 30.0 * s, 0.5 * s)
        ahead = face.front.profile(float(lateral), up)
        stands = convexity(up, ahead, 10)
        if np.isfinite(stands).any():
            best = int(np.argmax(np.where(np.isfinite(stands), stands, -np.inf)))
            ridge.append([lateral, up[best], ahead[best]])
        if moves is not None:
            places, amount = moves
            near = np.abs(places[:, 0] - lateral) < 4.0 * s
            if int(near.sum()) > 2:
                weight = amount[near] ** SHARP
                height = float((weight @ places[near, 1]) / max(float(weight.sum()), 1e-300))
                depth = face.front.about(float(lateral), height)
                if np.isfinite(depth):
                    moving.append([lateral, height, depth])
    line = np.array(moving if len(moving) > 6 else ridge)
    if len(line) < 5:
        return None
    line[:, 1] = np.polyval(np.polyfit(line[:, 0], line[:, 1], 2), line[:, 0])
    return line, {"medial": line[0], "peak": line[int(np.argmax(line[:, 1]))], "lateral": line[-1]}


def _brow_motion(face: Face, top: float, inner_ahead: float) -> tuple[Floats, Floats] | None:
    """Places (k, 3) above an eye and how much both raising and lowering move them (k,) in [0, 1]."""
    s, motion = face.scale, face.anatomy.motion
    skin = motion.skin
    place = face.places[skin]
    about = (place[:, 1] > top - s) & (place[:, 1] < top + 40.0 * s) & (place[:, 2] > inner_ahead - 35.0 * s)
    if not motion.count or not about.any():
        return None
    local = np.flatnonzero(about)
    far = np.zeros((motion.count, len(local)))
    rise = np.zeros((motion.count, len(local)))
    peaks = np.zeros(motion.count, dtype=np.int64)
    most = np.zeros(motion.count)
    for i in range(motion.count):
        delta = motion.one(i, skin)
        size = np.linalg.norm(delta, axis=1)
        peaks[i], most[i] = int(np.argmax(size)), float(size.max())
        far[i], rise[i] = size[local], delta[local] @ face.anatomy.frame.axes[1]
    whose = np.isin(peaks, np.flatnonzero(about & (place[:, 1] > top))) & (most > 1e-3 * motion.size)
    if not whose.any():
        return None
    upwards = np.array([rise[i, np.argmax(far[i])] > 0 for i in range(motion.count)])
    share = far / np.maximum(most[:, None], 1e-12)
    raising, lowering = whose & upwards, whose & ~upwards
    if raising.any() and lowering.any():
        amount = np.sqrt(share[raising].max(axis=0) * share[lowering].max(axis=0))
    else:
        amount = share[whose].max(axis=0)
    return place[local], amount
