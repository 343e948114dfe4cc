"""A small symmetric head and a document on it with regions of several sources, made here."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

from composer.document.project import Project, Region
from composer.head.fingerprint import fingerprint
from composer.head.head import Head, Part, Shape
from composer.head.landmarks import Landmarks
from composer.head.symmetry import mirror_map, mirror_of
from composer.mixing.recipe import Cell, Recipe, Row
from tests.small_heads import grid

ROWS, COLUMNS = 9, 7
POLYGONS = grid(ROWS, COLUMNS)
N = POLYGONS.n_vertices
MIDDLE = COLUMNS // 2


def small_head(seed: int = 4) -> Head:
    """A bowl of 60 x 80 mm, left and right alike: a lift and its side versions, a hinge, a shape, a tooth."""
    rng = np.random.default_rng(seed)
    column, row = np.meshgrid(np.arange(COLUMNS) - MIDDLE, np.arange(ROWS))
    x, y = 10.0 * column.ravel(), 10.0 * row.ravel()
    neutral = np.stack([x, y, 0.01 * x**2], axis=1)
    half = rng.normal(size=(N, 3))
    partner = mirror_map(POLYGONS, neutral).partner
    lift = (half + half[partner] * [-1, 1, 1]).astype(np.float32)
    left = (lift * (x > 5.0)[:, None]).astype(np.float32)
    right = (left[partner] * np.float32([-1, 1, 1])).astype(np.float32)
    arm = neutral - [0.0, 40.0, -60.0]
    drop = (Rotation.from_euler("x", 20, degrees=True).apply(arm) - arm).astype(np.float32)
    drop[:COLUMNS] = 0
    between, skew = (0.4 * drop).astype(np.float32), rng.normal(size=(N, 3)).astype(np.float32)
    shapes = {"lift": lift, "au1_left": left, "au1_right": right, "drop": drop, "drop_50": between, "skew": skew}
    for delta in shapes.values():
        delta.setflags(write=False)
    marks = Landmarks({"sellion": 3 * COLUMNS + MIDDLE, "glabella": 2 * COLUMNS + MIDDLE, "gnathion": MIDDLE})
    tooth = Part("tooth", np.array([N - 1, N - COLUMNS], dtype=np.int32), "jaw")
    upper = np.flatnonzero(np.arange(POLYGONS.n_faces) >= POLYGONS.n_faces // 2).astype(np.int32)
    return Head("small", POLYGONS, neutral, tuple(Shape(k, v) for k, v in shapes.items()), (tooth,), {"upper": upper},
                landmarks=marks)  # fmt: skip


def painted(seed: int) -> np.ndarray:
    """(n,) a read-only float32 mask, zero at about a third of the vertices."""
    rng = np.random.default_rng(seed)
    mask = np.where(rng.random(N) < 0.35, 0.0, rng.random(N)).astype(np.float32)
    mask.setflags(write=False)
    return mask


def small_project(path: Path = Path("clock.moue")) -> Project:
    """Regions painted, from landmarks, from what moves together, from a group and from vertices; three recipes."""
    left, partner = painted(1), mirror_of(small_head()).partner
    right = left[partner].copy()
    right.setflags(write=False)
    regions = (
        Region("brow_left", {"from": "file", "file": "masks/brow_left.npy"}),
        Region("brow_right", {"from": "file", "file": "masks/brow_right.npy"}),
        Region("glabella", {"from": "landmarks"}),
        Region("moving", {"from": "displacement", "moves": "moves_01", "regions": 2}, "overlay"),
        Region("upper", {"from": "group", "group": "upper", "ramp_mm": 12.0}, locked=True),
        Region("dots", {"from": "vertices", "vertices": [0, 1, 2, 9]}, "overlay"),
    )
    recipes = (
        Recipe("doubt", (Cell("all", "lift", 0.3), Cell("brow_left", "au1_left", 0.8), Cell("upper", "drop", 0.5)),
               {"brow_left": Row("replace", 0.7)}),
        Recipe("call", (Cell("all", "drop", 0.4), Cell("glabella", "skew", -0.5), Cell("dots", "lift", 1.5)), {}, 0.8),
        Recipe("wait"),
    )  # fmt: skip
    stored = {"masks/brow_left.npy": left, "masks/brow_right.npy": right}
    return Project(path, Path("library"), "mm", "neutral", fingerprint(POLYGONS), regions, recipes, stored=stored,
                   shapes={"drop": {"hinge": "auto"}})  # fmt: skip
