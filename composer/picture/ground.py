"""The ground behind a head: haze over a shore, cool and a little lighter above, sand below, even from side to side.

Pictures and the window lay the same one; what is written on pages stands on its plain middle, `BACKGROUND`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

BACKGROUND = (152, 154, 158)
"""sRGB of pages, and of the ground in its middle."""
ABOVE, BELOW = (0.955, 1.020, 1.065), (1.020, 0.970, 0.915)
"""What the ground's upper and lower end are of `BACKGROUND`, in sRGB (our choice, by eye)."""
_REACH = 1.1
"""Where the change begins and ends, in half heights from the middle (our choice)."""


def ground_rows(height: int) -> NDArray[np.float32]:
    """(height, 3) sRGB in [0, 1] of the rows of a picture, the uppermost first."""
    middle = 1.0 - (2.0 * np.arange(height) + 1.0) / max(height, 1)
    up = np.clip((middle + _REACH) / (2.0 * _REACH), 0.0, 1.0)
    up = (up * up * (3.0 - 2.0 * up))[:, None]
    tint = np.array(BELOW) * (1.0 - up) + np.array(ABOVE) * up
    return (np.array(BACKGROUND) / 255.0 * tint).astype(np.float32)
