"""Keys of what was made from other things, compared so that a stale result is never taken for a fresh one.

A key holds the objects themselves: while it is kept none of them is freed, so no new array can come back at an old
one's address and pass for it, as happens where `id(array)` is kept instead.
"""

from __future__ import annotations

from pathlib import Path

BY_VALUE = (str, int, float, type(None), Path)


def same_key(held: object, wanted: object) -> bool:
    """Whether two keys agree: strings, numbers, paths and None by value, tuples item by item, all else only where it
    is the same object."""
    if held is wanted:
        return True
    if isinstance(held, tuple) and isinstance(wanted, tuple):
        return len(held) == len(wanted) and all(same_key(a, b) for a, b in zip(held, wanted, strict=True))
    return isinstance(held, BY_VALUE) and isinstance(wanted, BY_VALUE) and held == wanted
