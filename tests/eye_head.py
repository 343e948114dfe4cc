"""A small made head of one eye: a ball with a bulge for a cornea, lids with an inside about it, and a lash row.

Everything is a closed form: the ball is a sphere about the origin, the bulge a second sphere along the gaze, the lids
lie on a sphere about both. Lengths are those of an adult, in mm.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons
from composer.head.head import Head, Part, Shape
from composer.head.landmarks import Landmarks

BALL, BULGE, FORWARD = 12.0, 6.0, 7.2
"""Radii of the ball and of the bulge, and how far the bulge's centre lies before the ball's."""
LIDS, THICK, CLEAR = 12.9, 0.5, 0.15
"""Radius of the lids' outside, how thick they are, and how far they keep off the ball in every shape."""
WIDE, HIGH, OPEN = 39.375, 50.0, 13.0
"""In degrees: half the width of the slit, half the height of the skin, half the opening."""
COLUMNS, ROWS, INSIDE = 33, 12, 3


def _at(side: NDArray, up: NDArray, radius: float) -> NDArray[np.float64]:
    a, b = np.radians(side), np.radians(up)
    way = np.stack([np.sin(a) * np.cos(b), np.sin(b), np.cos(a) * np.cos(b)], axis=-1)
    return np.asarray(radius * way)


def over_ball(places: NDArray, gaze: NDArray) -> NDArray[np.float64]:
    """(p,) mm that places (p, 3) stand over the ball and its bulge along the unit vector `gaze` (3,), by direction from
    the ball's centre."""
    far = np.linalg.norm(places, axis=1)
    along = (places / far[:, None]) @ gaze * FORWARD
    square = along**2 + BULGE**2 - FORWARD**2
    bulge = along + np.sqrt(np.maximum(square, 0.0))
    return np.asarray(far - np.maximum(BALL, np.where(square > 0.0, bulge, 0.0)))


def gaze_of(up_deg: float) -> NDArray[np.float64]:
    """(3,) the direction of a gaze so far up."""
    return np.array([0.0, np.sin(np.radians(up_deg)), np.cos(np.radians(up_deg))])


def eye_head(gaze_deg: float = 30.0) -> Head:
    """The head, with the shapes blink, narrow (the lower lid up), gaze_up, and push (the skin moved back)."""
    side = np.linspace(-70.0, 70.0, COLUMNS)
    slit = np.where(np.abs(side) < WIDE - 1e-6, OPEN * (1.0 - (side / WIDE) ** 2), 0.0)
    upper, lower = _Lid(side, slit, 1.0, 0), _Lid(side, slit, -1.0, (ROWS + INSIDE) * COLUMNS)
    points, fall = (np.concatenate([getattr(upper, key), getattr(lower, key)]) for key in ("points", "fall"))
    same = np.arange(len(points))  # both lids are one skin beyond the corners of the slit
    same[lower.number[INSIDE, slit == 0.0]] = upper.number[INSIDE, slit == 0.0]
    faces = [[int(same[v]) for v in face] for face in upper.faces + lower.faces]
    used = np.unique(np.concatenate(faces))
    rank = np.full(len(points), -1, dtype=np.int64)
    rank[used] = np.arange(len(used))
    skin, fall, is_upper = points[used], fall[used], used < len(upper.points)
    edges = [rank[same[lid.number[INSIDE, np.abs(side) <= WIDE + 1e-6]]] for lid in (upper, lower)]
    ball, ball_faces = _ball()
    n, m, k = len(skin), len(ball), len(edges[0])
    row = n + m + np.arange(2 * k).reshape(2, k)
    polygons = [[int(rank[v]) for v in face] for face in faces] + [[n + v for v in face] for face in ball_faces]
    polygons += np.stack([row[0, :-1], row[0, 1:], row[1, 1:], row[1, :-1]], -1).reshape(-1, 4).tolist()
    thick = np.where(_inside_of(used), 0.0, THICK)
    skin = _cleared(skin, thick, 0.0)
    lashes = np.concatenate([skin[edges[0]] * 1.02, skin[edges[0]] * 1.2])
    neutral = np.concatenate([skin, ball, lashes])
    about = np.degrees(np.arctan2(skin[:, 0], skin[:, 2])) / WIDE
    closing = np.clip(1.0 - about**2, 0.0, None) * fall

    def shape(name: str, on_skin: NDArray, on_ball: NDArray | float = 0.0) -> Shape:
        delta = np.zeros_like(neutral)
        delta[:n], delta[n : n + m] = on_skin, on_ball
        delta[n + m :] = np.tile(on_skin[edges[0]], (2, 1))
        return Shape(name, delta.astype(np.float32))

    def off(moved: NDArray, gaze: float) -> NDArray:
        return _cleared(skin + moved, thick, gaze) - skin

    shapes = (
        shape("blink", off(_turned(skin, np.where(is_upper, OPEN * 4.0 / 3.0 * closing, 0.0)), 0.0)),
        shape("narrow", off(_turned(skin, np.where(is_upper, 0.0, -OPEN * 2.0 / 3.0 * closing)), 0.0)),
        shape("gaze_up", off(np.zeros_like(skin), gaze_deg), _turned(ball, np.full(m, -gaze_deg))),
        shape("push", -0.03 * skin * fall[:, None]),
    )
    parts = (
        Part("eye_left", np.arange(n, n + m, dtype=np.int32), "skull"),
        Part("lashes_upper_left", np.arange(n + m, len(neutral), dtype=np.int32), "surface"),
    )
    marks = Landmarks({}, {"upper_lid_left": edges[0].astype(np.int32), "lower_lid_left": edges[1].astype(np.int32)})
    return Head("eye", Polygons.from_faces(polygons, len(neutral)), neutral, shapes, parts=parts, landmarks=marks)


