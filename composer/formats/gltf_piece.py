"""One mesh of a glTF scene with the vertices of its file, before seams are joined."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray


@dataclass
class Piece:
    """One mesh of the scene with the vertices of its file, all its primitives one after the other; `displacements`
    reads what its targets move, which then stands in `deltas`."""

    name: str
    extras: dict[str, Any]
    positions: NDArray[np.float64]
    triangles: NDArray[np.int32]
    uv: NDArray[np.float64] | None
    colours: NDArray[np.float64] | None
    source: NDArray[np.int64] | None
    displacements: Callable[[], dict[str, NDArray[np.float32]]]
    materials: dict[str, NDArray[np.int32]] = field(default_factory=dict)
    deltas: dict[str, NDArray[np.float32]] = field(default_factory=dict)
