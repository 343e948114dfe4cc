"""Masks from pictures in texture coordinates. Pictures are arrays; no file is read here."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Floats


def sample(image: Floats, uv: Floats) -> Floats:
    """(m,) bilinear samples of `image` (h, w), its row 0 at the top, at `uv` (m, 2), origin at the lower left.

    The centre of the texel in column i and row j lies at ((i + 1/2) / w, 1 - (j + 1/2) / h); beyond the outermost
    centres the outermost value holds. Coordinates outside [0, 1] repeat the picture.
    """
    height, width = image.shape
    wrapped = np.where((uv < 0) | (uv > 1), uv - np.floor(uv), uv)
    x = np.clip(wrapped[:, 0] * width - 0.5, 0.0, width - 1.0)
    y = np.clip((1.0 - wrapped[:, 1]) * height - 0.5, 0.0, height - 1.0)
    left, top = np.floor(x).astype(np.int64), np.floor(y).astype(np.int64)
    right, bottom = np.minimum(left + 1, width - 1), np.minimum(top + 1, height - 1)
    fx, fy = x - left, y - top
    upper = image[top, left] * (1 - fx) + image[top, right] * fx
    lower = image[bottom, left] * (1 - fx) + image[bottom, right] * fx
    return upper * (1 - fy) + lower * fy


def from_image(
    polygons: Polygons, image: ArrayLike, uv: ArrayLike, uv_indices: ArrayLike
) -> tuple[Floats, NDArray[np.bool_]]:
    """A mask (n,) from a picture, and (n,) whether each vertex has a place on it (0 in the mask where not).

    `image` (h, w) or (h, w, c) holds floats in [0, 1] or unsigned integers, of which the full range is taken; of
    several channels the first is used. `uv` (m, 2) has its origin at the lower left; `uv_indices` (k,) is one index
    a polygon corner, -1 for none. A vertex on a seam takes the mean of its places.
    Raises MoueError where the shapes do not fit or the picture is empty or not finite.
    """
    picture = np.asarray(image)
    if picture.ndim not in (2, 3) or 0 in picture.shape:
        raise MoueError(f"a picture of shape {picture.shape} holds no mask")
    if picture.ndim == 3:
        picture = picture[:, :, 0]
    whole = float(np.iinfo(picture.dtype).max) if picture.dtype.kind in "iu" else 1.0
    values = np.clip(picture.astype(np.float64) / whole, 0.0, 1.0)
    if not np.isfinite(values).all():
        raise MoueError("the picture holds values that are not numbers")
    places, index = np.asarray(uv, dtype=np.float64), np.asarray(uv_indices, dtype=np.int64)
    if places.ndim != 2 or places.shape[1] != 2 or index.shape != polygons.indices.shape:
        raise MoueError("the texture coordinates do not fit the mesh: one index a polygon corner is needed")
    if len(index) and int(index.max()) >= len(places):
        raise MoueError(f"a corner uses texture coordinate {int(index.max())} of {len(places)}")
    has = index >= 0
    pairs = np.unique(np.stack([polygons.indices[has].astype(np.int64), index[has]], axis=1), axis=0)
    found = sample(values, places[pairs[:, 1]]) if len(pairs) else np.empty(0)
    count = np.bincount(pairs[:, 0], minlength=polygons.n_vertices)
    total = np.bincount(pairs[:, 0], weights=found, minlength=polygons.n_vertices)
    return np.clip(total / np.maximum(count, 1), 0.0, 1.0), count > 0
