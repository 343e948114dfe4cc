"""Small meshes and heads for the tests: made here, with hypothesis or by hand, never read from a file."""

from __future__ import annotations

import numpy as np
from hypothesis import strategies as st
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons
from composer.head.head import Head, InBetween, Shape

CUBE_CORNERS = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], dtype=np.float64)
CUBE = Polygons.from_faces(
    [[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7, 6], [0, 2, 6, 4], [1, 5, 7, 3]], 8
)


def grid(rows: int, columns: int) -> Polygons:
    """Quads over rows x columns vertices, open at its four borders."""
    at = np.arange(rows * columns).reshape(rows, columns)
    quads = np.stack([at[:-1, :-1], at[:-1, 1:], at[1:, 1:], at[1:, :-1]], axis=-1).reshape(-1, 4)
    return Polygons(np.full(len(quads), 4), quads.ravel(), rows * columns)


def torus(rows: int, columns: int) -> Polygons:
    """Quads over rows x columns vertices, closed both ways."""
    at = np.arange(rows * columns).reshape(rows, columns)
    down, right = np.roll(at, -1, axis=0), np.roll(at, -1, axis=1)
    quads = np.stack([at, right, np.roll(down, -1, axis=1), down], axis=-1).reshape(-1, 4)
    return Polygons(np.full(len(quads), 4), quads.ravel(), rows * columns)


def fan(valence: int) -> Polygons:
    """`valence` quads about vertex 0: its neighbours are 1 to valence, the opposite corners follow."""
    v = valence
    return Polygons.from_faces([[0, 1 + i, 1 + v + i, 1 + (i + 1) % v] for i in range(v)], 1 + 2 * v)


@st.composite
def polygon_meshes(draw: st.DrawFn) -> Polygons:
    """Grids, tori, cubes and fans, some quads cut in two, some polygons left out, vertices renumbered."""
    kind = draw(st.sampled_from(["grid", "torus", "cube", "fan"]))
    if kind == "grid":
        mesh = grid(draw(st.integers(2, 5)), draw(st.integers(2, 5)))
    elif kind == "torus":
        mesh = torus(draw(st.integers(3, 5)), draw(st.integers(3, 5)))
    else:
        mesh = CUBE if kind == "cube" else fan(draw(st.integers(3, 8)))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    faces: list[list[int]] = []
    for face in range(mesh.n_faces):
        loop = mesh.face(face).tolist()
        fate = rng.random()
        if fate < 0.15 and len(loop) == 4:
            faces += [[loop[0], loop[1], loop[2]], [loop[0], loop[2], loop[3]]]
        elif fate < 0.9 or not faces:
            faces.append(loop)
    order = rng.permutation(mesh.n_vertices)
    return Polygons.from_faces([[int(order[v]) for v in face] for face in faces], mesh.n_vertices)


def random_head(rng: np.random.Generator, polygons: Polygons, shapes: int, between: int = 0, mm: float = 100.0) -> Head:
    """A head with random places and deltas, size about `mm`; the first `between` shapes have in-betweens."""
    n = polygons.n_vertices
    neutral = mm * rng.normal(size=(n, 3))
    made = []
    for i in range(shapes):
        delta = (0.1 * mm * rng.normal(size=(n, 3))).astype(np.float32)
        delta[rng.random(n) < 0.3] = 0.0
        extra: tuple[InBetween, ...] = ()
        if i < between:
            places = np.sort(rng.choice(np.arange(1, 10), size=rng.integers(1, 4), replace=False)) / 10.0
            extra = tuple(_random_between(rng, float(at), n, mm) for at in places)
        made.append(Shape(f"shape_{i}", delta, extra))
    return Head("small", polygons, neutral, tuple(made))


def _random_between(rng: np.random.Generator, at: float, n: int, mm: float) -> InBetween:
    return InBetween(at, (0.1 * mm * rng.normal(size=(n, 3))).astype(np.float32))


def random_masks(rng: np.random.Generator, n: int, names: list[str]) -> dict[str, NDArray[np.float64]]:
    """Masks (n,) in [0, 1] by name, each zero at about a third of the vertices."""
    return {name: np.where(rng.random(n) < 0.35, 0.0, rng.random(n)) for name in names}


def random_rotation(rng: np.random.Generator) -> NDArray[np.float64]:
    """(3, 3) a uniformly random rotation, by scipy."""
    from scipy.spatial.transform import Rotation

    return Rotation.random(random_state=np.random.RandomState(rng.integers(2**32 - 1))).as_matrix()
