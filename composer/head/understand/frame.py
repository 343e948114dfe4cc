"""The head's own frame: which way is its left, up and ahead, from symmetry, motion and openings, not from the file.

Left and right are the two sides of the mirror plane. Ahead is where the skin that moves looks to. Up is voted for: the
eyes lie above the mouth, the lower jaw moves down, the largest open border (the neck) lies below, and files stand with
y or z up. The frame snaps to the file's axes where it lies near them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components

from composer.head.understand.midline import Midline
from composer.head.understand.motion import Motion
from composer.head.understand.opening import Opening

Floats = NDArray[np.float64]
SNAP_SIDE_DEG, SNAP_TILT_DEG = 8.0, 50.0
"""A frame this near to the file's axes is taken to be theirs: motion does not tell how far a head nods."""
ABOVE, OPENS, BELOW, STANDS = (
    "the eyes lie above the mouth", "the jaw opens downwards", "the largest open border lies below",
    "files stand with y or z up",
)  # fmt: skip
SNAPPED = "snapped to the file's axes"
EYES, JAW, BORDER, FILE = 3.0, 1.0, 1.5, 0.5
"""Weights of the votes for which way is up (set on four heads, none of which a single vote decides)."""


@dataclass(frozen=True, eq=False)
class HeadFrame:
    """`axes` (3, 3): rows are the subject's left, up and ahead, unit vectors of the file's space; `offset` mm is where
    the midline lies along left. `off_mm` is what the mirror plane misses; `reasons` say what up was told by.
    """

    axes: Floats
    offset: float
    off_mm: float
    reasons: tuple[str, ...] = ()

    def local(self, points: Floats) -> Floats:
        """(k, 3) points in the head's frame: mm to the left of the midline, up, ahead."""
        out = points @ self.axes.T
        out[..., 0] -= self.offset
        return out

    def world(self, places: Floats) -> Floats:
        """(k, 3) places of the head's frame in the file's space."""
        return (np.asarray(places, dtype=np.float64) + [self.offset, 0.0, 0.0]) @ self.axes

    @property
    def evidence(self) -> tuple[str, ...]:
        """Those reasons that the head itself gives."""
        return tuple(each for each in self.reasons if each in (ABOVE, OPENS, BELOW))

    @property
    def sure(self) -> bool:
        """Whether the head itself tells which way is up: by eyes over a mouth, or by a jaw that opens downwards and a
        border below.
        """
        return ABOVE in self.reasons or {OPENS, BELOW} <= set(self.reasons)

    @property
    def along_the_file(self) -> bool:
        """Whether left, up and ahead are axes of the file, whichever."""
        return bool(np.allclose(np.abs(self.axes).max(axis=1), 1.0))

    @property
    def as_the_file(self) -> bool:
        """Whether left is x, up is y and ahead is z."""
        return bool(np.allclose(self.axes, np.eye(3)))

    @property
    def words(self) -> str:
        """The frame in words: which axis of the file each of its own is."""
        names = []
        for axis in self.axes:
            k = int(np.argmax(np.abs(axis)))
            sign = "+" if axis[k] > 0 else "-"
            names.append(f"{sign}{'xyz'[k]}" if abs(axis[k]) > 1 - 1e-9 else f"about {sign}{'xyz'[k]}")
        return f"left is {names[0]}, up {names[1]}, ahead {names[2]}"


def head_frame(motion: Motion, midline: Midline, opening: Opening, eye_centres: Floats) -> HeadFrame:
    """The frame of a head; `eye_centres` (e, 3) mm, empty where no eyeball was found."""
    side = midline.normal
    ahead = _ahead(motion, side)
    mouth = _mouth(motion, opening)
    if mouth is not None and len(eye_centres):
        up = eye_centres.mean(axis=0) - mouth[0]
    elif mouth is not None:
        up = -mouth[1]
    else:
        up = np.eye(3)[1] if abs(side[1]) < 0.7 and abs(ahead[1]) < 0.7 else np.eye(3)[2]
    up = _unit(_without(_without(up, side), ahead), np.cross(ahead, side))
    up, reasons = _voted(motion, up, mouth, eye_centres)
    axes = np.stack([np.cross(up, ahead), up, ahead])
    axes, snapped = _snapped(axes)
    if snapped:
        reasons = (*reasons, SNAPPED)
    return HeadFrame(axes, midline.offset * float(np.sign(axes[0] @ side) or 1.0), midline.off_mm, reasons)


