"""What a head is found to be, in one: pieces, motion, opening, mirror plane, eyes, frame, gaze and jaw.

Made once for a head and kept with it; the parts and the landmarks are told from it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.head.head import Head
from composer.head.understand.eyeballs import Eye, eyes_of
from composer.head.understand.frame import HeadFrame, head_frame
from composer.head.understand.gaze import Gaze, gaze_of
from composer.head.understand.jaw import Jaw, jaw_of
from composer.head.understand.midline import midline_of
from composer.head.understand.motion import Motion
from composer.head.understand.opening import Opening, opening_of
from composer.head.understand.part_names import Said, names_of
from composer.head.understand.pieces import Pieces, pieces_of

NEAR_EYE = 1.9
"""In the ball's radii: what lies nearer to its centre, in the median, belongs to the eye."""


@dataclass(frozen=True, eq=False)
class Anatomy:
    """What is known of one head from form and motion. `said` is what names say of each piece."""

    pieces: Pieces
    motion: Motion
    opening: Opening
    eyes: tuple[Eye, ...]
    frame: HeadFrame
    gaze: Gaze
    jaw: Jaw | None
    said: tuple[Said | None, ...]

    def eye_near(self, vertices: NDArray) -> Eye | None:
        """The eye about whose ball these vertices (k,) lie; None where they lie about none."""
        points = self.motion.head.neutral[vertices]
        for eye in self.eyes:
            away = float(np.median(np.linalg.norm(points - eye.sphere.centre, axis=1)))
            side = float(self.frame.local(points)[:, 0].mean())
            if away < NEAR_EYE * eye.sphere.radius and side * eye.side > 0:
                return eye
        return None


def anatomy_of(head: Head) -> Anatomy:
    """The anatomy of a head, found when first asked for."""
    known = vars(head).get("anatomy")
    if known is None:
        known = vars(head)["anatomy"] = _found(head)
    return known


def with_anatomy_of(head: Head, before: Head) -> Head:
    """The same head, with the anatomy, the surface and the coarser level of one that shares its polygons, neutral and
    shapes."""
    for name in ("anatomy", "surface", "coarser"):
        if name in vars(before):
            vars(head)[name] = vars(before)[name]
    return head


def _found(head: Head) -> Anatomy:
    pieces = pieces_of(head.polygons, head.neutral)
    motion, said = Motion(head, pieces), names_of(head, pieces)
    opening = opening_of(motion)
    midline = midline_of(head.neutral[motion.skin])
    named = {piece for piece, words in enumerate(said) if words is not None and words.kind == "eye"}
    eyes = eyes_of(motion, midline, named)
    centres = np.array([eye.sphere.centre for eye in eyes]).reshape(-1, 3)
    frame = head_frame(motion, midline, opening, centres)
    if frame.axes[0] @ midline.normal < 0:
        eyes = [eye.other_side() for eye in reversed(eyes)]
    held = {piece for eye in eyes for piece in eye.pieces}
    near = Anatomy(pieces, motion, opening, tuple(eyes), frame, Gaze((), ""), None, tuple(said))
    mouth = [piece for piece in pieces.others if piece not in held and near.eye_near(pieces.of[piece]) is None]
    gaze, jaw = gaze_of(motion, eyes, frame), jaw_of(motion, opening, mouth)
    return Anatomy(pieces, motion, opening, tuple(eyes), frame, gaze, jaw, tuple(said))
