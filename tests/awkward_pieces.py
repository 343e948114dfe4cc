"""Pieces that libraries have and the demo has not: eyes in layers, rooted lashes, mouths of one and of forty pieces."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from composer.demo.layout import EYE_RINGS, ring
from composer.geometry.rigid import similarity
from tests.awkward_surgery import (
    AwkwardHead,
    Ints,
    Rows,
    cut_apart,
    with_faces,
    with_pair,
    with_vertices,
    without_faces,
    without_parts,
)  # fmt: skip

SIDES = ("left", "right")
IRIS_DEG, IRIS_DEPTH = 28.0, 0.93
"""Half angle of an iris from the ball's axis, and where its disc lies, in radii of the ball."""
SHEET_MM = 0.35
"""How far a sheet lies off the ball, mm."""
FORWARD = np.array([0.0, 0.0, 1.0])


def strip(columns: int, rows: int) -> Ints:
    """(m, 4) quads of a sheet of vertices numbered row after row."""
    at = np.arange(rows * columns).reshape(rows, columns)
    return np.stack([at[:-1, :-1], at[:-1, 1:], at[1:, 1:], at[1:, :-1]], axis=-1).reshape(-1, 4)


def layered_eyes(a: AwkwardHead, rings: dict[str, Ints]) -> AwkwardHead:
    """With an iris within each ball, a wet sheet along the lower lid and an occlusion sheet across the opening."""
    balls = {side: _Ball(a, side) for side in SIDES}
    around, rows = 16, 4
    turn = 2 * np.pi * np.arange(around) / around
    out = np.linspace(0.25, 1.0, rows)
    disc = np.stack([np.outer(out, np.cos(turn)), np.outer(out, np.sin(turn)), np.zeros((rows, around))], axis=-1)
    quads = strip(around, rows)
    closing = np.arange(rows)[:, None] * around + np.array([around - 1, 0])
    seam = np.stack([closing[:-1, 0], closing[:-1, 1], closing[1:, 1], closing[1:, 0]], axis=-1)
    irises = [balls[side].iris(disc.reshape(-1, 3)) for side in SIDES]
    a = with_pair(a, "iris", irises, np.concatenate([quads, seam]), FORWARD)
    sheets = [_wet(a, rings[f"eye_{side}"], balls[side]) for side in SIDES]
    a = with_pair(a, "wet", sheets, strip(11, 2), FORWARD)
    sheets = [_occlusion(a, rings[f"eye_{side}"], balls[side]) for side in SIDES]
    return with_pair(a, "occlusion", sheets, strip(11, 5), FORWARD)


class _Ball:
    """The ball of one side: its centre (3,), its radius in mm and its rigid motion in every shape."""

    def __init__(self, a: AwkwardHead, side: str) -> None:
        at = a.vertices(f"eye_{side}")
        places = a.positions[at]
        system = np.column_stack([2 * places, np.ones(len(places))])
        solution = np.linalg.lstsq(system, (places**2).sum(axis=1), rcond=None)[0]
        self.centre = solution[:3]
        self.radius = float(np.median(np.linalg.norm(places - self.centre, axis=1)))
        self.flip = np.array([1.0 if side == "left" else -1.0, 1.0, 1.0])
        self.motions = [similarity(places, places + delta[at], scaled=False) for delta in a.deltas]

    def iris(self, disc: Rows) -> tuple[Rows, Rows]:
        """A disc (k, 3) of radius 1 about the z axis, put into the ball, and how it turns with it."""
        tall = IRIS_DEPTH * self.radius * np.cos(np.radians(IRIS_DEG))
        at = self.centre + (disc * self.radius * IRIS_DEPTH * np.sin(np.radians(IRIS_DEG)) + tall * FORWARD) * self.flip
        return at, np.stack([motion(at) - at for motion in self.motions])

    def outside(self, at: Rows, centre: Rows) -> Rows:
        """(k, 3) places brought out to the sheet's distance, where they are nearer to the `centre` (3,)."""
        arm = at - centre
        away = np.linalg.norm(arm, axis=1, keepdims=True)
        return centre + arm * np.maximum(1.0, (self.radius + SHEET_MM) / away)


def _wet(a: AwkwardHead, rings: Ints, ball: _Ball) -> tuple[Rows, Rows]:
    """Roots in the very places of the lower lid's back margin, and a row above them on the ball, moved alike."""
    low = 24 - np.arange(1, 12)
    roots = rings[ring(EYE_RINGS, "margin_back"), low]
    root = a.positions[roots]
    rise = ball.outside(root + np.array([0.0, 1.2, 0.0]), ball.centre)
    moved = a.deltas[:, roots].astype(np.float64)
    return np.concatenate([root, rise]), np.concatenate([moved, moved], axis=1)