def _ahead(motion: Motion, side: Floats) -> Floats:
    """(3,) where the skin that moves looks to; the file's z where nothing moves."""
    skin = motion.skin
    area = motion.head.surface.vertex_areas[skin]
    look = (area * motion.furthest[skin]) @ motion.head.surface.vertex_normals[skin]
    look = _without(look, side)
    if float(np.linalg.norm(look)) < 1e-3 * float((area * motion.furthest[skin]).sum()) or not motion.count:
        look = _without(np.eye(3)[2] if abs(side[2]) < 0.7 else np.eye(3)[1], side)
    return _unit(look, np.eye(3)[2])


def _mouth(motion: Motion, opening: Opening) -> tuple[Floats, Floats] | None:
    """Where the mouth parts (3,) and how its further side moves (3,); None where nothing parts."""
    if opening.shape is None:
        return None
    delta = motion.shape(opening.shape)
    much = opening.parted > 0.4 * opening.parted.max()
    a, b = opening.pairs.a[much], opening.pairs.b[much]
    rest = motion.head.neutral
    more = np.linalg.norm(delta[a], axis=1) > np.linalg.norm(delta[b], axis=1)
    further = np.where(more[:, None], delta[a], delta[b])
    return ((rest[a] + rest[b]) / 2.0).mean(axis=0), further.sum(axis=0)


def _voted(
    motion: Motion, up: Floats, mouth: tuple[Floats, Floats] | None, eye_centres: Floats
) -> tuple[Floats, tuple[str, ...]]:  # fmt: skip
    """`up` (3,) or its opposite, whichever has more votes, and what the votes for it were."""
    votes: list[tuple[str, float]] = []
    if mouth is not None and len(eye_centres):
        rise = float((eye_centres.mean(axis=0) - mouth[0]) @ up)
        votes.append((ABOVE, EYES * float(np.sign(rise))))
    if mouth is not None:
        votes.append((OPENS, -JAW * float(np.sign(mouth[1] @ up))))
    border = _largest_border(motion)
    if border is not None:
        points = motion.head.neutral[motion.skin]
        fall = float((points.mean(axis=0) - motion.head.neutral[border].mean(axis=0)) @ up)
        sure = float(np.clip(fall / (0.2 * np.ptp(points @ up)), -1.0, 1.0))
        votes.append((BELOW, BORDER * sure))
    upright = up[1] if abs(up[1]) > 0.7 else up[2] if abs(up[2]) > 0.7 else 0.0
    votes.append((STANDS, FILE * float(np.sign(upright))))
    total = sum(weight for _, weight in votes)
    sign = -1.0 if total < 0 else 1.0
    return sign * up, tuple(words for words, weight in votes if sign * weight > 0)


def _largest_border(motion: Motion) -> NDArray[np.int64] | None:
    """The vertices of the skin's open border of the largest extent; None where it is closed."""
    polygons, on = motion.head.polygons, motion.pieces.on_skin
    edges = polygons.edges[polygons.edge_use == 1]
    edges = edges[on[edges[:, 0]]]
    if not len(edges):
        return None
    import scipy.sparse as sp

    vertices, place = np.unique(edges, return_inverse=True)
    place = place.reshape(-1, 2)
    graph = sp.csr_matrix((np.ones(len(edges)), (place[:, 0], place[:, 1])), shape=(len(vertices),) * 2)
    count, label = connected_components(graph, directed=False)
    loops = [vertices[label == k] for k in range(count)]
    return max(loops, key=lambda loop: float(np.ptp(motion.head.neutral[loop], axis=0).sum()))


def _snapped(axes: Floats) -> tuple[Floats, bool]:
    most = np.argmax(np.abs(axes), axis=1)
    nearest = np.eye(3)[most] * np.sign(axes[np.arange(3), most])[:, None]
    tilt = np.degrees(np.arccos(np.clip(np.einsum("ij,ij->i", axes, nearest), -1.0, 1.0)))
    apart = len({int(np.argmax(np.abs(row))) for row in nearest}) == 3
    if apart and tilt[0] < SNAP_SIDE_DEG and float(tilt.max()) < SNAP_TILT_DEG:
        return nearest, float(tilt.max()) > 1e-3
    return axes, False


def _without(vector: Floats, axis: Floats) -> Floats:
    return vector - (vector @ axis) * axis


def _unit(vector: Floats, otherwise: Floats) -> Floats:
    length = float(np.linalg.norm(vector))
    return vector / length if length > 1e-12 else otherwise
