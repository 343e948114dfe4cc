"""The neutral of a demo head: skin and parts of one character, with all that a library of shapes builds upon."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.demo.body import MIRROR, Body, both_halves
from composer.demo.brows import RINGS as BROW_RINGS
from composer.demo.brows import brow
from composer.demo.character import Character
from composer.demo.ear import place_ear, place_ear_root
from composer.demo.eye import place_lids, shape_lids
from composer.demo.eyeball import eyeball
from composer.demo.fairing import ease_over, iron
from composer.demo.field import EYE, EYE_RADIUS, Field
from composer.demo.folds import shape_folds
from composer.demo.guess import grid_guess
from composer.demo.lashes import lashes
from composer.demo.layout import COLUMNS, EYE_RINGS, MOUTH_RINGS, ROWS, Layout, half_layout, ring, turned_alike
from composer.demo.marks import LOWER_LID, landmarks
from composer.demo.mouth import place_lips
from composer.demo.nose import place_nose, shape_nose
from composer.demo.primitives import rise
from composer.demo.proportion import proportioned
from composer.demo.skin_uv import skin_uv
from composer.demo.teeth import crowns, gum, tongue
from composer.demo.untangle import untangle
from composer.geometry.polygons import Polygons
from composer.head.head import Head, Part, TextureCoordinates
from composer.head.landmarks import Landmarks

Rows = NDArray[np.float64]
Ints = NDArray[np.int64]

HINGE = np.array([0.0, -22.0, 8.0])  # a point of the jaw's axis, which runs along x, before the proportions
FOLLOWS = {"teeth_lower": "jaw", "gum_lower": "jaw", "tongue": "jaw"} | {
    f"{hair}_{side}": "surface" for hair in ("lashes_upper", "lashes_lower", "brow") for side in ("left", "right")
}


@dataclass(frozen=True, eq=False)
class DemoNeutral:
    """A neutral and what is known of it. Vertices of the skin come first, then part after part.

    `positions` (n, 3) mm; `mirror` (n,) the vertex on the other side; `rings` index arrays (rings, points) from the
    outside inwards: eye_left, eye_right (14, 24; rings named by layout.EYE_RINGS, point 0 the inner corner, 12 the
    outer, 1..11 the upper lid), mouth (15, 36; layout.MOUTH_RINGS, point 0 the upper midline, 9 the left corner, 18
    the lower midline, 27 the right corner), ear_left, ear_right (11, 24; layout.EAR_RINGS), nostril_left and _right
    (4, 8; layout.NOSTRIL_RINGS); `grid_left`, `grid_right` (28, 35) the face's columns and rows, -1 in its holes.
    `eye_left`, `eye_right` (3,) eyeball centres and `eye_radius` in mm; `jaw_hinge` (3,) a point of the jaw's axis,
    whose direction is x.
    """

    character: Character
    polygons: Polygons
    positions: Rows
    groups: dict[str, NDArray[np.int32]]
    parts: tuple[Part, ...]
    uv: TextureCoordinates
    landmarks: Landmarks
    rings: dict[str, Ints]
    grid_left: Ints
    grid_right: Ints
    mirror: Ints
    n_skin: int
    eye_left: Rows
    eye_right: Rows
    eye_radius: float
    jaw_hinge: Rows

    def head(self) -> Head:
        """The neutral as a head without shapes."""
        return Head(
            self.character.name, self.polygons, self.positions, parts=self.parts, groups=self.groups, uv=self.uv,
            landmarks=self.landmarks,
        )  # fmt: skip


def build_neutral(character: Character) -> DemoNeutral:
    """The neutral of a character; the same character gives the same bytes. Takes a second or two."""
    layout = half_layout()
    half = proportioned(character, _half_skin(character, layout))
    mirror, positions, quads = _whole_skin(layout, half)
    names = _face_groups(layout)
    centre = proportioned(character, EYE[None])[0]
    bodies = _part_bodies(character, layout, half, centre)

    groups = {name: np.flatnonzero(names == name).astype(np.int32) for name in dict.fromkeys(names)}
    uv = [skin_uv(layout, positions, quads, mirror, names)]
    parts, first, face = [], len(positions), len(quads)
    everything, mirrors, corners = [positions], [mirror], [quads]
    pair_of = {name: name.replace("_left", "_right") for name in bodies if name.endswith("_left")}
    pair_of |= {right: left for left, right in pair_of.items()}
    starts = {}
    for name, body in bodies.items():
        starts[name] = first
        count = len(body.positions)
        parts.append(Part(name, np.arange(first, first + count, dtype=np.int32), FOLLOWS.get(name, "skull")))  # type: ignore[arg-type]
        groups[name] = np.arange(face, face + len(body.quads), dtype=np.int32)
        everything.append(body.positions)
        corners.append(body.quads + first)
        first, face = first + count, face + len(body.quads)
    for name, body in bodies.items():
        mirrors.append(body.mirror + starts[pair_of.get(name, name)])
    uv += _part_uv(bodies)
    quads_all = np.concatenate(corners)
    n = first
    polygons = Polygons(np.full(len(quads_all), 4), quads_all.ravel(), n)
    at = np.concatenate(everything)
    return DemoNeutral(
        character, polygons, at, groups, tuple(parts), _coordinates(uv), landmarks(layout, half, mirror),
        _all_rings(layout, mirror), layout.grid, np.where(layout.grid >= 0, mirror[layout.grid], -1),
        np.concatenate(mirrors), len(positions), centre, centre * MIRROR, EYE_RADIUS,
        proportioned(character, HINGE[None])[0],
    )  # fmt: skip


def _half_skin(character: Character, layout: Layout) -> Rows:
    """(n, 3) the left half of the skin, before the proportions."""
    field = Field(character)
    at, ease = grid_guess(character, layout)
    on_skin = np.zeros(layout.n, dtype=bool)
    on_skin[layout.grid[layout.grid >= 0]] = True
    on_skin[layout.cap.ravel()] = True
    at[on_skin] = field.project(at[on_skin], 8)
    at[layout.midline, 0] = 0.0
    place_lids(character, layout, at, ease)
    held = place_nose(field, layout, at)
    place_lips(field, layout, at, ease)
    place_ear_root(field, layout, at)
    held[layout.ear[0]] = True
    on_skin[layout.eye[1:6].ravel()] = True
    on_skin[layout.mouth[1:3].ravel()] = True
    on_skin[layout.grid[:, ROWS]] = False
    at[layout.grid[:, ROWS]] = _neck_border(field, layout, at)
    on_skin &= ~held
    ease[held] = 0.0
    ease_over(field, layout, at, ease, on_skin)
    iron(layout, at, _nape(layout))
    shape_lids(field, layout, at)
    shape_nose(field, layout, at)
    shape_folds(field, layout, at)
    place_ear(field, layout, at)
    at[layout.midline, 0] = 0.0
    flat = np.logical_not(_rims(layout)[layout.quads].all(axis=1))
    untangle(at, turned_alike(layout.quads), _freedom(layout), flat, layout.midline)
    return at


def _nape(layout: Layout) -> Rows:
    """(n,) where the neck meets jaw and skull: there the field's creases run across the cage's columns."""
    share = np.zeros(layout.n)
    columns, rows = np.arange(10, COLUMNS + 1), np.arange(13, ROWS)
    patch = layout.grid[np.ix_(columns, rows)]
    along, down = columns.astype(np.float64), rows.astype(np.float64)
    amount = np.outer(rise(along, 9, 14), rise(down, 12, 16) * (1 - rise(down, 29, 33)))
    share[patch[patch >= 0]] = amount[patch >= 0]
    share[layout.ear[0]] = 0.0
    return share


def _rims(layout: Layout) -> NDArray[np.bool_]:
    """(n,) the rims of lids, lips and ears, where quads are bent by their nature."""
    rims = np.zeros(layout.n, dtype=bool)
    rims[layout.eye[ring(EYE_RINGS, "middle") :]] = True
    rims[layout.mouth[ring(MOUTH_RINGS, "roll") :]] = True
    rims[layout.ear[1:]] = True
    rims[np.concatenate([layout.eye_fill.ravel(), layout.ear_fill.ravel(), layout.mouth_fill.ravel()])] = True
    return rims


def _freedom(layout: Layout) -> Rows:
    """(n,) how freely untangling may move a vertex: not the lids' margins, the lips' contact, the neck's end."""
    free = np.ones(layout.n)
    free[layout.eye[ring(EYE_RINGS, "edge") : ring(EYE_RINGS, "margin_back") + 1]] = 0.0
    free[layout.mouth[ring(MOUTH_RINGS, "contact_front") : ring(MOUTH_RINGS, "contact_back") + 1]] = 0.0
    free[layout.grid[:, ROWS]] = 0.0
    return free