def _occlusion(a: AwkwardHead, rings: Ints, ball: _Ball) -> tuple[Rows, Rows]:
    """From the upper lid's margin to the lower one's, column by column, in front of the ball, drawn along by both."""
    up = np.arange(1, 12)
    upper, lower = (rings[ring(EYE_RINGS, "margin_front"), column] for column in (up, 24 - up))
    share = np.linspace(0.0, 1.0, 5)[:, None, None]

    def between(positions: Rows, centre: Rows) -> Rows:
        rows = ((1 - share) * positions[upper] + share * positions[lower]).reshape(-1, 3)
        rows[11:-11] = ball.outside(rows[11:-11], centre)
        return rows

    rest = between(a.positions, ball.centre)
    poses = [(a.positions + delta, motion(ball.centre[None])[0]) for delta, motion in
             zip(a.deltas, ball.motions, strict=True)]  # fmt: skip
    return rest, np.stack([between(pose, centre) - rest for pose, centre in poses])


def rooted_lashes(a: AwkwardHead, rings: dict[str, Ints]) -> AwkwardHead:
    """With one strip a lid in place of the strands, its roots in the very places of the lid's edge."""
    a = without_parts(a, "lashes")
    for lid, columns, rise in (("upper", np.arange(1, 12), 0.5), ("lower", 24 - np.arange(1, 12), -0.35)):
        sides = []
        for side in SIDES:
            ball = _Ball(a, side)
            roots = rings[f"eye_{side}"][ring(EYE_RINGS, "edge"), columns]
            arm = a.positions[roots] - ball.centre
            out = arm / np.linalg.norm(arm, axis=1, keepdims=True) + np.array([0.0, rise, 0.0])
            rows = [a.positions[roots] + length * out for length in (0.0, 3.0, 6.0)]
            moved = [_turned_with(arm, a.deltas[s, roots], [row - ball.centre for row in rows])
                     for s in range(len(a.deltas))]  # fmt: skip
            sides.append((np.concatenate(rows), np.stack(moved)))
        a = with_pair(a, f"lashes_{lid}", sides, strip(11, 3), FORWARD + np.array([0.0, -rise, 0.0]))
    return a


def _turned_with(arm: Rows, delta: NDArray, rows: list[Rows]) -> Rows:
    """What rows (k, 3) of arms move by, as their root's arm (k, 3) is turned by `delta` (k, 3): the root by `delta`."""
    moved = arm + delta
    a, b = (each / np.linalg.norm(each, axis=1, keepdims=True) for each in (arm, moved))
    axis, cosine = np.cross(a, b), (a * b).sum(axis=1, keepdims=True)
    out = []
    for row in rows:
        beyond = row - arm
        turned = beyond * cosine + np.cross(axis, beyond) + axis * (axis * beyond).sum(1, keepdims=True) / (1 + cosine)
        out.append(delta + turned - beyond)
    return np.concatenate(out)


def mouth_of_one_piece(a: AwkwardHead) -> AwkwardHead:
    """Gums and tongue joined at the back by some quads, and they and all teeth in one group: one object, both jaws."""
    upper, lower, tongue = (a.vertices(name) for name in ("gum_upper", "gum_lower", "tongue"))
    ends = [gum[80:88] for gum in (upper, lower)]
    root = tongue[a.head.polygons.border_vertices[tongue]]
    side = root[np.argsort(-a.positions[root, 0])[:2]]
    joints = [[ends[0][k], ends[0][(k + 1) % 8], ends[1][(k + 1) % 8], ends[1][k]] for k in range(8)]
    joints.append([side[0], side[1], ends[1][1], ends[1][0]])
    quads = np.array(joints)
    a = with_faces(a, np.concatenate([quads, a.mirror[quads][:, ::-1]]), "gum_lower")
    names = ("teeth_upper", "teeth_lower", "gum_upper", "gum_lower", "tongue")
    groups = {name: faces for name, faces in a.head.groups.items() if name not in names}
    groups["inner_mouth"] = np.concatenate([a.head.groups[name] for name in names])
    return replace(a, head=a.head.with_(groups=groups))


def mouth_of_forty_pieces(a: AwkwardHead) -> AwkwardHead:
    """Each crown a group, gums cut into six, the tongue into two: 40 pieces, 40 groups whose names say nothing."""
    polygons = a.head.polygons
    first = polygons.indices[polygons.starts[:-1]]
    centre = np.add.reduceat(a.positions[polygons.indices], polygons.starts[:-1], axis=0) / polygons.counts[:, None]
    label = np.zeros(polygons.n_faces, dtype=np.int64)
    other, count = [0], 1
    for part, thirds in (("gum_upper", 3), ("gum_lower", 3), ("tongue", 1)):
        on = np.flatnonzero(a.part_of[first] == part)
        aside = np.abs(centre[on, 0])
        third = np.searchsorted(np.quantile(aside, np.arange(1, thirds) / thirds), aside.round(6), side="right")
        label[on] = count + third + thirds * (centre[on, 0] < 0)
        other += [count + (i + thirds) % (2 * thirds) for i in range(2 * thirds)]
        count += 2 * thirds
    a = cut_apart(a, label, np.array(other))
    piece = _pieces(a)
    of_face = piece[a.head.polygons.indices[a.head.polygons.starts[:-1]]]
    inside = np.isin(a.part_of, ("teeth_upper", "teeth_lower", "gum_upper", "gum_lower", "tongue"))
    groups = {name: faces for name, faces in a.head.groups.items() if not name.startswith(("teeth", "gum", "tongue"))}
    for number, one in enumerate(np.unique(piece[inside])):
        groups[f"Object.{number + 1:03d}"] = np.flatnonzero(of_face == one).astype(np.int32)
    return replace(a, head=a.head.with_(groups=groups))


