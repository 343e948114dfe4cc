"""How large displacements become on a head of another size.

Between grown people of unlike size a smile is as long: on a library drawn from a linear model of many people the true
displacement is the old one, in mm, whatever the head's size. Onto a head of another kind, a child or a giant, it must
grow with the head. So it is kept between heads of alike size, grows with the head beyond, and in between goes over from
one to the other without a jump. A person can say which.
"""

from __future__ import annotations

from math import exp, log
from typing import Literal

from composer.errors import MoueError

Amplitude = Literal["auto", "library", "head"]
AMPLITUDES: tuple[Amplitude, ...] = ("auto", "library", "head")
ALIKE, UNLIKE = 1.15, 1.3
"""Ratios of sizes: up to the first, the heads are those of grown people (twice what separates the 5th and the 95th
percentile from the mean; common practice, no source); from the second on, they are not (our choice: as far again)."""
NOTICED = 1.03
"""Ratio of sizes from which a person is told: the difference changes a movement of 10 mm by 0.3 mm (our choice)."""


def amplitude_of(scale: float, amplitude: Amplitude) -> float:
    """What displacements are multiplied by on a head `scale` times as large: 1 for "library", the scale for "head".

    "auto" is 1 where the sizes differ by no more than ALIKE, the scale from UNLIKE on, and between them a power of the
    scale that rises smoothly from 0 to 1. Raises MoueError for another word.
    """
    if amplitude not in AMPLITUDES:
        raise MoueError(f"there is no amplitude {str(amplitude)!r}", hint="auto, library or head")
    if amplitude == "library":
        return 1.0
    if amplitude == "head":
        return scale
    share = min(max((abs(log(scale)) - log(ALIKE)) / (log(UNLIKE) - log(ALIKE)), 0.0), 1.0)
    power = share * share * (3.0 - 2.0 * share)
    return scale if power == 1.0 else exp(power * log(scale))


def size_words(scale: float, amplitude: float) -> str:
    """A sentence on a head `scale` times as large, where displacements are multiplied by `amplitude`; "" for heads of
    sizes that differ by less than NOTICED."""
    if abs(log(scale)) < log(NOTICED):
        return ""
    size = f"the new head is {scale:.2f} times as large as the old one"
    if abs(amplitude - 1.0) < 0.005:
        return f"{size}; shapes move as far in mm as on the old head"
    return f"{size}; shapes move {amplitude:.2f} times as far"
