"""People whose true form is known: sculpts in another topology, landmarks exact and as a hand clicks them, and one fit.

`MOUE_REAL/library_a` holds four sculpts of people of the library's own linear model, the true places of the skin's
vertices on them, and twelve further people as heads that were fitted earlier.
"""

from __future__ import annotations

import os
import time
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.bench.real_heads import UNIT_MM, real_heads
from composer.formats.registry import read_mesh
from composer.geometry.polygons import Polygons
from composer.head.head import Head
from composer.head.landmarks import Landmarks

Floats = NDArray[np.float64]
PEOPLE = (1, 2, 3, 4)
FACE = slice(0, 6706)
"""The narrow face of that library, as its own description has it."""
EXACT, CLICKED = "exact", "clicked"
ORDER = (36, 39, 42, 45, 30, 48, 54, 8, 27, 33, 31, 35, 51, 57, 0, 16, 17, 19, 21, 22, 24, 26, 4, 12, 37, 44, 41, 46, 2,
         14)  # fmt: skip
"""The order in which a person would place the 68 usual points: eye corners, nose, mouth corners, chin; nose, lips,
ears; brows, jaw, lids."""
COUNTS = {EXACT: (4, 8, 16, 30), CLICKED: (8, 16, 30)}
KERNELS = ("cubic", "multiquadric", "thin_plate_spline")
MULTIQUADRIC_MM = 47.5
"""Width of the multiquadric, in mm of the library."""


@dataclass(frozen=True, eq=False)
class Person:
    """A sculpt's `positions` (m, 3) mm with its `polygons`, the `true` places (s, 3) mm of the library's skin on it,
    and the 68 points on it, `exact` and `clicked` (68, 3) mm; `vertices` (68,) are theirs on the library."""

    number: int
    positions: Floats
    polygons: Polygons
    true: Floats
    exact: Floats
    clicked: Floats
    vertices: NDArray[np.int64]

    def marks(self, count: int, kind: str, head: Head) -> Landmarks:
        """The first `count` points on the sculpt, placed as `kind` says, by the names that the library has for them."""
        assert head.landmarks is not None
        names = {place: name for name, place in head.landmarks.points.items()}
        places = self.exact if kind == EXACT else self.clicked
        return Landmarks({names[int(self.vertices[i])]: _position(places[i]) for i in ORDER[:count]}, {})


@dataclass(frozen=True)
class Fit:
    """One fit of a person: through `count` landmarks of a `kind`, with so many `earlier` heads. Mean true error of the
    whole fit over the face and over the skin in mm; the same of the best radial basis with closest points, and which it
    was; correlations over face and skin of the true error with how far the skin may slide (`slide`) and with the
    distance to the nearest landmark (`nearest`); processor time in seconds of the fit and of the peer."""

    person: int
    kind: str
    count: int
    earlier: int
    face_mm: float
    skin_mm: float
    peer_face_mm: float
    peer_skin_mm: float
    peer: str
    slide: tuple[float, float]
    nearest: tuple[float, float]
    seconds: float
    peer_seconds: float = 0.0

    @property
    def ratios(self) -> tuple[float, float]:
        """The error over the peer's, over the face and the skin."""
        return self.face_mm / self.peer_face_mm, self.skin_mm / self.peer_skin_mm


@cache
def library() -> tuple[Head, Floats]:
    """The library in mm with its landmarks, and the neutrals (h, n, 3) mm of earlier heads."""
    return real_heads("fit of people")


@cache
def person(number: int) -> Person:
    """The person of a sculpt, from 1 on."""
    folder = Path(os.environ["MOUE_REAL"]) / "library_a"
    mesh = read_mesh(folder / f"sculpt_{number}.ply")
    with np.load(folder / "truth.npz") as truth:
        name = f"sculpt_{number}"
        return Person(
            number, mesh.positions * UNIT_MM, mesh.polygons, truth[name].astype(np.float64) * UNIT_MM,
            truth[f"{name}_landmarks"] * UNIT_MM, truth[f"{name}_clicked"] * UNIT_MM,
            truth["landmarks68"].astype(np.int64),
        )  # fmt: skip


