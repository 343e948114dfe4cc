"""Names, by place, for regions without names, such as those found from displacement.

The preset of places, laid by the head's landmarks, tells where brow, lids, cheek, nose, lips and jaw are. A
region takes the name of the one of them, or of the place that several make together, which it is most alike, with its
side where it keeps to one: brow_inner_left, nose, jaw. What the library moves counts by how far it moves it: the brow
rather than the forehead above it. No two regions get one name.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray

from composer.errors import MoueError
from composer.head.head import Head
from composer.head.presets import lay_regions, place_set
from composer.head.symmetry import pairs_of
from masks.region_preset import SIDES

Floats = NDArray[np.float64]

PLACES: dict[str, tuple[str, ...]] = {
    "brow": ("brow_inner", "brow_outer", "forehead", "glabella"),
    "lids": ("upper_lid", "lower_lid", "eye_corner"),
    "nose": ("nose_tip", "nostril", "nose_bridge"),
    "cheek": ("cheek", "cheekbone"),
    "mouth": ("upper_lip", "lower_lip", "mouth_corner"),
    "jaw": ("jaw", "chin"),
}
"""Places of a face that several places of the preset make together."""
FAINTEST = 0.15
"""A region less similar to a place than this does not get its name; similarity is in [0, 1]. A design choice, no
source.
"""
SIDED = 0.8
"""A region has a side if at least this fraction of it lies there. A design choice, no source."""


def region_names(head: Head, masks: Mapping[str, ArrayLike]) -> dict[str, str]:
    """The new name of each region of `masks` {name: (n,) in [0, 1]} by its place on `head`, in the same order.

    A region keeps its own name where the head has no landmarks, or no free place is similar.
    Raises MoueError for masks or landmarks that do not fit the head.
    """
    weights = {name: np.asarray(mask, dtype=np.float64) for name, mask in masks.items()}
    for name, weight in weights.items():
        if weight.shape != (head.n_vertices,):
            what = f"region {name!r} has {weight.size} weights, the head {head.n_vertices} vertices"
            raise MoueError(what, head.path)
    laid = lay_regions(head, place_set()).masks if head.landmarks else {}
    say = _say(head)
    sides = [_side(weight * say, laid) for weight in weights.values()]
    scores = [_scores(weight * say, laid, side, say) for weight, side in zip(weights.values(), sides, strict=True)]
    for one, other in _mirrored(head, list(weights.values())):
        both = scores[one].keys() & scores[other].keys()
        scores[one] = scores[other] = {place: 0.5 * (scores[one][place] + scores[other][place]) for place in both}
    found = sorted((-round(alike, 9), rank, place) for rank, each in enumerate(scores) for place, alike in each.items())
    named: dict[int, str] = {}
    for _, rank, place in found:
        if rank not in named and place + sides[rank] not in named.values():
            named[rank] = place + sides[rank]
    return {name: named.get(rank, name) for rank, name in enumerate(weights)}


def _scores(weighed: Floats, laid: Mapping[str, Floats], side: str, say: Floats) -> dict[str, float]:
    """The similarity in [0, 1] of a region (its mask times `say`) to each place of its side."""
    alike = {name: _alike(weighed, place, say) for name, place in _places(laid, side)}
    return {name: score for name, score in alike.items() if score >= FAINTEST}


def _mirrored(head: Head, masks: list[Floats]) -> list[tuple[int, int]]:
    """Pairs of regions that are mirror images of each other; none on an asymmetric head."""
    partner = pairs_of(head)
    if partner is None:
        return []
    images = [mask[partner] for mask in masks]
    return [
        (i, j) for j in range(len(masks)) for i in range(j) if np.allclose(images[i], masks[j], rtol=0.0, atol=1e-6)
    ]  # fmt: skip


def _say(head: Head) -> Floats:
    """(n,) the area of each vertex in mm^2 times its RMS movement in mm; the area alone where nothing moves."""
    square = np.zeros(head.n_vertices)
    for shape in head.expressions:
        square += np.einsum("ij,ij->i", shape.delta, shape.delta, dtype=np.float64)
    return head.surface.mass * np.sqrt(square) if square.any() else head.surface.mass


def _places(laid: Mapping[str, Floats], side: str) -> Iterator[tuple[str, Floats]]:
    """Every named place and its mask (n,): on one side, or in full where `side` is ""."""
    fine = {name.removesuffix(SIDES[0]).removesuffix(SIDES[1]): None for name in laid}
    for name, parts in {**PLACES, **{name: (name,) for name in fine if name not in PLACES}}.items():
        ends = ("", side) if side else ("", *SIDES)
        held = [laid[part + end] for part in parts for end in dict.fromkeys(ends) if part + end in laid]
        if held:
            yield name, np.minimum(np.sum(held, axis=0), 1.0)


def _alike(weighed: Floats, place: Floats, say: Floats) -> float:
    """The similarity in [0, 1] of a region (its mask times `say`) and a place: the geometric mean of the share of the
    region in the place and the share of the place in the region.
    """
    sizes = float(weighed.sum()) * float(say @ place)
    return float(weighed @ place) / float(np.sqrt(sizes)) if sizes > 0 else 0.0


def _side(weighed: Floats, laid: Mapping[str, Floats]) -> str:
    """The side on which a region (its mask times `say`) lies, "" for neither."""
    left, right = (sum(float(weighed @ mask) for name, mask in laid.items() if name.endswith(side)) for side in SIDES)
    larger = max(left, right)
    if larger <= 0 or larger < SIDED * (left + right):
        return ""
    return SIDES[0] if left > right else SIDES[1]
