"""Numbers as text, many at once: four digits at a time from a table, with numpy alone.

A row of text is laid out in words of four bytes, with zero bytes where there is no letter. The zeros are then removed
from all rows at once.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

Bytes = NDArray[np.uint8]
Words = NDArray[np.uint32]

MOST_DECIMALS = 12


def decimals_for(diagonal: float, farthest: float = 0.0) -> int:
    """Decimals that keep a position of a head with this bounding-box diagonal within 1e-7 of it.

    Never more than `farthest`, the largest coordinate, leaves of a float64's 53 bits.
    """
    if not diagonal > 0 or not math.isfinite(diagonal):
        wanted = 6
    else:
        wanted = min(max(math.ceil(math.log10(0.5 / (1e-7 * diagonal))), 0), MOST_DECIMALS)
    while wanted and farthest * 10**wanted >= 2**53:
        wanted -= 1
    return wanted


def farthest_of(numbers: NDArray) -> float:
    """The largest of the numbers' absolute values, 0 where there are none."""
    return float(max(numbers.max(initial=0.0), -numbers.min(initial=0.0)))


def _table(digits: int, prefix: str = "", keep_zeros: bool = True) -> Words:
    """(10^digits,) each number as up to four bytes; leading zeros are absent unless kept."""
    rows = np.zeros((10**digits, 4), dtype=np.uint8)
    number = np.arange(10**digits)
    for column in range(digits):
        place = 10 ** (digits - 1 - column)
        shown = np.ones(len(number), dtype=bool) if keep_zeros or place == 1 else number >= place
        rows[shown, len(prefix) + column] = (number // place % 10)[shown] + 48
    for column, letter in enumerate(prefix):
        rows[:, column] = ord(letter)
    return rows.view("<u4").ravel()


class Tables:
    """The tables of one layout: decimals behind the point, made once for a file."""

    def __init__(self, decimals: int) -> None:
        self.decimals = decimals
        self.scale = 10**decimals
        self.whole = _table(4, keep_zeros=False)
        self.whole_full = _table(4)
        self.first = _table(min(decimals, 3), ".") if decimals else None
        more = max(decimals - 3, 0)
        self.rest = [4] * (more // 4) + ([more % 4] if more % 4 else [])
        self.parts = {size: _table(size) for size in set(self.rest)}
        small = [f" {sign}{number}" for sign in ("", "-") for number in range(100)]
        self.small = np.array([word(text) for text in small], dtype="<u4")

    def columns(self, value: NDArray[np.float64]) -> list[Words]:
        """The words of a column (m,) of numbers, rounded to the decimals, with a blank before each."""
        scaled = value * self.scale
        np.rint(scaled, out=scaled)
        negative = scaled < 0
        fixed = np.abs(scaled).astype(np.int64)
        whole = fixed // self.scale
        part = fixed - whole * self.scale
        if int(whole.max(initial=0)) < 100:  # blank, sign and number fit one word
            out = [self.small[whole + 100 * negative]]
        else:
            out = [np.where(negative, np.uint32(0x2D20), np.uint32(0x20)).astype(np.uint32), *self._whole(whole)]
        if self.first is None:
            return out
        below = self.scale // 10 ** min(self.decimals, 3)
        part32 = part.astype(np.uint32) if self.scale < 2**32 else part
        head = part32 // below
        out.append(self.first[head])
        part32 = part32 - head * below
        for size in self.rest:
            below //= 10**size
            head = part32 // below
            out.append(self.parts[size][head])
            part32 = part32 - head * below
        return out

    def _whole(self, whole: NDArray[np.int64]) -> list[Words]:
        largest = int(whole.max(initial=0))
        if largest < 10**4:
            return [self.whole[whole]]
        out: list[Words] = []
        groups = 1 + (len(str(largest)) - 1) // 4
        for group in range(groups - 1, -1, -1):
            upper = whole // 10 ** (4 * group)
            low = upper % 10**4
            if group == groups - 1:
                word = np.where(upper > 0, self.whole[low], np.uint32(0))
            else:
                fallback = self.whole[low] if group == 0 else np.where(upper > 0, self.whole[low], np.uint32(0))
                word = np.where(upper >= 10**4, self.whole_full[low], fallback)
            out.append(word.astype(np.uint32))
        return out


def rows_of(columns: list[Words | int], count: int) -> Bytes:
    """The text of `count` rows laid out in words, without the zeros."""
    flat = _grid(columns, count)
    return flat[flat != 0]


def rows_and_lengths(columns: list[Words | int], count: int) -> tuple[Bytes, NDArray[np.int64]]:
    """The text of `count` rows, and how many bytes (count,) each has."""
    flat = _grid(columns, count)
    used = flat != 0
    return flat[used], used.reshape(count, -1).sum(axis=1)


def _grid(columns: list[Words | int], count: int) -> Bytes:
    grid = np.empty((count, len(columns)), dtype="<u4")
    for place, column in enumerate(columns):
        grid[:, place] = column
    return grid.reshape(-1).view(np.uint8)


def word(text: str) -> int:
    """Up to four ASCII letters as one word."""
    return int.from_bytes(text.encode("ascii").ljust(4, b"\0"), "little")


def integers_text(values: ArrayLike, tables: Tables) -> list[Words]:
    """The words of a column (m,) of integers >= 0, with nothing before them."""
    return tables._whole(np.asarray(values, dtype=np.int64))
