"""Two small heads of one topology to carry between: a bent sheet with a mouth, two lids, an eyeball and a lash."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from composer.geometry.polygons import Polygons
from composer.head.head import Head, Part, Shape
from composer.head.landmarks import Landmarks
from tests.small_heads import grid

ROWS, COLUMNS = 9, 9
SHEET = ROWS * COLUMNS
SLIT = 4
"""The row of the sheet that is there twice: what lies above it and below it meets but does not hang together."""
RINGS, SPOKES = 5, 8
BALL = RINGS * SPOKES
TOOTH = 4
EYE_AT = np.array([0.0, 0.0, -12.3])


def polygons() -> Polygons:
    """The sheet, cut along a row except at its ends, a ball of quads without caps, a tooth of one quad."""
    sheet = grid(ROWS, COLUMNS).indices.reshape(-1, 4).astype(int)
    inner = SLIT * COLUMNS + np.arange(1, COLUMNS - 1)
    twin = {int(v): SHEET + i for i, v in enumerate(inner)}
    lower = (sheet // COLUMNS).min(axis=1) >= SLIT
    below = np.array([[twin.get(int(v), int(v)) for v in quad] for quad in sheet[lower]])
    first = SHEET + len(inner)
    ring, spoke = np.meshgrid(np.arange(RINGS - 1), np.arange(SPOKES), indexing="ij")
    a, b = ring * SPOKES + spoke, ring * SPOKES + (spoke + 1) % SPOKES
    ball = np.stack([a, b, b + SPOKES, a + SPOKES], axis=-1).reshape(-1, 4) + first
    tooth = first + BALL + np.array([[0, 1, 2, 3]])
    quads = np.concatenate([sheet[~lower], below, ball, tooth])
    return Polygons(np.full(len(quads), 4), quads.ravel(), first + BALL + TOOTH)


def neutral(seed: int = 0, radius: float = 12.0, wide: float = 1.0) -> np.ndarray:
    """(n, 3) mm: the sheet bent about the ball and roughened by `seed`, the ball, the tooth."""
    rng = np.random.default_rng(seed)
    row, column = np.divmod(np.arange(SHEET), COLUMNS)
    x, y = wide * 5.0 * (column - COLUMNS // 2), 5.0 * (SLIT - row)
    sheet = np.stack([x, y, -0.04 * (x**2 + y**2) / (1.0 + (x**2 + y**2) / 250.0)], axis=1) + rng.normal(
        0.0, 0.3 * (seed > 0), (SHEET, 3)
    )
    inner = SLIT * COLUMNS + np.arange(1, COLUMNS - 1)
    below = sheet[inner] - [0.0, 2.0 * wide, 0.0]
    turn, rise = np.meshgrid(np.arange(SPOKES) * 2 * np.pi / SPOKES, np.linspace(-1.3, 1.3, RINGS))
    ball = np.stack([np.cos(rise) * np.cos(turn), np.sin(rise), np.cos(rise) * np.sin(turn)], axis=-1).reshape(-1, 3)
    tooth = np.array([[-2.0, -18.0, -9.0], [2.0, -18.0, -9.0], [2.0, -14.0, -9.0], [-2.0, -14.0, -9.0]])
    return np.concatenate([sheet, below, radius * ball + EYE_AT, wide * tooth])


def head(seed: int = 0, rest: np.ndarray | None = None) -> Head:
    """A head with shapes: one wild, one that closes the slit, one that turns the ball, one that drops the jaw."""
    shape_of = polygons()
    at = neutral(seed) if rest is None else rest
    n, first = len(at), SHEET + COLUMNS - 2
    rng = np.random.default_rng(7)
    skin = np.arange(n) < first
    wild = np.where(skin[:, None], rng.normal(0.0, 1.0, (n, 3)), 0.0)
    upper, lower = SLIT * COLUMNS + np.arange(1, COLUMNS - 1), SHEET + np.arange(COLUMNS - 2)
    shut = np.zeros((n, 3))
    shut[upper], shut[lower] = 0.75 * (at[lower] - at[upper]), 0.25 * (at[upper] - at[lower])
    look = np.zeros((n, 3))
    ball = np.arange(first, first + BALL)
    centre = at[ball].mean(axis=0)
    look[ball] = Rotation.from_euler("y", 20, degrees=True).apply(at[ball] - centre) + centre - at[ball]
    jaw = np.zeros((n, 3))
    low = np.flatnonzero((at[:, 1] < -8.0) & (skin | (np.arange(n) >= first + BALL)))
    hinge = np.array([0.0, 0.0, -40.0])
    jaw[low] = Rotation.from_euler("x", 15, degrees=True).apply(at[low] - hinge) + hinge - at[low]
    shapes = {"wild": wild, "shut": shut, "look": look, "jaw": jaw}
    made = tuple(Shape(name, np.asarray(delta, dtype=np.float32)) for name, delta in shapes.items())
    whole = np.arange(SLIT * COLUMNS, (SLIT + 1) * COLUMNS, dtype=np.int32)
    under = np.concatenate([whole[:1], lower, whole[-1:]]).astype(np.int32)
    marks = Landmarks({"gnathion": COLUMNS * (ROWS - 1) + COLUMNS // 2},
                      {"upper_lid_left": whole, "lower_lid_left": under})  # fmt: skip
    parts = (Part("eye_left", ball.astype(np.int32)),
             Part("tooth", np.arange(first + BALL, n, dtype=np.int32), "jaw"))  # fmt: skip
    return Head("old", shape_of, at, made, parts, landmarks=marks)
