"""The motion of a head over time as CSV: RFC 4180, UTF-8, one row a time.

    time (s)  x  y  z (mm)  qw  qx  qy  qz (a unit quaternion)

A point p of the head at rest, in mm with x to the subject's left, y up and z forward, lies at R p + (x, y, z) at that
time, R the rotation of the quaternion (Hamilton's: w is the cosine of half the angle).
"""

from __future__ import annotations

import csv
import io

from numpy.typing import NDArray

NAMES = ("time", "x", "y", "z", "qw", "qx", "qy", "qz")
DIGITS = 9
"""Decimals: a millionth of a micrometre, and an angle of a ten-millionth of a degree."""


def motion_csv_text(times: NDArray, shifts: NDArray, turns: NDArray) -> str:
    """The text of `shifts` (f, 3) mm and unit quaternions `turns` (f, 4), w first, at `times` (f,) s."""
    held = io.StringIO()
    writer = csv.writer(held, lineterminator="\n")
    writer.writerow(NAMES)
    for time, shift, turn in zip(times.tolist(), shifts.tolist(), turns.tolist(), strict=True):
        writer.writerow([repr(time), *(repr(round(value, DIGITS) + 0.0) for value in (*shift, *turn))])
    return held.getvalue()
