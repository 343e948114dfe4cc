"""Where a head's skin can go through something in a mix: lips and lids through each other, lids through eyeballs, lips
and cheeks through teeth.

Found once a head, from its landmark curves and from what its parts are (`what_parts_are`), never from their names.
What is missing is told in plain words. Lengths are shares of the lines' length.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from composer.contact.facing import FacingSide
from composer.contact.hard_piece import HardPiece, rigid_part
from composer.contact.lines import meetings, missing_curves, parts_nothing
from composer.contact.patch import Patch
from composer.contact.piece_patch import PiecePatch
from composer.geometry.part import part_of
from composer.geometry.surface import Surface
from composer.head.head import Head, Part
from composer.head.plain_names import plain_name
from composer.head.understand.part_words import what_parts_are

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
ABOUT_LIPS, ABOUT_LIDS = 0.6, 0.8
"""How far about its lines the skin gives way: 32 mm about an adult's lips, 21 mm about its lids, so that the inside of
a lid down to its fold is within it: with 0.6, 91 percent of what lies in the eyes of a library of 27,000 vertices is
taken away, with 0.8 98."""
ROOM_LIPS, ROOM_LIDS = 0.0018, 0.0029
"""What a mix may be deeper than its shapes: 0.1 mm on an adult's lips and lids."""
CELL_BALL, CELL_TEETH, BAND = 0.018, 0.022, 0.06
"""Of a piece's grid: the width of a cell, 0.6 mm about lids and 1.2 mm about teeth, and how far out it reaches."""
COMES_NEAR = 0.04
"""Skin that comes no nearer to a piece than this in any shape is not asked about it; less than its grid reaches."""
LEAST_WINDOW = 0.05
"""Skin that can follow no more than this is not asked either."""
LIDS_AGAIN = 2
"""Times that the correction of lids is sought, once more at the corrected pose where something is left; that of a mouth
once, since others are found across from rolled lips then, and a sweep jumps."""
RADII_AWAY = 2.0
"""Lids whose middle lies further from a ball's centre than so many of its radii are another's."""


@dataclass(frozen=True, eq=False)
class HardSide:
    """The vertices `own` (k,) of a patch that can come to a hard `piece`; `words` say what meets, in the plural."""

    words: str
    own: Ints
    piece: HardPiece


@dataclass(frozen=True, eq=False)
class ContactPlace:
    """One patch of skin, as vertices of the head (m,), with the sides that face each other and what is hard beside it.

    `words` say what `sides` are when they meet, `passes` how often the correction is sought again at the corrected
    pose, `room_mm` what a mix may be deeper than its shapes.
    """

    patch: Patch
    vertices: Ints
    words: str
    sides: tuple[FacingSide, ...]
    hard: tuple[HardSide, ...]
    passes: int
    room_mm: float


def contact_places(
    head: Head, progress: Callable[[float], None] | None = None
) -> tuple[list[ContactPlace], list[str]]:  # fmt: skip
    """The places of a head, and a sentence for each thing that is missing. `progress` is told the share that is done,
    in [0, 1]."""
    skin = np.flatnonzero(head.skin)
    if nothing := parts_nothing(head):
        return [], [nothing]
    missing = [f"Without the landmark curve {plain_name(name)} nothing is parted." for name in missing_curves(head)]
    if not len(skin):
        return [], missing
    number = np.full(head.n_vertices, -1, dtype=np.int64)
    number[skin] = np.arange(len(skin))
    surface = _skin_surface(head, skin)
    told = what_parts_are(head)
    places = []
    met = meetings(head, number)
    for done, meeting in enumerate(met):
        if progress is not None:
            progress(done / len(met))
        about = ABOUT_LIDS if meeting.lids else ABOUT_LIPS
        patch = Patch(surface, replace(meeting, about=about))
        sides = _facing(surface, patch)
        lines = surface.positions[np.concatenate([meeting.upper, meeting.lower])]
        kinds = _balls(head, told, lines) if meeting.lids else _kind(head, told, "teeth") + _kind(head, told, "tongue")
        hard = _hard(head, patch, skin[patch.vertices], lines, kinds, meeting.name, meeting.lids)
        if meeting.lids and not hard:
            missing.append(f"No eyeball is known behind {meeting.name}: nothing keeps them off it.")
        if not meeting.lids and not any(told[part.name] == "teeth" for part in kinds):
            missing.append("No teeth are known behind the lips: nothing keeps them apart.")
        length = patch.length_mm
        if sides or hard:
            room = (ROOM_LIDS if meeting.lids else ROOM_LIPS) * length
            passes = LIDS_AGAIN if meeting.lids else 1
            places.append(ContactPlace(patch, skin[patch.vertices], meeting.name, sides, hard, passes, room))
        if not meeting.lids:
            places += [_tongue(head, part, lines, length, _kind(head, told, "teeth"))
                       for part in _kind(head, told, "tongue")]  # fmt: skip
    missing += _not_rigid(head, told)
    return [each for each in places if each.sides or each.hard], missing


