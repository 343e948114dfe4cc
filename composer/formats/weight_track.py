"""How one weight changes over time, as a file of animation holds it: the common ground of CSV, glTF and USD."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Between = Literal["hold", "linear", "cubic"]


@dataclass(frozen=True, eq=False)
class WeightTrack:
    """A weight by `name` at rising `times` (k,) in seconds: `values` (k,), and how it goes `between` them.

    It holds until the next time, goes straight there, or follows the cubic Hermite curve whose slopes (k,) per second
    arrive at each time (`slopes_in`) and leave it (`slopes_out`). Before the first time and after the last one it
    stands still. `column` says where in the file it stands, for errors and notes.
    """

    name: str
    times: NDArray[np.float64]
    values: NDArray[np.float64]
    between: Between = "linear"
    slopes_in: NDArray[np.float64] | None = None
    slopes_out: NDArray[np.float64] | None = None
    column: str = ""
