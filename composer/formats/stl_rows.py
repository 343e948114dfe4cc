"""The vertices of a text STL, many at once, where its lines and numbers are written as programs write them.

A vertex's line is "vertex" and three numbers, one blank before each, and the line's end. The numbers are all plain
decimals, or all of one width with an exponent of two digits ("-1.234567e+01"). Such a number is an integer m times a
power of ten; with m < 2^53 and a power of at most 22, the product or quotient is correctly rounded (Clinger 1990, "How
to read floating point numbers accurately", section 3), so it is what `float` reads.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.formats.obj_numbers import Bytes, Places, decimals, tokens

WORD = np.frombuffer(b"vertex", dtype=np.uint8)
BLANKS, ENDS, DOT, EXPONENTS, SIGNS = (32, 9), (10, 13), 46, (101, 69), (43, 45)
MOST_DIGITS = 15
"""10^15 is below 2^53."""
POWERS = 10.0 ** np.arange(23)


def plain_rows(text: bytes) -> NDArray[np.float64] | None:
    """(k, 3) the numbers of the vertices in a text that ends with a line; None where it is written in another way.

    Raises BadNumber for a token among plain decimals that is no number.
    """
    chunk = np.frombuffer(b"x\n" + text + b"\n", dtype=np.uint8)
    starts, ends = tokens(chunk)
    at = np.flatnonzero(chunk[starts] == WORD[0])
    if not len(at) or at[-1] + 3 >= len(starts):
        return None
    begin, word_end = starts[at], ends[at]
    if (word_end - begin != len(WORD)).any() or any((chunk[begin + i] != c).any() for i, c in enumerate(WORD)):
        return None
    if not _one_of(chunk[ends[at - 1]], ENDS).all() or not _one_of(chunk[ends[at + 3]], ENDS).all():
        return None
    for step in range(3):
        blank = ends[at + step]
        if not _one_of(chunk[blank], BLANKS).all() or (starts[at + step + 1] != blank + 1).any():
            return None
    numbers = at[:, None] + np.arange(1, 4)
    found = _numbers(chunk, starts[numbers].ravel(), ends[numbers].ravel())
    return None if found is None else found.reshape(-1, 3)


def _one_of(octets: Bytes, pair: tuple[int, int]) -> NDArray[np.bool_]:
    return np.asarray((octets == pair[0]) | (octets == pair[1]))


def _numbers(chunk: Bytes, starts: Places, ends: Places) -> NDArray[np.float64] | None:
    """(m,) the numbers in [starts, ends) where all are of one of the two forms, else None."""
    powered = _one_of(chunk[np.maximum(ends - 4, starts)], EXPONENTS)
    if powered.all():
        return _powered(chunk, starts, ends)
    return None if powered.any() else decimals(chunk, starts, ends)


def _powered(chunk: Bytes, starts: Places, ends: Places) -> NDArray[np.float64] | None:
    """(m,) the numbers of one width with an exponent, else None."""
    first = chunk[starts]
    begins = starts + _one_of(first, SIGNS)
    width = int(ends[0] - begins[0]) - 4
    digits = width - 1
    if not 1 < digits <= MOST_DIGITS or (ends - begins != width + 4).any():
        return None
    if (chunk[begins + 1] != DOT).any() or not _one_of(chunk[ends - 3], SIGNS).all():
        return None
    mantissa = np.zeros(len(starts), dtype=np.int64)
    power = np.zeros(len(starts), dtype=np.int64)
    for value, places in ((mantissa, [begins, *(begins + 2 + i for i in range(digits - 1))]),
                          (power, [ends - 2, ends - 1])):  # fmt: skip
        for place in places:
            digit = chunk[place] - np.uint8(48)
            if digit.max() > 9:
                return None
            value *= 10
            value += digit
    np.negative(power, out=power, where=chunk[ends - 3] == SIGNS[1])
    power -= digits - 1
    if np.abs(power).max() >= len(POWERS):
        return None
    scale = POWERS[np.abs(power)]
    out = np.where(power < 0, mantissa / scale, mantissa * scale)
    np.negative(out, out=out, where=first == SIGNS[1])
    return out
