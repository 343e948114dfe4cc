"""Weights as the window shows and reads them: in percent. Documents keep fractions."""

from __future__ import annotations

import math
import re

from composer.errors import MoueError
from composer.mixing.recipe import WEIGHT_RANGE
from composer.plain_number import as_meant

NUMBER = re.compile(r"\s*([+-]?(?:\d+([.,]\d*)?|([.,]\d+)))\s*(%?)\s*")
DIGITS = 1
"""Digits of a percent that are shown, where they are not 0."""


def weight_words(weight: float) -> str:
    """A weight as people read it: 0.35 is "35%", 1 is "100%", -0.125 is "-12.5%"."""
    words = f"{100.0 * weight:.{DIGITS}f}".removesuffix("." + DIGITS * "0")
    return ("0" if words == "-0" else words) + "%"


def read_weight(text: str) -> float:
    """The weight that a person has typed: 60, 60%, .6, 0.6 and 0,6 are all 0.6.

    A number with the sign % is percent, and so is one without a decimal point or comma. One with a point or comma is a
    fraction where a weight can be that, from -1 to 2, else percent: 12.5 is 0.125. Raises MoueError for what is no
    number, and for a weight outside that range.
    """
    found = NUMBER.fullmatch(text)
    if found is None:
        raise MoueError(f"{text.strip()!r} is no weight", hint="type a number in percent, such as 60; 100 is full")
    value = float(found[1].replace(",", "."))
    low, high = WEIGHT_RANGE
    fraction = not found[4] and (found[2] is not None or found[3] is not None) and low <= value <= high
    weight = value if fraction else as_meant(float(f"{value / 100.0:.12g}"))
    if not math.isfinite(weight) or not low <= weight <= high:
        raise MoueError(
            f"{text.strip()} is beyond what a weight can be", hint=f"from {100 * low:.0f} to {100 * high:.0f} percent"
        )
    return weight
