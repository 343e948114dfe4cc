"""A small library that nobody has marked, for the window's tests: a mirrored dome of quads that moves in places."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.head.head import Head, Shape
from tests.small_heads import grid

PLACES = {
    "brow_left": (32.0, 55.0), "brow_right": (-32.0, 55.0), "smile_left": (30.0, -30.0), "smile_right": (-30.0, -30.0),
    "chin": (0.0, -75.0),
}  # fmt: skip
"""What moves, by the middle of what it moves, (x, y) mm."""


def dome(rows: int = 31, columns: int = 25, places: dict[str, tuple[float, float]] | None = None) -> Head:
    """A head 160 mm wide and 200 mm tall, the same on both sides, that bulges towards the eye."""
    x, y = np.meshgrid(np.linspace(-80, 80, columns), np.linspace(100, -100, rows))
    z = 60.0 * np.sqrt(np.maximum(1.2 - (x / 110) ** 2 - (y / 140) ** 2, 0.0))
    neutral = np.stack([x, y, z], axis=-1).reshape(-1, 3)
    mesh = grid(rows, columns)
    polygons = type(mesh).from_faces([mesh.face(i)[::-1].tolist() for i in range(mesh.n_faces)], mesh.n_vertices)
    given = PLACES if places is None else places
    shapes = tuple(Shape(name, _bump(neutral, *at)) for name, at in given.items())
    return Head("dome", polygons, neutral, shapes)


def write_dome(folder: Path, head: Head | None = None) -> Path:
    """The dome's library as plain OBJ texts in a new folder, which is returned."""
    head = head or dome()
    folder.mkdir(parents=True)
    faces = "".join(f"f {' '.join(str(v + 1) for v in head.polygons.face(i))}\n" for i in range(head.polygons.n_faces))
    for name in ("neutral", *head.shape_names):
        places = head.neutral if name == "neutral" else head.neutral + head.shape(name).delta
        text = "".join(f"v {x:.6f} {y:.6f} {z:.6f}\n" for x, y, z in places)
        (folder / f"{name}.obj").write_text(text + faces, encoding="utf-8")
    return folder


def _bump(neutral: NDArray[np.float64], x: float, y: float) -> NDArray[np.float32]:
    """(n, 3) 6 mm up and 3 mm forward about (x, y), nothing beyond 28 mm."""
    away = np.hypot(neutral[:, 0] - x, neutral[:, 1] - y) / 28.0
    amount = np.where(away < 1.0, (1.0 - np.minimum(away, 1.0) ** 2) ** 2, 0.0)
    return (amount[:, None] * np.array([0.0, 6.0, 3.0])).astype(np.float32)
