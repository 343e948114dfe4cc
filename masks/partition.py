"""How regions share a face: raw masks stay as painted, effective masks are the result of locks and sharing.

In a set, let L be the sum of the locked masks (scaled to 1 where it is above) and U the sum of the others. An
unlocked region keeps e = a min(1, (1 - L) / U), and 0 where U = 0. A set of one region is an overlay: it
shares with no region and keeps its mask. The remainder is 1 minus the sum of the set `face`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from composer.errors import MoueError
from composer.geometry.surface import Floats
from masks.mask import checked_values

NOTHING = 1e-9
"""Sums of masks below this are none; it only keeps divisions finite."""
FACE = "face"
"""The default set of regions, and the one whose remainder is `remainder`."""


def share(raw: ArrayLike, locked: Sequence[bool] | None = None) -> Floats:
    """Effective masks (r, n) of one set from its raw masks (r, n) and one flag `locked` a region.

    Their sum is at most 1 everywhere, up to rounding. Raises MoueError for values outside [0, 1] or flags that do
    not fit.

    >>> share([[1.0, 0.75, 0.25], [0.0, 0.75, 0.5]]).tolist()
    [[1.0, 0.5, 0.25], [0.0, 0.5, 0.5]]
    >>> share([[0.75], [0.75]], locked=[True, False]).tolist()
    [[0.75], [0.25]]
    """
    masks = np.array(raw, dtype=np.float64)
    if masks.ndim != 2:
        raise MoueError("raw masks must be one row a region, one column a vertex")
    for row in range(len(masks)):
        masks[row] = checked_values(masks[row], masks.shape[1], f"mask of region {row}")
    held = np.zeros(len(masks), dtype=bool) if locked is None else np.asarray(locked, dtype=bool)
    if held.shape != (len(masks),):
        raise MoueError(f"{held.size} locks for {len(masks)} regions")
    locked_sum = masks[held].sum(axis=0)
    masks[held] /= np.maximum(locked_sum, 1.0)
    room = 1.0 - np.minimum(locked_sum, 1.0)
    wanted = masks[~held].sum(axis=0)
    factor = np.ones_like(wanted)
    np.divide(room, wanted, out=factor, where=wanted > room)
    masks[~held] *= factor
    return masks


def share_filled(soft: ArrayLike, raw: ArrayLike, locked: Sequence[bool] | None = None) -> Floats:
    """Effective masks (r, n) of one set of which some were made softer or harder: `soft` (r, n) from `raw` (r, n).

    Ramps of unequal widths do not sum to one where they meet. So what lies outside all regions counts as one region
    more, with a_0 = max(0, 1 - L - sum of the raw masks), and an unlocked region gets e = (1 - L) a / (a_0 + sum of
    a): what its neighbour gives up it takes. Locked ones keep their mask. Where nothing is left, the raw masks share.
    Raises MoueError as `share`.

    >>> share_filled([[1.0, 0.25], [0.0, 0.25]], [[1.0, 0.5], [0.0, 0.5]]).tolist()
    [[1.0, 0.5], [0.0, 0.5]]
    """
    masks, plain = np.array(soft, dtype=np.float64), share(raw, locked)
    if masks.shape != plain.shape:
        raise MoueError(f"{len(masks)} softened masks for {len(plain)} regions")
    held = np.zeros(len(masks), dtype=bool) if locked is None else np.asarray(locked, dtype=bool)
    fixed = share(masks, locked)[held]
    room = 1.0 - np.minimum(fixed.sum(axis=0), 1.0)
    outside = np.maximum(0.0, 1.0 - np.minimum(share(raw, locked)[held].sum(axis=0), 1.0)
                         - np.asarray(raw, dtype=np.float64)[~held].sum(axis=0))  # fmt: skip
    total = masks[~held].sum(axis=0) + outside
    some = total > NOTHING
    filled = np.divide(room * masks[~held], total, out=np.minimum(plain[~held], room), where=some)
    masks[held], masks[~held] = fixed, filled
    return masks


def effective_masks(
    raw: Sequence[ArrayLike], locked: Sequence[bool] | None = None, sets: Sequence[str] | None = None
) -> Floats:
    """Effective masks (r, n), in the order given, of regions with raw masks (n,), locks and set names.

    Regions share within their set only; without `sets` all belong to `face`. A set of one region leaves its mask
    as it is. Raises MoueError where the lengths do not fit or a value is outside [0, 1].
    """
    masks = [checked_values(mask, word=f"mask of region {i}") for i, mask in enumerate(raw)]
    if not masks:
        return np.zeros((0, 0))
    if any(len(mask) != len(masks[0]) for mask in masks):
        raise MoueError("the regions' masks are of different lengths")
    stacked = np.stack(masks)
    held = np.zeros(len(masks), dtype=bool) if locked is None else np.asarray(locked, dtype=bool)
    names = [FACE] * len(masks) if sets is None else list(sets)
    if held.shape != (len(masks),) or len(names) != len(masks):
        raise MoueError(f"{held.size} locks and {len(names)} set names for {len(masks)} regions")
    for name in dict.fromkeys(names):
        members = [i for i, other in enumerate(names) if other == name]
        if len(members) > 1:
            stacked[members] = share(stacked[members], held[members].tolist())
    return stacked


def remainder(effective: ArrayLike, sets: Sequence[str] | None = None, n_vertices: int | None = None) -> Floats:
    """(n,) the remainder of the set `face`: 1 minus the sum of its effective masks (r, n).

    `n_vertices` is needed where there is no region at all. Raises MoueError where set names do not fit.
    """
    masks = np.asarray(effective, dtype=np.float64)
    if len(masks) == 0:
        return np.ones(n_vertices if n_vertices is not None else (masks.shape[1] if masks.ndim == 2 else 0))
    if sets is not None and len(sets) != len(masks):
        raise MoueError(f"{len(sets)} set names for {len(masks)} regions")
    members = [i for i in range(len(masks)) if sets is None or sets[i] == FACE]
    return np.clip(1.0 - masks[members].sum(axis=0), 0.0, 1.0)
