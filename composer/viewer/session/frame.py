"""What a view draws of a session's pose."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.mixing.columns import Range


@dataclass(frozen=True, eq=False)
class Frame:
    """What is seen: positions and normals (n, 3) float32, and the range of vertices changed since the last frame,
    None for all of them."""

    positions: NDArray[np.float32]
    normals: NDArray[np.float32]
    touched: Range | None

    @property
    def changed(self) -> bool:
        """Whether anything differs from the frame before."""
        return self.touched is None or self.touched[1] > self.touched[0]