@cache
def measured(number: int, kind: str, count: int, like: tuple[int, ...] = ()) -> Fit:
    """A person fitted as the command does, with the earlier heads of these numbers, and the best radial basis."""
    from composer.fitting.fit_state import FitOptions, FitState
    from composer.fitting.stages import STAGES

    head, earlier = library()
    one = person(number)
    assert head.landmarks is not None
    options = FitOptions(like=tuple(earlier[i] for i in like), up_to=0)
    state = FitState(head, head.landmarks, one.positions, one.polygons, one.marks(count, kind, head), options)
    begun = time.process_time()
    for stage in STAGES:
        state = stage.run(state, lambda fraction, words: None)
    seconds = time.process_time() - begun
    error = errors(one, np.asarray(state.levels[0].positions, dtype=np.float64))
    begun = time.process_time()
    peers = {kernel: means(errors(one, radial(one, kind, count, kernel))) for kernel in KERNELS}
    peer_seconds = (time.process_time() - begun) / len(KERNELS)
    peer = min(peers, key=lambda kernel: peers[kernel][0])
    points = state.pairs.sculpt
    away = np.linalg.norm(one.true[:, None] - points[None], axis=2).min(axis=1)
    face, skin = means(error)
    return Fit(
        number, kind, count, len(like), face, skin, *peers[peer], peer,
        _correlations(state.bent.slide_mm[: len(error)], error), _correlations(away, error), seconds, peer_seconds,
    )  # fmt: skip


def radial(one: Person, kind: str, count: int, kernel: str) -> Floats:
    """(s, 3) mm, the skin carried by a radial basis through the landmarks and laid onto the closest points (scipy's
    RBFInterpolator, degree 1; common practice, no source)."""
    from scipy.interpolate import RBFInterpolator

    from composer.fitting.closest import ClosestSurface
    from composer.geometry.rigid import similarity

    head, _ = library()
    ids = list(ORDER[:count])
    source, target = head.neutral[one.vertices[ids]], (one.exact if kind == EXACT else one.clicked)[ids]
    move = similarity(source, target)
    width = {"epsilon": 1.0 / MULTIQUADRIC_MM} if kernel == "multiquadric" else {}
    warp = RBFInterpolator(move(source), target - move(source), kernel=kernel, degree=1, **width)
    laid = move(head.neutral[: len(one.true)])
    surface = ClosestSurface(one.positions, one.polygons.triangles)
    return np.asarray(surface.closest(laid + warp(laid)).points)


def non_rigid_peers(one: Person, kind: str, count: int) -> dict[str, tuple[float, float]]:
    """Mean error over face and skin in mm of trimesh's `nricp_sumner` and `nricp_amberg` on the skin, by name."""
    import trimesh
    from trimesh.registration import nricp_amberg, nricp_sumner

    from composer.geometry.rigid import similarity

    head, _ = library()
    ids = list(ORDER[:count])
    vertices, target = one.vertices[ids], (one.exact if kind == EXACT else one.clicked)[ids]
    move = similarity(head.neutral[vertices], target)
    skin = len(one.true)
    triangles = head.polygons.triangles
    cage = trimesh.Trimesh(move(head.neutral[:skin]), triangles[(triangles < skin).all(axis=1)], process=False)
    dense = trimesh.Trimesh(one.positions, one.polygons.triangles, process=False)
    return {
        peer.__name__: means(errors(one, np.asarray(
            peer(cage, dense, source_landmarks=vertices, target_positions=target)
        ))) for peer in (nricp_sumner, nricp_amberg)
    }  # fmt: skip


def errors(one: Person, positions: Floats) -> Floats:
    """(s,) mm between the skin's vertices and their true places."""
    return np.asarray(np.linalg.norm(positions[: len(one.true)] - one.true, axis=1))


def means(error: Floats) -> tuple[float, float]:
    """The mean over the face and over the skin."""
    return float(error[FACE].mean()), float(error.mean())


def _correlations(estimate: Floats, error: Floats) -> tuple[float, float]:
    if not np.ptp(estimate) > 0:
        return float("nan"), float("nan")
    return float(np.corrcoef(estimate[FACE], error[FACE])[0, 1]), float(np.corrcoef(estimate, error)[0, 1])


def _position(place: Floats) -> tuple[float, float, float]:
    x, y, z = map(float, place)
    return x, y, z
