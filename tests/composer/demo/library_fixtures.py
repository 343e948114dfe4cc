"""What the tests of the library share: each character's face, made once, and measures of contact and crossing."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from composer.demo.anatomy import Anatomy, anatomy_of
from composer.demo.neutral import DemoNeutral
from composer.demo.posing import Posing
from composer.head.head import Head
from tests.demo_heads import library
from tests.demo_heads import neutral as neutral_of

NAMES = ("keeper", "ferrier", "bellringer")
SHUT = {"au43_left": 1.0, "au43_right": 1.0}


@dataclass(frozen=True, eq=False)
class Face:
    """One character: its neutral, anatomy, posing and library at the cage."""

    neutral: DemoNeutral
    anatomy: Anatomy
    posing: Posing
    head: Head


@cache
def face(name: str) -> Face:
    """The face of a character, made once for all tests."""
    neutral = neutral_of(name)
    anatomy = anatomy_of(neutral)
    return Face(neutral, anatomy, Posing(anatomy), library(name))


def crossings(
    points: NDArray, mine: NDArray, other: NDArray | None = None, moved: NDArray | None = None
) -> tuple[NDArray, NDArray]:
    """Pairs (k, 2) of triangles that cross, and how deep (k,) in mm: the least way out along either one's normal.

    Triangles (t, 3) of `mine` are held against each other where `other` is None; those that share a vertex are left
    out, and so are two that have both not `moved` (t,), where that is given. Edges against triangles after Moller and
    Trumbore 1997, "Fast, minimum storage ray-triangle intersection".
    """
    theirs = mine if other is None else other
    a, b = points[mine], points[theirs]
    ca, cb = a.mean(1), b.mean(1)
    ra, rb = (np.linalg.norm(t - c[:, None], axis=2).max(1) for t, c in ((a, ca), (b, cb)))
    if moved is None:
        pairs = _near(ca, ra, cb, rb, once=other is None)
    else:
        pairs = _near(ca[moved], ra[moved], cb, rb, once=False)
        pairs[:, 0] = np.flatnonzero(moved)[pairs[:, 0]]
        pairs = np.unique(np.sort(pairs[pairs[:, 0] != pairs[:, 1]], axis=1), axis=0)
    boxes = (a.min(1)[pairs[:, 0]] <= b.max(1)[pairs[:, 1]]) & (a.max(1)[pairs[:, 0]] >= b.min(1)[pairs[:, 1]])
    pairs = pairs[boxes.all(1)]
    if other is None:
        shared = (mine[pairs[:, 0]][:, :, None] == mine[pairs[:, 1]][:, None]).any((1, 2))
        pairs = pairs[~shared]
    hit = np.zeros(len(pairs), dtype=bool)
    for k in range(3):
        hit |= through(a[pairs[:, 0], k], a[pairs[:, 0], (k + 1) % 3], b[pairs[:, 1]])
        hit |= through(b[pairs[:, 1], k], b[pairs[:, 1], (k + 1) % 3], a[pairs[:, 0]])
    pairs = pairs[hit]
    return pairs, np.minimum(_way_out(a[pairs[:, 0]], b[pairs[:, 1]]), _way_out(b[pairs[:, 1]], a[pairs[:, 0]]))


def _near(ca: NDArray, ra: NDArray, cb: NDArray, rb: NDArray, once: bool) -> NDArray:
    """(k, 2) the pairs of balls that touch, by centres and radii in mm, those farther apart than 16 mm left out.

    `once` is for the balls of one mesh: each pair comes once, the lower first, and none with itself.
    Small triangles are looked for from small ones within little, so that few large ones do not widen the search.
    """
    from scipy.spatial import cKDTree

    sizes = np.quantile(np.concatenate([ra, rb]), [0.3, 0.6, 0.9, 0.97, 0.995])
    of_a, of_b = np.digitize(ra, sizes), np.digitize(rb, sizes)
    found = [np.zeros((0, 2), dtype=np.int64)]
    for k in np.unique(of_a):
        for m in np.unique(of_b[of_b >= k] if once else of_b):
            i, j = np.flatnonzero(of_a == k), np.flatnonzero(of_b == m)
            reach = min(ra[i].max() + rb[j].max(), 16.0)
            near = cKDTree(ca[i]).sparse_distance_matrix(cKDTree(cb[j]), reach, output_type="ndarray")
            i, j = i[near["i"]], j[near["j"]]
            touch = near["v"] <= ra[i] + rb[j]
            if once:
                touch &= i < j if k == m else i != j
            found.append(np.stack([i[touch], j[touch]], axis=1))
    pairs = np.concatenate(found)
    return np.sort(pairs, axis=1) if once else pairs


def through(start: NDArray, end: NDArray, triangle: NDArray) -> NDArray:
    """(k,) whether each edge (k, 3), (k, 3) passes through the triangle (k, 3, 3) of its row."""
    way = end - start
    e1, e2 = triangle[:, 1] - triangle[:, 0], triangle[:, 2] - triangle[:, 0]
    h = np.cross(way, e2)
    det = np.einsum("ij,ij->i", e1, h)
    inverse = np.where(np.abs(det) > 1e-12, 1 / np.where(det == 0, 1, det), 0)
    s = start - triangle[:, 0]
    u = np.einsum("ij,ij->i", s, h) * inverse
    q = np.cross(s, e1)
    v, t = np.einsum("ij,ij->i", way, q) * inverse, np.einsum("ij,ij->i", e2, q) * inverse
    e = 1e-6
    return (np.abs(det) > 1e-12) & (u > e) & (v > e) & (u + v < 1 - e) & (t > e) & (t < 1 - e)


def _way_out(one: NDArray, plane: NDArray) -> NDArray:
    normal = np.cross(plane[:, 1] - plane[:, 0], plane[:, 2] - plane[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    away = np.einsum("mki,mi->mk", one - plane[:, :1], normal)
    return np.minimum(away.max(1), -away.min(1))


def triangles_of(face: Face, vertices: NDArray) -> NDArray:
    """(t, 3) the triangles all of whose vertices are among these."""
    on = np.zeros(face.anatomy.n, dtype=bool)
    on[vertices] = True
    triangles = face.neutral.polygons.triangles
    return triangles[on[triangles].all(1)]