def _neck_border(field: Field, layout: Layout, at: Rows) -> Rows:
    """The lowest row moved onto the skin within its own level plane."""
    border = at[layout.grid[:, ROWS]].copy()
    level = border[:, 1].mean()
    for _ in range(12):
        border[:, 1] = level
        border[[0, -1], 0] = 0.0
        slope = field.gradient(border)[:, [0, 2]]
        border[:, [0, 2]] -= (field.distance(border) / np.maximum((slope**2).sum(1), 0.2))[:, None] * slope
    border[[0, -1], 0] = 0.0
    return border


def _whole_skin(layout: Layout, half: Rows) -> tuple[Ints, Rows, Ints]:
    """The mirror map (n,), positions (n, 3) and quads (m, 4) of the whole skin, turned outwards."""
    positions, mirror, other = both_halves(half, layout.midline)
    quads = turned_alike(layout.quads)
    points = half[quads]
    normal = np.cross(points[:, 2] - points[:, 0], points[:, 3] - points[:, 1])
    if (normal * points.mean(1)).sum() < 0:
        quads = quads[:, ::-1]
    return mirror, positions, np.concatenate([quads, other[quads][:, ::-1]])


def _face_groups(layout: Layout) -> NDArray:
    left = [f"{g}_left" if g in ("socket", "ear", "nostril") else g for g in layout.group]
    right = [f"{g}_right" if g in ("socket", "ear", "nostril") else g for g in layout.group]
    return np.array(left + right)


