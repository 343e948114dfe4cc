"""The nearest rotations to many matrices at once, by quaternions.

The rotation is the eigenvector of a 4 by 4 matrix with the greatest eigenvalue (Horn 1987, "Closed-form solution of
absolute orientation using unit quaternions"), which Newton's method finds from above as the greatest root of the
characteristic polynomial (Theobald 2005, "Rapid calculation of RMSDs using a quaternion-based characteristic
polynomial"). Where that is not exact, as for turns by nearly 180 degrees and matrices of rank one, singular vectors
give it (`rigid.nearest_rotation`).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.rigid import nearest_rotation

Floats = NDArray[np.float64]
FEW = 100
"""So few matrices are turned faster by singular vectors (measured)."""
STEPS = 30
"""Most steps of Newton's method (our choice; from the bound above a simple root is reached in about eight)."""
EXACT = 1e-12
"""Largest residual of an eigenvector, as a share of its matrix (our choice)."""


def nearest_turns(matrices: NDArray) -> tuple[Floats, Floats]:
    """(k, 3, 3) the proper rotation R that maximises trace(R^T M) for each of `matrices` (k, 3, 3), and that trace
    (k,)."""
    if len(matrices) < FEW:
        rotation, values = nearest_rotation(matrices)
        return rotation, values.sum(axis=1)
    planes = np.ascontiguousarray(np.asarray(matrices, dtype=np.float64).reshape(-1, 9).T)
    size = np.sqrt((planes**2).sum(axis=0))
    planes /= np.where(size > 0.0, size, 1.0)
    upper = _symmetric(planes)
    root = _greatest_root(planes, upper)
    quaternion, wrong = _eigenvector(upper, root)
    out = np.ascontiguousarray(_rotation(quaternion).T).reshape(-1, 3, 3)
    trace = root * size
    if wrong.any():
        out[wrong], values = nearest_rotation(matrices[wrong])
        trace[wrong] = values.sum(axis=1)
    return out, trace


def _symmetric(m: Floats) -> tuple[Floats, ...]:
    """The ten different entries (k,) of Horn's matrix of `m` (9, k), row by row from the diagonal on."""
    xx, yx, zx, xy, yy, zy, xz, yz, zz = m  # the sum of the products of the first's x with the second's y is xy
    return (
        xx + yy + zz, yz - zy, zx - xz, xy - yx,
        xx - yy - zz, xy + yx, zx + xz,
        yy - xx - zz, yz + zy,
        zz - xx - yy,
    )  # fmt: skip


def _greatest_root(m: Floats, upper: tuple[Floats, ...]) -> Floats:
    """(k,) the greatest eigenvalue of the matrices `upper`; `m` (9, k) have the norm 1."""
    a, b, c, d, e, f, g, h, i = m
    first = -8.0 * (a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g))
    last = _determinant(upper)
    root = np.full(len(a), np.sqrt(3.0))
    for _ in range(STEPS):
        square = root * root
        slope = 4.0 * root * square - 4.0 * root + first
        step = ((square - 2.0) * square + first * root + last) / np.where(slope > 0.0, slope, np.inf)
        root = root - step
        if np.abs(step).max(initial=0.0) < 1e-15:
            break
    return root


def _minors(upper: tuple[Floats, ...], root: Floats | float) -> tuple[Floats, ...]:
    """The four cofactors (k,) of the first row of matrices less `root` times the unit matrix."""
    _, s01, s02, s03, s11, s12, s13, s22, s23, s33 = upper
    s11, s22, s33 = s11 - root, s22 - root, s33 - root
    a, b, c = s22 * s33 - s23 * s23, s12 * s33 - s13 * s23, s12 * s23 - s13 * s22
    d, e, f = s02 * s33 - s03 * s23, s02 * s23 - s03 * s22, s02 * s13 - s03 * s12
    return (
        s11 * a - s12 * b + s13 * c,
        -(s01 * a - s12 * d + s13 * e),
        s01 * b - s11 * d + s13 * f,
        -(s01 * c - s11 * e + s12 * f),
    )  # fmt: skip


def _determinant(upper: tuple[Floats, ...]) -> Floats:
    """(k,) the determinants of the matrices."""
    a, b, c, d = (entry * minor for entry, minor in zip(upper[:4], _minors(upper, 0.0), strict=True))
    return a + b + c + d


def _eigenvector(upper: tuple[Floats, ...], root: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """(4, k) the unit eigenvectors of the eigenvalues `root` (k,), and which (k,) are none."""
    found = np.stack(_minors(upper, root))
    length = np.sqrt((found**2).sum(axis=0))
    found /= np.where(length > 0.0, length, 1.0)
    s00, s01, s02, s03, s11, s12, s13, s22, s23, s33 = upper
    w, x, y, z = found
    off = np.maximum.reduce([
        np.abs(s00 * w + s01 * x + s02 * y + s03 * z - root * w),
        np.abs(s01 * w + s11 * x + s12 * y + s13 * z - root * x),
        np.abs(s02 * w + s12 * x + s22 * y + s23 * z - root * y),
        np.abs(s03 * w + s13 * x + s23 * y + s33 * z - root * z),
    ])  # fmt: skip
    return found, ~((off < EXACT) & (length > 1e-6))


def _rotation(quaternion: Floats) -> Floats:
    """(9, k) the rotations of unit quaternions (4, k), row by row."""
    w, x, y, z = quaternion
    return np.stack([
        1.0 - 2.0 * (y * y + z * z), 2.0 * (x * y - w * z), 2.0 * (x * z + w * y),
        2.0 * (x * y + w * z), 1.0 - 2.0 * (x * x + z * z), 2.0 * (y * z - w * x),
        2.0 * (x * z - w * y), 2.0 * (y * z + w * x), 1.0 - 2.0 * (x * x + y * y),
    ])  # fmt: skip
