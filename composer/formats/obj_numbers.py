"""Numbers from text, many at once: each digit position of all numbers in one step, with numpy alone.

A chunk of text is a byte array; its tokens are the runs of bytes above 32. A number without exponent is
read as an integer mantissa m and a power of ten: m / 10^k with m < 2^53 and k <= 22 is correctly rounded
(Clinger 1990, "How to read floating point numbers accurately", section 3), so the result is that of
`float(text)`. Numbers of another form (exponents, very long numbers) are read by `float` itself.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Bytes = NDArray[np.uint8]
Places = NDArray[np.intp]

POWERS = 10 ** np.arange(19, dtype=np.int64)
POWERS_EXACT = 10.0 ** np.arange(19)


class BadNumber(ValueError):
    """A token that is not a number; `token` is its index among those given, `text` its text."""

    def __init__(self, token: int, text: str) -> None:
        super().__init__(text)
        self.token, self.text = token, text


def tokens(chunk: Bytes, slash: bool = False) -> tuple[Places, Places]:
    """Where the tokens of a chunk begin and end. It must begin inside a token and end with a byte <= 32.

    With `slash`, "/" parts tokens as blanks do.
    """
    blank = chunk <= 32
    if slash:
        blank |= chunk == 47
    turns = np.flatnonzero(blank[1:] != blank[:-1])
    turns += 1
    return np.concatenate([np.zeros(1, dtype=np.intp), turns[1::2]]), turns[0::2]


def _digits(chunk: Bytes, ends: Places, lengths: Places) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """The `lengths` digits before `ends` as integers, and which of them were not all digits."""
    longest = min(int(lengths.max(initial=0)), 18)
    kind: type[np.int32] | type[np.int64] = np.int32 if longest <= 9 else np.int64
    value: NDArray = np.zeros(len(ends), dtype=kind)
    wrong = np.zeros(len(ends), dtype=bool)
    shortest = int(lengths.min(initial=0))
    at = ends.copy()
    for place in range(longest):
        at -= 1
        digit = chunk.take(at, mode="clip")
        digit -= 48
        if place >= shortest:
            digit *= (lengths > place).view(np.uint8)
        if digit.max(initial=0) > 9:
            wrong |= digit > 9
        value += digit * kind(POWERS[place])
    return value.astype(np.int64), wrong


def integers(chunk: Bytes, starts: Places, ends: Places) -> NDArray[np.int64]:
    """The integers (m,) in [starts, ends). Raises BadNumber for the first that is not one."""
    first = chunk[starts]
    negative = first == 45
    begins = starts + (negative | (first == 43)) if (first < 48).any() else starts
    lengths = ends - begins
    value, wrong = _digits(chunk, ends, lengths)
    wrong |= (lengths == 0) | (lengths > 18)
    if wrong.any():
        raise _bad(chunk, starts, ends, int(np.argmax(wrong)))
    if negative.any():
        np.negative(value, out=value, where=negative)
    return value


def decimals(chunk: Bytes, starts: Places, ends: Places) -> NDArray[np.float64]:
    """The numbers (m,) float64 in [starts, ends), as `float` reads them. Raises BadNumber for one that is not."""
    first = chunk[starts]
    negative = first == 45
    begins = starts + (negative | (first == 43))
    dots = _dots(chunk, begins, ends)
    whole_length, part_length = dots - begins, np.maximum(ends - dots - 1, 0)
    wrong = (whole_length + part_length == 0) | (whole_length + part_length > 18)
    whole, wrong_whole = _digits(chunk, dots, whole_length)
    part, wrong_part = _digits(chunk, ends, part_length)
    wrong |= wrong_whole | wrong_part
    power = np.minimum(part_length, 18)
    whole *= POWERS[power]
    whole += part
    value = whole.astype(np.float64)
    value /= POWERS_EXACT[power]
    long = whole >= 2**53
    if long.any():
        wrong |= long
    for token in np.flatnonzero(wrong):
        value[token] = _slowly(chunk, starts, ends, int(token))
    np.negative(value, out=value, where=negative & ~wrong)
    return value


def _dots(chunk: Bytes, begins: Places, ends: Places) -> Places:
    """Where the decimal point of each token stands; its end where it has none."""
    dots = np.flatnonzero(chunk == 46)
    if len(dots) == len(begins) and bool(np.all((dots >= begins) & (dots < ends))):
        return dots
    place = ends.copy()
    if len(dots):
        following = dots[np.minimum(np.searchsorted(dots, begins), len(dots) - 1)]
        inside = (following >= begins) & (following < ends)
        place[inside] = following[inside]
    return place


def _slowly(chunk: Bytes, starts: Places, ends: Places, token: int) -> float:
    text = chunk[starts[token] : ends[token]].tobytes()
    try:
        if b"_" in text:
            raise ValueError
        return float(text)
    except ValueError:
        raise _bad(chunk, starts, ends, token) from None


def _bad(chunk: Bytes, starts: Places, ends: Places, token: int) -> BadNumber:
    text = chunk[starts[token] : min(ends[token], starts[token] + 24)].tobytes().decode("ascii", "replace")
    return BadNumber(token, "".join(c if c.isprintable() else "?" for c in text))
