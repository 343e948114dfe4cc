"""The face that landmarks are looked for on: its own frame, its scale, its eyes and where its mouth parts."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.head.find_landmarks.depth import DepthMap
from composer.head.find_landmarks.holes import eye_holes_of
from composer.head.head import Head
from composer.head.understand.anatomy import Anatomy, anatomy_of

Floats = NDArray[np.float64]
SIDES = ((1, "left"), (-1, "right"))
EYES_APART = 63.0
"""mm between the eye centres of the face that lengths here are said for (Dodgson 2004, "Variation and extrema of human
interpupillary distance", mean 63.4 mm; ANSUR II 2012 62.9, the mean of men and women; both from memory).
"""
WIDTH = 150.0
"""mm across the skin of that face, where no eyeball tells its size (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class Face:
    """A head seen in its own frame: lateral (left +), up, ahead, in mm."""

    head: Head
    anatomy: Anatomy

    @classmethod
    def of(cls, head: Head) -> Face:
        """The face of a head."""
        return cls(head, anatomy_of(head))

    @cached_property
    def places(self) -> Floats:
        """(n, 3) every vertex in the head's frame."""
        return self.anatomy.frame.local(self.head.neutral)

    @cached_property
    def eyes(self) -> dict[str, tuple[Floats, float]]:
        """By side the centre (3,) of the eyeball in the head's frame and its radius, mm; of a mask without eyeballs, of
        the ball that its eye hole would hold.
        """
        local = self.anatomy.frame.local
        found = {
            "left" if eye.side > 0 else "right": (local(eye.sphere.centre[None])[0], eye.sphere.radius)
            for eye in self.anatomy.eyes
        }
        return found or eye_holes_of(self.head.polygons, self.skin, self.places, self.mouth)

    @cached_property
    def scale(self) -> float:
        """How many times larger than the face that lengths are said for."""
        if len(self.eyes) == 2:
            return abs(float(self.eyes["left"][0][0] - self.eyes["right"][0][0])) / EYES_APART
        return float(np.ptp(self.places[self.skin, 0])) / WIDTH

    @cached_property
    def skin(self) -> NDArray[np.bool_]:
        """(n,) the skin's own piece."""
        return self.anatomy.pieces.on_skin

    @cached_property
    def normals(self) -> Floats:
        """(n, 3) vertex normals in the head's frame."""
        return self.head.surface.vertex_normals @ self.anatomy.frame.axes.T

    @cached_property
    def mouth(self) -> Floats | None:
        """(3,) about where the mouth parts; None where no shape opens it."""
        opening = self.anatomy.opening
        if opening.shape is None:
            return None
        much = opening.parted > 0.4 * float(np.quantile(opening.parted, 0.995))
        return ((self.places[opening.pairs.a[much]] + self.places[opening.pairs.b[much]]) / 2.0).mean(axis=0)

    @cached_property
    def front(self) -> DepthMap:
        """How far ahead the skin of the face lies, seen from the front."""
        s = self.scale
        centre = np.mean([eye for eye, _ in self.eyes.values()], axis=0) if self.eyes else self.mouth
        low, high = np.array([-95.0, -165.0]) * s, np.array([95.0, 100.0]) * s
        if centre is None:
            centre = self.places[self.skin].mean(axis=0)
        return DepthMap(
            self.places, self.anatomy.pieces.skin_triangles, 0.5 * s, low + [0.0, centre[1]], high + [0.0, centre[1]]
        )

    @cached_property
    def graph(self) -> sp.csr_matrix:
        """(n, n) the lengths of the skin's edges, mm."""
        edges = self.head.polygons.edges
        edges = edges[self.skin[edges[:, 0]]]
        length = np.linalg.norm(self.places[edges[:, 0]] - self.places[edges[:, 1]], axis=1)
        one = sp.coo_matrix((np.maximum(length, 1e-9), (edges[:, 0], edges[:, 1])), shape=(self.head.n_vertices,) * 2)
        return (one + one.T).tocsr()

    @property
    def even(self) -> bool:
        """Whether left and right are mirror images but for a share of a millimetre."""
        return self.anatomy.frame.off_mm < 2e-3 * self.anatomy.motion.size
