"""Memory that a long command gives back is kept for its next arrays.

Arrays of some MB come and go thousands of times in a fit. As a rule each is asked of the system anew, which clears
every page of it first.
"""

from __future__ import annotations

import ctypes
import sys

MMAP_THRESHOLD, TRIM_THRESHOLD, TOP_PAD = -3, -1, -2
"""Numbers of the C library's `mallopt` (GNU C library, malloc/malloc.h: M_MMAP_THRESHOLD, M_TRIM_THRESHOLD, M_TOP_PAD).
"""
LARGEST = 32 * 2**20
"""Bytes up to which a block is kept: the most that `mallopt` takes (mallopt(3), M_MMAP_THRESHOLD)."""
KEPT = 512 * 2**20
"""Most bytes that are kept at the end of the heap: some of a fit's 800 MB (our choice)."""
AT_ONCE = 64 * 2**20
"""Bytes by which the heap grows (our choice)."""


def keep_memory() -> bool:
    """Keep blocks that are given back, from now on, in this process; False where the C library is another one than
    GNU's, and all stays as it was."""
    if not sys.platform.startswith("linux"):
        return False
    library = ctypes.CDLL(None)
    if not hasattr(library, "gnu_get_libc_version"):
        return False
    asked = ((MMAP_THRESHOLD, LARGEST), (TRIM_THRESHOLD, KEPT), (TOP_PAD, AT_ONCE))
    return all([library.mallopt(number, amount) == 1 for number, amount in asked])