def _inside_of(vertices: NDArray) -> NDArray[np.bool_]:
    """Whether vertices (k,) of both lids lie on their insides."""
    return np.asarray(vertices // COLUMNS % (ROWS + INSIDE) < INSIDE)


def _cleared(places: NDArray, thick: NDArray, gaze_deg: float) -> NDArray[np.float64]:
    """Places (p, 3) pushed out to where they clear the ball by CLEAR and by how `thick` (p,) the lid is there."""
    short = np.maximum(CLEAR + thick - over_ball(places, gaze_of(gaze_deg)), 0.0)
    return np.asarray(places * (1.0 + short / np.linalg.norm(places, axis=1))[:, None])


class _Lid:
    """One lid: rows of its inside, then of its outside from the margin on; the inside is as wide as the slit."""

    def __init__(self, side: NDArray, slit: NDArray, sign: float, base: int) -> None:
        share = np.linspace(0.0, 1.0, ROWS) ** 1.4
        inner = [_at(side, sign * (slit + more), LIDS - THICK) for more in (4.0, 2.0, 0.0)]
        outer = _at(np.tile(side, (ROWS, 1)), sign * (slit[None] + (HIGH - slit[None]) * share[:, None]), LIDS)
        rows = np.concatenate([np.stack(inner), outer])
        self.points = rows.reshape(-1, 3)
        self.fall = np.repeat(np.concatenate([np.ones(INSIDE), 1.0 - share]), COLUMNS)
        self.number = base + np.arange(len(rows) * COLUMNS).reshape(-1, COLUMNS)
        at = self.number
        quads = np.stack([at[:-1, :-1], at[:-1, 1:], at[1:, 1:], at[1:, :-1]], axis=-1)
        within = np.abs(side) <= WIDE + 1e-6
        keep = np.ones(quads.shape[:2], dtype=bool)
        keep[:INSIDE] = within[:-1] & within[1:]
        self.faces: list[list[int]] = quads[keep][:, :: int(sign)].tolist()


def _ball() -> tuple[NDArray[np.float64], list[list[int]]]:
    up, side = np.meshgrid(np.linspace(-86.0, 86.0, 60), np.arange(0.0, 360.0, 6.0), indexing="ij")
    way = _at(side, up, 1.0).reshape(-1, 3)
    at = np.arange(up.size).reshape(up.shape)
    right = np.roll(at, -1, axis=1)
    faces = np.stack([at[:-1], right[:-1], right[1:], at[1:]], axis=-1).reshape(-1, 4).tolist()
    return way * (1.0 - over_ball(way, gaze_of(0.0)))[:, None], faces


def _turned(points: NDArray, down_deg: NDArray) -> NDArray[np.float64]:
    """(p, 3) how points (p, 3) move where they turn down by some degrees (p,) about the x axis."""
    c, s = np.cos(np.radians(down_deg)), np.sin(np.radians(down_deg))
    x, y, z = points.T
    return np.stack([x, c * y - s * z, s * y + c * z], axis=1) - points
