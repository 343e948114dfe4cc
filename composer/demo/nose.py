"""The nostrils: two rings and a small grid that turn up into the nose from the eight grid points round each."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.demo.layout import Layout


def place_nostril(layout: Layout, positions: NDArray[np.float64]) -> None:
    """Put the rings inside the left nostril as ellipses fitted to its border, narrowing upwards and back."""
    border = positions[layout.nostril[0]]
    centre = border.mean(0)
    a, b = (border[1] - border[5]) / 2, (border[3] - border[7]) / 2
    h = np.sqrt(0.5)
    ellipse = np.array([(a - b) * h, a, (a + b) * h, b, (b - a) * h, -a, (-a - b) * h, -b])
    inward = np.array([0.4, 7, -3.5])
    for ring, scale, depth in ((1, 0.80, 0.02), (2, 0.68, 0.30), (3, 0.55, 1.1)):
        positions[layout.nostril[ring]] = centre + ellipse * scale + inward * depth
    fill = layout.nostril_fill
    positions[fill[1, 1]] = positions[layout.nostril[3]].mean(0) + 0.15 * inward
