"""Amounts as a person says them: twice as long, a quarter of the width, and never 326 percent."""

from __future__ import annotations

PARTS: tuple[tuple[float, str], ...] = (
    (0.05, "a twentieth"), (0.1, "a tenth"), (0.2, "a fifth"), (0.25, "a quarter"), (1.0 / 3.0, "a third"),
    (0.5, "half"), (2.0 / 3.0, "two thirds"), (0.75, "three quarters"), (0.9, "nine tenths"),
)  # fmt: skip
NUMBERS = ("two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
MORE = {"long": "longer", "much": "more"}
LEAST, TWICE, MOST = 0.035, 1.9, 10.5


def fraction(part: float) -> str:
    """A part of a whole, from 0 to 1, in words, as the common fraction that is nearest to it: 0.26 is "a quarter"."""
    return "less than a twentieth" if part < LEAST else min(PARTS, key=lambda each: abs(each[0] - part))[1]


def times(ratio: float, what: str = "long") -> str:
    """How much more a `ratio` of 1 and more is, to go before what it is compared with: 1.26 is "a quarter longer than",
    2.1 "twice as long as", 13 "more than ten times as long as"; `what` is "long" or "much".
    """
    if ratio < TWICE:
        part = fraction(ratio - 1.0)
        return f"half as {what} again as" if part == "half" else f"{part} {MORE[what]} than"
    if ratio > MOST:
        return f"more than ten times as {what} as"
    return f"{multiple(ratio)} as {what} as"


def multiple(ratio: float) -> str:
    """A `ratio` from 1.9 on in words: "twice", "two and a half times", "three times", "more than ten times"."""
    if ratio > MOST:
        return "more than ten times"
    halves = round(2.0 * ratio) if ratio < 3.75 else 2 * round(ratio)
    if halves <= 4:
        return "twice"
    return f"{NUMBERS[halves // 2 - 2]}{' and a half' if halves % 2 else ''} times"
