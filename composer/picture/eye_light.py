"""How an eye answers the light: the numbers that pictures and the window share, lengths in radii of its ball.

Under the cornea, a steeper ball that stands out of the large one, the iris is a flat disc. Gullstrand's schematic eye
has a cornea of 7.7 mm radius and 1.376 index on a ball of 24 mm, and mean horizontal diameters in adults are 11.7 mm
for the iris: a half angle of about 29 degrees (all from memory). What is no measure of an eye is our choice, by eye.
"""

from __future__ import annotations

import numpy as np

IRIS_DEG = 28.5
"""Half the angle of the iris, seen from the middle of the ball."""
CORNEA, INDEX = 0.64, 1.376
"""The cornea's radius, and how it refracts."""
RIM_SINE, RIM_COSINE = float(np.sin(np.radians(IRIS_DEG))), float(np.cos(np.radians(IRIS_DEG)))
"""How far the cornea's rim lies from the axis, and how far ahead."""
CORNEA_AHEAD = RIM_COSINE - float(np.sqrt(CORNEA**2 - RIM_SINE**2))
"""How far ahead the middle of the cornea's ball lies."""
IRIS_AHEAD = RIM_COSINE - 0.035
"""How far ahead the disc of the iris lies."""
PUPIL = 0.38
"""The pupil in room light, of the iris."""
EDGE_DEG = 3.0
"""Degrees over which the iris and the white, the cornea and the ball, run into each other."""
CAUSTIC = 0.45
"""How much brighter the iris is across from the window, and darker beside it: the cornea gathers the light there."""
UPPER_SHADE, LOWER_SHADE = 0.30, 0.72
"""How much of the sky a place sees right under the upper lid, and right above the lower one."""
UPPER_REACH, LOWER_REACH = 0.24, 0.10
"""How far below, and above, a lid dims the sky; in stereographic heights, where 1 is two radii."""
SHADOW_FROM, SHADOW_TO = -0.01, 0.12
"""From where to where below the upper lid its shadow ends."""
LINE, LINE_LIGHT = 0.009, 0.62
"""Half the breadth of the wet line where the ball meets the lower lid, in such heights, and its strength."""
LINE_FROM, LINE_TO = 0.08, 0.30
"""Height of the gap between the lids, towards a corner, over which the wet line fades away."""
CATCH, BARS = 0.85, 0.55
"""Strength of the mirrored window, and how much of it its bars take away."""
WET_SKY = 0.035
"""How much of the sky the eye mirrors."""
IRIS_IN_SRGB, IRIS_OUT_SRGB = (152.0, 158.0, 140.0), (88.0, 108.0, 114.0)
LIMBUS_SRGB, PUPIL_SRGB = (38.0, 44.0, 48.0), (10.0, 9.0, 9.0)
WHITE_SRGB, CORNER_SRGB = (231.0, 226.0, 219.0), (212.0, 178.0, 164.0)
"""Colours from the pupil outwards to the corners, sRGB 0 to 255."""