def _tongue(head: Head, part: Part, lines: Floats, length_mm: float, teeth: list[Part]) -> ContactPlace:
    """A tongue as a patch of its own, which gives way to teeth."""
    vertices = np.asarray(part.vertices, dtype=np.int64)
    patch = PiecePatch(Surface(part_of(head.polygons, vertices), head.neutral[vertices]), length_mm)
    hard = _hard(head, patch, vertices, lines, teeth, "the tongue", False)
    return ContactPlace(patch, vertices, "the tongue", (), hard, 1, ROOM_LIPS * length_mm)


def _kind(head: Head, told: Mapping[str, str], kind: str) -> list[Part]:
    return [part for part in head.parts if told.get(part.name) == kind and len(part.vertices)]


def _not_rigid(head: Head, told: Mapping[str, str]) -> list[str]:
    """What is left out because it changes its form."""
    deltas = [shape.delta for shape in head.expressions]
    parts = [part for kind in ("teeth", "tongue", "eye") for part in _kind(head, told, kind)]
    return [f"{part.name} changes its form in shapes: nothing is kept off it."
            for part in parts if rigid_part(head.neutral, deltas, part.vertices) is None]  # fmt: skip


def _skin_surface(head: Head, skin: Ints) -> Surface:
    return Surface(part_of(head.polygons, skin), head.neutral[skin])


def _facing(surface: Surface, patch: Patch) -> tuple[FacingSide, ...]:
    one, other = patch.sides
    if not len(one) or not len(other):
        return ()
    rest, normals = surface.positions[patch.vertices], surface.vertex_normals[patch.vertices]
    return tuple(
        FacingSide(rest, normals, own, across, patch.length_mm, patch.edge_mm)
        for own, across in ((one, other), (other, one))
    )


def _balls(head: Head, told: Mapping[str, str], lines: Floats) -> list[Part]:
    """The eyeball that lids lie about, at most RADII_AWAY of its radii from its centre."""
    near = []
    for part in head.parts:
        if told.get(part.name) == "eye" and len(part.vertices):
            points = head.neutral[part.vertices]
            centre = points.mean(axis=0)
            radius = float(np.median(np.linalg.norm(points - centre, axis=1)))
            away = float(np.linalg.norm(lines.mean(axis=0) - centre)) / max(radius, np.finfo(float).tiny)
            if away < RADII_AWAY:
                near.append((away, part))
    return [min(near, key=lambda each: each[0])[1]] if near else []


def _hard(
    head: Head, patch: Patch, vertices: Ints, lines: Floats, parts: Sequence[Part], words: str, ball: bool
) -> tuple[HardSide, ...]:  # fmt: skip
    deltas = [shape.delta for shape in head.expressions]
    axes = np.linalg.svd(lines - lines.mean(axis=0))[2]
    able = np.flatnonzero(patch.window > LEAST_WINDOW)
    found = []
    for part in parts:
        firm = rigid_part(head.neutral, deltas, part.vertices)
        if firm is None:
            continue
        triangles = _within(head, firm)
        if not len(triangles):
            continue
        length, cell = patch.length_mm, CELL_BALL if ball else CELL_TEETH
        piece = HardPiece(head.neutral, firm, triangles, axes, cell * length, BAND * length, ball=ball)
        own = able[_nearest(head, deltas, piece, vertices[able]) < COMES_NEAR * length]
        if len(own):
            found.append(HardSide(f"{words} and {part.name}", own, piece))
    return tuple(found)


def _nearest(head: Head, deltas: Sequence[NDArray], piece: HardPiece, vertices: Ints) -> Floats:
    """(k,) mm the nearest that the vertices (k,) come to a piece at rest and in any shape."""
    least = piece.away(head.neutral, head.neutral[vertices])
    for delta in deltas:
        if delta[vertices].any() or delta[piece.vertices].any():
            pose = head.neutral + delta
            least = np.minimum(least, piece.away(pose, pose[vertices]))
    return np.asarray(least)


def _within(head: Head, vertices: Ints) -> NDArray[np.int32]:
    """The triangles (t, 3) whose corners are all among vertices (k,)."""
    chosen = np.zeros(head.n_vertices, dtype=bool)
    chosen[vertices] = True
    triangles = head.polygons.triangles
    return np.asarray(triangles[chosen[triangles].all(axis=1)])
