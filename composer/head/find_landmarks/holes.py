"""Eye holes of a mask: two open borders of like size, mirror images of each other, above the mouth."""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components

from composer.geometry.polygons import Polygons

Floats = NDArray[np.float64]
WIDTH = (0.08, 0.4)
"""Of the skin's width: an eye hole's least and largest width."""
ALIKE = 0.25
"""Of their width: how far two holes may differ from mirror images in place and width."""
RADIUS, BEHIND = 0.4, 0.8
"""The ball behind a hole: its radius in hole widths, and how far its centre lies behind the rim, in radii (an adult's
lids open 30 mm wide before a ball of 12 mm; from memory).
"""


def eye_holes_of(
    polygons: Polygons, skin: NDArray[np.bool_], places: Floats, mouth: Floats | None
) -> dict[str, tuple[Floats, float]]:
    """By side the centre (3,) and radius of the ball that an eye hole would hold; empty where there is no such pair.

    `places` (n, 3) mm in the head's frame, `mouth` (3,) where it parts, where that is known.
    """
    edges = polygons.edges[polygons.edge_use == 1]
    edges = edges[skin[edges[:, 0]]]
    if not len(edges):
        return {}
    vertices, place = np.unique(edges, return_inverse=True)
    place = place.reshape(-1, 2)
    graph = sp.csr_matrix((np.ones(len(edges)), (place[:, 0], place[:, 1])), shape=(len(vertices),) * 2)
    count, label = connected_components(graph, directed=False)
    across = float(np.ptp(places[skin, 0]))
    holes = []
    for each in range(count):
        rim = places[vertices[label == each]]
        width = float(np.ptp(rim[:, 0]))
        if WIDTH[0] * across < width < WIDTH[1] * across and (mouth is None or rim[:, 1].min() > mouth[1]):
            holes.append((rim.mean(axis=0), width))
    for one, width in holes:
        for other, theirs in holes:
            apart = float(np.linalg.norm(one * (-1, 1, 1) - other))
            if one[0] > 0.5 * width and apart < ALIKE * width and abs(width - theirs) < ALIKE * width:
                back = np.array([0.0, 0.0, BEHIND * RADIUS])
                return {"left": (one - back * width, RADIUS * width), "right": (other - back * theirs, RADIUS * theirs)}
    return {}
