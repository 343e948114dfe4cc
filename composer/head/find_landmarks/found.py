"""All landmarks of a head that nobody has marked, on its skin, with what is only a guess and what was not found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.errors import MoueError
from composer.geometry.barriers import edge_path
from composer.geometry.closest_on_triangle import closest_on_triangles
from composer.geometry.nearest import NearestSurface
from composer.head.find_landmarks.along_edges import along_edges
from composer.head.find_landmarks.brows import brow_of
from composer.head.find_landmarks.ears import ears_of
from composer.head.find_landmarks.face import Face
from composer.head.find_landmarks.lids import Lids, lids_of
from composer.head.find_landmarks.lips import LipLine, lip_line, stomion, vermilion
from composer.head.find_landmarks.profile import midline_points, nose_wings
from composer.head.find_landmarks.proportions import guessed_places, neck_ring
from composer.head.head import Head
from composer.head.places import Landmarks, Place, SurfacePoint
from composer.head.understand.bound import triangles_about

Floats = NDArray[np.float64]
ON_VERTEX = 1e-6


@dataclass(frozen=True, eq=False)
class FoundLandmarks:
    """`landmarks` on the skin; `guesses`, the names that are only guessed; `missing` {what: why} that was not found."""

    landmarks: Landmarks
    guesses: frozenset[str]
    missing: Mapping[str, str]

    @property
    def words(self) -> str:
        """What was found, in a sentence."""
        points, curves = len(self.landmarks.points), len(self.landmarks.curves)
        sure = points + curves - len(self.guesses)
        return (
            f"Landmarks were found by form and motion: {points} points and {curves} curves, {sure} of them measured, "
            f"{len(self.guesses)} guessed by proportion (look at brows, ears and cheeks first)."
        )


def find_landmarks(head: Head) -> FoundLandmarks:
    """The landmarks of a head from its form and motion alone.

    A head without an opening mouth has none of the mouth, one without eyeballs none of the eyes: those are in
    `missing`, each with its reason.
    """
    face = Face.of(head)
    points: dict[str, Floats] = {}
    curves: dict[str, NDArray] = {}
    guesses: set[str] = set()
    missing: dict[str, str] = {}
    lips = lip_line(face)
    lids = {side: found for side in ("left", "right") if (found := lids_of(face, side)) is not None}
    if lips is None:
        missing["mouth, nose and chin"] = "no shape opens the mouth, so the lip line was not found"
    else:
        _mouth(face, lips, points, curves)
        guesses |= {name for name in points if name.startswith("alare")}  # the wing's widest place is a soft one
    for side in ("left", "right"):
        if side not in lids:
            missing[f"{side} eye and brow"] = "neither an eyeball nor an eye hole was found"
            continue
        _eye(face, side, lids[side], points, curves, guesses)
    if lips is not None:
        _sides(face, stomion(lips), points, curves, guesses)
    return FoundLandmarks(_on_skin(face, points, curves), frozenset(guesses), missing)


def _mouth(face: Face, lips: LipLine, points: dict[str, Floats], curves: dict[str, NDArray]) -> None:
    middle = stomion(lips)
    points["stomion"] = middle
    for side, corner in lips.corners.items():
        points[f"cheilion_{side}"] = face.places[corner]
    points |= midline_points(face, middle)
    for name, vertices in (("lip_line_upper", lips.upper), ("lip_line_lower", lips.lower)):
        curves[name] = np.r_[lips.corners["right"], vertices, lips.corners["left"]]
    for name, border, upwards in (("upper_lip", "labiale_superius", 1), ("lower_lip", "labiale_inferius", -1)):
        if border in points:
            curves[name] = vermilion(face, lips.line, points[border], upwards)
    if "subnasale" in points and "pronasale" in points:
        points |= nose_wings(face, points["subnasale"], points["pronasale"])


def _eye(
    face: Face, side: str, lids: Lids, points: dict[str, Floats], curves: dict[str, NDArray], guesses: set[str]
) -> None:
    points[f"endocanthion_{side}"], points[f"exocanthion_{side}"] = lids.inner, lids.outer
    points[f"palpebrale_superius_{side}"] = lids.upper[np.argmax(lids.upper[:, 1])]
    points[f"palpebrale_inferius_{side}"] = lids.lower[np.argmin(lids.lower[:, 1])]
    curves[f"upper_lid_{side}"], curves[f"lower_lid_{side}"] = lids.upper, lids.lower
    brow = brow_of(face, lids)
    if brow is not None:
        curves[f"brow_{side}"] = brow[0]
        for word, place in brow[1].items():
            points[f"brow_{word}_{side}"] = place
        guesses |= {f"brow_{side}", *(f"brow_{word}_{side}" for word in brow[1])}


def _sides(
    face: Face, middle: Floats, points: dict[str, Floats], curves: dict[str, NDArray], guesses: set[str]
) -> None:
    guessed = guessed_places(face, middle, points.get("labiale_superius"))
    if face.eyes and "subnasale" in points:
        eyes = float(np.mean([eye[1] for eye, _ in face.eyes.values()]))
        guessed |= ears_of(face, eyes, float(points["subnasale"][1]), float(points["subnasale"][2]))
    for name, place in guessed.items():
        points.setdefault(name, place)
    guesses |= set(guessed)
    ring = neck_ring(face, middle)
    if ring is not None:
        curves["neck_border"] = ring
        guesses.add("neck_border")


def _on_skin(face: Face, points: Mapping[str, Floats], curves: Mapping[str, NDArray]) -> Landmarks:
    """Points as places on the skin, curves as vertices of it in order."""
    head, skin = face.head, np.flatnonzero(face.skin)
    triangles = face.anatomy.pieces.skin_triangles
    places: dict[str, Place] = {}
    if points:
        wanted = face.anatomy.frame.world(np.array(list(points.values())))
        triangles = triangles_about(head.neutral, triangles, wanted)
        nearest = triangles[NearestSurface(head.neutral, triangles)(wanted).triangle]
        bary = closest_on_triangles(wanted, head.neutral[nearest])[0]
        for name, corners, weights in zip(points, nearest, bary, strict=True):
            places[name] = _place(corners, weights)
    tree = cKDTree(head.neutral[skin])
    lines: dict[str, NDArray[np.int32]] = {}
    for name, curve in curves.items():
        vertices = curve if curve.ndim == 1 else None
        if vertices is None and "lid" in name:  # a lid's edge is a row of the mesh
            vertices = along_edges(curve, face.places, face.graph, skin)
        if vertices is None:
            vertices = skin[tree.query(face.anatomy.frame.world(curve))[1]]
        vertices = vertices[np.r_[True, vertices[1:] != vertices[:-1]]]
        if name.startswith("lip_line"):
            try:
                vertices = edge_path(head.surface, vertices)
            except MoueError:
                continue
        lines[name] = vertices.astype(np.int32)
    return Landmarks(places, lines)


def _place(corners: NDArray, weights: Floats) -> Place:
    if float(weights.max()) > 1.0 - ON_VERTEX:
        return int(corners[int(np.argmax(weights))])
    a, b = (round(float(each), 6) for each in weights[:2])
    return SurfacePoint((int(corners[0]), int(corners[1]), int(corners[2])), (a, b, round(1.0 - a - b, 6)))
