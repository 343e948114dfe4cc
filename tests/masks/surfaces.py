"""Surfaces with a closed form, and one with a slit, for the tests of masks."""

from __future__ import annotations

import numpy as np
import trimesh

from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface
from tests.small_heads import grid


def of_triangles(vertices: np.ndarray, faces: np.ndarray) -> Surface:
    """A surface of triangles."""
    return Surface(Polygons(np.full(len(faces), 3), np.asarray(faces).ravel(), len(vertices)), vertices)


def plane(rows: int, columns: int, step: float = 1.0) -> Surface:
    """Quads in the x, y plane; vertex r * columns + c lies at (r, c) times `step`."""
    x, y = np.meshgrid(np.arange(rows) * step, np.arange(columns) * step, indexing="ij")
    return Surface(grid(rows, columns), np.stack([x.ravel(), y.ravel(), 0 * x.ravel()], axis=1))


def sphere(subdivisions: int, radius: float = 1.0) -> Surface:
    """An icosphere of triangles."""
    mesh = trimesh.creation.icosphere(subdivisions=subdivisions, radius=radius)
    return of_triangles(mesh.vertices, mesh.faces)


def cylinder(around: int, along: int, radius: float, step: float) -> Surface:
    """Quads about the z axis, open at both ends; vertex i * along + j is the j-th along, at angle 2 pi i / around."""
    turn, height = np.meshgrid(2 * np.pi * np.arange(around) / around, np.arange(along) * step, indexing="ij")
    points = np.stack([radius * np.cos(turn), radius * np.sin(turn), height], axis=-1).reshape(-1, 3)
    at = np.arange(around * along).reshape(around, along)
    to = np.roll(at, -1, axis=0)
    quads = np.stack([at[:, :-1], to[:, :-1], to[:, 1:], at[:, 1:]], axis=-1).reshape(-1, 4)
    return Surface(Polygons(np.full(len(quads), 4), quads.ravel(), around * along), points)


def slit_plane(half: int, columns: int, slit: int) -> tuple[Surface, np.ndarray, np.ndarray]:
    """A plane of quads cut along x = 0 from y = 0 to y = `slit`, like two lips that touch: the surface and the
    vertex lists of the cut's upper (x > 0) and lower lines, which share the vertex at the cut's end.
    """
    rows = 2 * half + 1
    flat = plane(rows, columns)
    faces = flat.polygons.indices.reshape(-1, 4).copy()
    middle = half * columns + np.arange(slit)
    twin = flat.n_vertices + np.arange(slit)
    lower = np.flatnonzero(flat.positions[faces].mean(axis=1)[:, 0] < half)
    for a, b in zip(middle, twin, strict=True):
        faces[lower] = np.where(faces[lower] == a, b, faces[lower])
    points = np.concatenate([flat.positions, flat.positions[middle]])
    end = half * columns + slit
    surface = Surface(Polygons(np.full(len(faces), 4), faces.ravel(), len(points)), points)
    return surface, np.append(middle, end), np.append(twin, end)
