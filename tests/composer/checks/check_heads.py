"""Small heads with answers that can be worked out by hand."""

from __future__ import annotations

import numpy as np

from composer.geometry.polygons import Polygons
from composer.head.head import Head, Part, Shape
from composer.head.landmarks import Landmarks


def plane(n: int = 12, size: float = 60.0) -> tuple[Polygons, np.ndarray]:
    """A square of n by n quads in z = 0, `size` mm wide, facing +z."""
    line = np.linspace(-size / 2.0, size / 2.0, n + 1)
    x, y = np.meshgrid(line, line)
    points = np.stack([x.ravel(), y.ravel(), np.zeros(x.size)], axis=1)
    index = np.arange((n + 1) ** 2).reshape(n + 1, n + 1)
    quads = np.stack([index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1]], axis=-1).reshape(-1, 4)
    return Polygons(np.full(len(quads), 4), quads.ravel(), len(points)), points


def plane_head(shapes: dict[str, np.ndarray], n: int = 12) -> Head:
    polygons, points = plane(n)
    made = tuple(
        Shape(name, (points @ np.asarray(m) - points).astype(np.float32)) for name, m in shapes.items()
    )
    return Head("plane", polygons, points, shapes=made)


def box(
    centre: tuple[float, float, float], half: tuple[float, float, float], n: int = 6
) -> tuple[np.ndarray, np.ndarray]:
    """A closed box with n by n quads on each side, as vertices (k, 3) and triangles facing outwards."""
    import trimesh

    solid = trimesh.creation.box(extents=2.0 * np.array(half))
    for _ in range(max(int(np.log2(n)), 0)):
        solid = solid.subdivide()
    return np.array(solid.vertices) + np.array(centre), np.array(solid.faces)


def lips_head(gap: float = 1.0) -> Head:
    """Two boxes, one above the other, `gap` mm apart, with the lip lines along the edges that face each
    other.
    """
    upper, faces_u = box((0.0, 5.0 + gap / 2.0, 0.0), (20.0, 5.0, 6.0), 8)
    lower, faces_l = box((0.0, -5.0 - gap / 2.0, 0.0), (20.0, 5.0, 6.0), 8)
    points = np.concatenate([upper, lower])
    faces = np.concatenate([faces_u, faces_l + len(upper)])
    polygons = Polygons(np.full(len(faces), 3), faces.ravel(), len(points))
    front = np.isclose(points[:, 2], 6.0)
    line_u = np.flatnonzero(front & np.isclose(points[:, 1], gap / 2.0))
    line_l = np.flatnonzero(front & np.isclose(points[:, 1], -gap / 2.0))
    marks = Landmarks({}, {"lip_line_upper": line_u.tolist(), "lip_line_lower": line_l.tolist()})
    return Head("lips", polygons, points, landmarks=marks)


def is_lower(head: Head) -> np.ndarray:
    return head.neutral[:, 1] < 0.0


def eye_head(clearance: float = 0.5) -> Head:
    """An eyeball of 12 mm and a round of skin `clearance` mm in front of it, its rim marked as the lid
    margins.
    """
    import trimesh

    ball = trimesh.creation.icosphere(subdivisions=3, radius=12.0)
    line = np.linspace(-8.0, 8.0, 17)
    x, y = np.meshgrid(line, line)
    z = np.sqrt((12.0 + clearance) ** 2 - x**2 - y**2)
    skin = np.stack([x.ravel(), y.ravel(), z.ravel()], axis=1)
    index = np.arange(17 * 17).reshape(17, 17)
    quads = np.stack([index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1]], axis=-1).reshape(-1, 4)
    counts = np.concatenate([np.full(len(quads), 4), np.full(len(ball.faces), 3)])
    indices = np.concatenate([quads.ravel(), (np.array(ball.faces) + len(skin)).ravel()])
    points = np.concatenate([skin, np.array(ball.vertices)])
    part = Part("eye_left", np.arange(len(skin), len(points), dtype=np.int32))
    marks = Landmarks({}, {"upper_lid_left": index[-1].tolist(), "lower_lid_left": index[0].tolist()})
    return Head("eye", Polygons(counts, indices, len(points)), points, parts=(part,), landmarks=marks)