def _pieces(a: AwkwardHead) -> Ints:
    from scipy.sparse.csgraph import connected_components

    return connected_components(a.head.polygons.adjacency, directed=False)[1].astype(np.int64)


def coincident_sheets(a: AwkwardHead) -> AwkwardHead:
    """With a second sheet in the very places of the scalp, and one in those of each brow, moved as the skin is."""
    polygons = a.head.polygons
    brow = np.zeros(a.head.n_vertices, dtype=bool)
    for side in SIDES:
        line = a.positions[np.asarray(a.landmarks.curves[f"brow_{side}"])]
        away = np.linalg.norm(a.positions[:, None] - line[None], axis=2).min(axis=1)
        brow |= (away < 11.0) & (a.part_of == "skin")
    sheets = {"hair": np.asarray(a.head.groups["scalp"]), "brow": _faces_within(a, brow)}
    for name, faces in sheets.items():
        corners = polygons.indices[np.isin(polygons.corner_face, faces)].astype(np.int64)
        used, local = np.unique(corners, return_inverse=True)
        n = a.head.n_vertices
        place = np.searchsorted(used, a.mirror[used])
        a, at = with_vertices(a, name, a.positions[used], a.deltas[:, used], n + place)
        a = with_faces(a, at[local.reshape(-1, 4)], name)
    return a


def _faces_within(a: AwkwardHead, on: NDArray[np.bool_]) -> Ints:
    polygons = a.head.polygons
    return np.flatnonzero(np.logical_and.reduceat(on[polygons.indices], polygons.starts[:-1]))


def open_mask(a: AwkwardHead) -> AwkwardHead:
    """The face alone, as a scanner sees it: no back of the head, no ears, sockets, mouth or parts; all of it moves."""
    polygons = a.head.polygons
    keep = np.zeros(polygons.n_faces, dtype=bool)
    for name in ("face", "nostril_left", "nostril_right"):
        keep[a.head.groups[name]] = True
    front = (a.positions[:, 2] > 38.0) & (np.abs(a.positions[:, 0]) < 62.0) & (a.positions[:, 1] < 48.0)
    keep &= np.logical_and.reduceat(front[polygons.indices], polygons.starts[:-1])
    return without_faces(a, ~keep)


def bust(a: AwkwardHead) -> AwkwardHead:
    """With neck and shoulders, 440 mm wide, sewn to the neck's border; they are skin and hardly move."""
    border = np.asarray(a.landmarks.curves["neck_border"]).astype(np.int64)
    loop, rows = a.positions[border], 12
    middle = loop.mean(axis=0)
    share = (np.arange(1, rows + 1) / rows)[:, None]
    half = np.abs(loop - middle).max(axis=0)
    grow_x = 1 + (220.0 / half[0] - 1) * share**1.6
    grow_z = 1 + (110.0 / half[2] - 1) * share**1.6
    x = middle[0] + grow_x * (loop[:, 0] - middle[0])
    z = middle[2] + grow_z * (loop[:, 2] - middle[2])
    y = np.repeat(middle[1] - 150.0 * share - 25.0 * share**2, len(border), axis=1)
    at = np.stack([x, y, z], axis=-1).reshape(-1, 3)
    fade = ((1 - share) ** 2).reshape(-1)
    moved = (fade[None, :, None, None] * a.deltas[:, None, border]).reshape(len(a.deltas), -1, 3)
    n, count = a.head.n_vertices, len(border)
    where = {int(v): i for i, v in enumerate(border)}
    across = np.array([where[int(v)] for v in a.mirror[border]])
    a, added = with_vertices(a, "skin", at, moved, (n + np.arange(rows)[:, None] * count + across).reshape(-1))
    rings = np.concatenate([border, added]).reshape(rows + 1, count)
    after = np.roll(rings, -1, axis=1)
    quads = np.stack([rings[:-1], after[:-1], after[1:], rings[1:]], axis=-1).reshape(-1, 4)
    polygons = a.head.polygons
    forward = set(zip(polygons.indices.tolist(), polygons.indices[polygons.next_corner].tolist(), strict=True))
    if (int(border[0]), int(border[1])) in forward:
        quads = quads[:, ::-1]
    return with_faces(a, quads, "shoulders")
