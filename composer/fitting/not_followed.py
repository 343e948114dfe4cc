"""Why a vertex does not follow the sculpt, in codes and in words."""

from __future__ import annotations

from enum import IntEnum

import numpy as np
from numpy.typing import NDArray


class Why(IntEnum):
    """The reason of a vertex; the numbers are the codes in arrays."""

    FOLLOWS = 0
    HOLLOW = 1
    FAR = 2
    FACING = 3
    ENDS = 4
    FOLDS = 5
    PAINTED = 6
    WORN = 7


WORDS: dict[Why, str] = {
    Why.HOLLOW: "in a hollow that the sculpt does not show",
    Why.FAR: "too far from the sculpt",
    Why.FACING: "where the sculpt faces another way",
    Why.ENDS: "beyond the sculpt's edge",
    Why.FOLDS: "where following would fold a face",
    Why.PAINTED: "painted out",
    Why.WORN: "under hair, a hat or a collar",
}
"""What each reason is called in the report; the places follow their surroundings instead."""


def counted(why: NDArray) -> dict[str, int]:
    """How many vertices have each reason, by its words, most first; those that follow are left out."""
    counts = {words: int(np.count_nonzero(why == code)) for code, words in WORDS.items()}
    return {words: count for words, count in sorted(counts.items(), key=lambda one: -one[1]) if count}