def _all_rings(layout: Layout, mirror: Ints) -> dict[str, Ints]:
    rings = {}
    for name, ids in (("eye", layout.eye), ("ear", layout.ear), ("nostril", layout.nostril)):
        rings[f"{name}_left"], rings[f"{name}_right"] = ids, mirror[ids]
    rings["mouth"] = np.concatenate([layout.mouth, mirror[layout.mouth[:, 1:-1][:, ::-1]]], axis=1)
    return rings


def _part_bodies(character: Character, layout: Layout, half: Rows, centre: Rows) -> dict[str, Body]:
    """Every part by name, in the order of the head's parts."""
    left = eyeball()
    left = Body(left.positions - EYE + centre, left.quads, left.mirror, left.uv)
    front = float(half[layout.mouth[7, 0], 2] - 69.0 - 28.6)
    bodies = {"eye_left": left, "eye_right": _reflected(left)}
    inside = {
        "teeth_upper": crowns(True, front), "teeth_lower": crowns(False, front),
        "gum_upper": gum(True, front), "gum_lower": gum(False, front), "tongue": tongue(front),
    }  # fmt: skip
    for name, body in inside.items():
        bodies[name] = Body(proportioned(character, body.positions), body.quads, body.mirror, body.uv)
    edge, margin = (half[layout.eye[ring(EYE_RINGS, name)]] for name in ("edge", "margin_front"))
    for lid, ids in (("upper", np.arange(13)), ("lower", LOWER_LID)):
        body = lashes(edge[ids], margin[ids], centre, lid == "upper", character.lashes)
        bodies[f"lashes_{lid}_left"], bodies[f"lashes_{lid}_right"] = body, _reflected(body)
    hair = brow(np.stack([half[layout.eye[ring(EYE_RINGS, name)]] for name in BROW_RINGS]), character.brow)
    bodies["brow_left"], bodies["brow_right"] = hair, _reflected(hair)
    return bodies


def _reflected(body: Body) -> Body:
    return Body(body.positions * MIRROR, body.quads[:, ::-1], body.mirror, body.uv[:, ::-1])


def _part_uv(bodies: dict[str, Body]) -> list[Rows]:
    """Each part's uv in its own cell of the strip at the right of the picture."""
    out = []
    for i, body in enumerate(bodies.values()):
        column, row = i % 2, i // 2
        cell = np.array([0.81 + 0.095 * column, 0.01 + 0.085 * row])
        out.append(cell + body.uv * np.array([0.085, 0.075]))
    return out


def _coordinates(uv: list[Rows]) -> TextureCoordinates:
    """One table without doubles, and an index for each corner."""
    flat = np.concatenate([u.reshape(-1, 2) for u in uv])
    table, index = np.unique(np.round(flat, 9), axis=0, return_inverse=True)
    return TextureCoordinates(table, index.reshape(-1).astype(np.int32))
