"""Which place of the face each vertex of a head's skin belongs to: nose, ears, eyes, lips, or elsewhere.

A place has evidence: landmark points and curves, the free zones behind the lips and lids, and the cavities that lie in
it. A vertex belongs to the place whose evidence is nearest, in shares of that place's reach, and to none beyond every
reach. Reaches are in mm on a face whose pupils are 62.9 mm apart, and grow with the face.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface
from composer.head.landmarks import Landmarks
from masks.face_frame import FaceFrame, face_frame

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]

PLACES = ("nose", "ears", "eyes", "lips")
ELSEWHERE, INSIDE = "elsewhere", "mouth's inside"
NAMES = (*PLACES, INSIDE, ELSEWHERE)
"""All that a polygon's place can be."""
PUPILS_MM = 62.9
"""Distance of the pupils to which the reaches below belong: ANSUR II 2012, mean of men and women, from memory."""
REACH_MM = {"nose": 14.0, "ears": 32.0, "eyes": 12.0, "lips": 12.0}
"""How far a place reaches beyond its evidence (our choice: half a nose, an ear about its canal, the lids, the lips)."""
STEMS = {
    "nose": ("pronasale", "subnasale", "alare", "subalare"),
    "ears": ("tragion", "superaurale", "subaurale", "postaurale", "otobasion", "ear_rim"),
    "eyes": ("endocanthion", "exocanthion", "palpebrale", "upper_lid", "lower_lid", "socket"),
    "lips": ("cheilion", "labiale", "stomion", "upper_lip", "lower_lip", "lip_line", "mouth_inner"),
}
"""How the names of landmarks begin that are evidence for a place (the field's own names)."""
EARS_ASIDE = 0.8
"""A cavity that no landmark explains belongs to an ear where it lies further from the midline than this share of the
pupils' distance: an ear canal does at 1.1, an outer eye corner at .7 (our choice)."""


def face_places(surface: Surface, marks: Landmarks, positions: Rows, cavities: Sequence[Flags]) -> NDArray[np.int64]:
    """(s,) the place of each skin vertex of `surface`: its number in PLACES, or len(PLACES) for elsewhere.

    `marks` are the landmarks on the whole head's neutral `positions` (n, 3) mm; `cavities` are flags (s,) of the skin.
    """
    points = {name: np.asarray(marks.position(name, positions), dtype=np.float64) for name in marks.points}
    frame = face_frame(surface, points, PUPILS_MM)
    evidence = {place: _marked(place, points, marks, positions) for place in PLACES}
    for flags in cavities:
        place = _place_of(surface.positions[flags], evidence, frame)
        if place is not None:
            evidence[place] = np.concatenate([evidence[place], surface.positions[flags]])
    share = np.full((len(PLACES) + 1, surface.n_vertices), np.inf)
    share[-1] = 1.0
    for i, place in enumerate(PLACES):
        if len(evidence[place]):
            share[i] = cKDTree(evidence[place]).query(surface.positions)[0] / (REACH_MM[place] * frame.scale)
    return share.argmin(axis=0)


def _marked(place: str, points: dict[str, Rows], marks: Landmarks, positions: Rows) -> Rows:
    """(k, 3) mm the landmark points and the points of curves that are evidence for a place."""
    stems = STEMS[place]
    lines = [marks.curve_positions(name, positions) for name in marks.curves if name.startswith(stems)]
    single = [at[None] for name, at in points.items() if name.startswith(stems)]
    return np.concatenate([*lines, *single, np.zeros((0, 3))])


def _place_of(cavity: Rows, evidence: dict[str, Rows], frame: FaceFrame) -> str | None:
    """The place that a cavity with vertices (k, 3) mm belongs to, None where nothing says."""
    nearest = {
        place: float(cKDTree(at).query(cavity)[0].min()) / (REACH_MM[place] * frame.scale)
        for place, at in evidence.items()
        if len(at)
    }
    best = min(nearest, key=lambda place: nearest[place], default=None)
    if best is not None and nearest[best] <= 1.0:
        return best
    aside = abs(float(frame.side_mm(cavity).mean()))
    return "ears" if aside > EARS_ASIDE * PUPILS_MM * frame.scale else None


def mouth_inside(
    surface: Surface, marks: Landmarks, positions: Rows, cavities: Sequence[Flags], places: NDArray[np.int64]
) -> Flags:  # fmt: skip
    """(s,) the vertices of the lips' place that lie in a cavity, out of reach of all landmarks of the lips; arguments
    as of `face_places`, and its result."""
    points = {name: np.asarray(marks.position(name, positions), dtype=np.float64) for name in marks.points}
    reach = REACH_MM["lips"] * face_frame(surface, points, PUPILS_MM).scale
    marked = _marked("lips", points, marks, positions)
    near = np.logical_or.reduce([np.zeros(surface.n_vertices, dtype=bool), *cavities])
    inside = near & (places == PLACES.index("lips"))
    if len(marked):
        inside &= cKDTree(marked).query(surface.positions)[0] > reach
    return inside


def place_names(polygons: Polygons, places: NDArray[np.int64], inside: Flags) -> NDArray[np.str_]:
    """(f,) the name of each polygon's place, that of most of its corners; `places` (s,) is as `face_places` gives it,
    `inside` (s,) as `mouth_inside` does."""
    kinds = len(NAMES)
    of = np.where(inside, NAMES.index(INSIDE), np.where(places == len(PLACES), NAMES.index(ELSEWHERE), places))
    votes = np.bincount(
        polygons.corner_face.astype(np.int64) * kinds + of[polygons.indices], minlength=kinds * polygons.n_faces
    ).reshape(-1, kinds)
    return np.array(NAMES)[votes.argmax(axis=1)]


def counted_by_place(names: NDArray[np.str_], faces: Flags) -> dict[str, int]:
    """How many of the flagged polygons (f,) lie in each place; `names` (f,) are as `place_names` gives them. Every
    place is named, also the mouth's inside and elsewhere."""
    return {name: int((faces & (names == name)).sum()) for name in NAMES}
