"""Two places of one file system exchanged in one step, where the system can: renameat2 with RENAME_EXCHANGE (Linux 3.15
and later, rename(2)) or renamex_np with RENAME_SWAP (macOS, rename(2)).
"""

from __future__ import annotations

import ctypes
import os
import sys
from pathlib import Path

AT_FDCWD, RENAME_EXCHANGE, RENAME_SWAP = -100, 2, 2
"""From linux/fcntl.h, linux/fs.h, and sys/stdio.h of macOS."""


def exchanged(one: Path, other: Path) -> bool:
    """Exchange two files or folders that are both there; False, with nothing done, where that cannot be in one step."""
    try:
        system = ctypes.CDLL(None, use_errno=True)
        if sys.platform == "darwin":
            return bool(system.renamex_np(os.fsencode(one), os.fsencode(other), RENAME_SWAP) == 0)
        if sys.platform == "linux":
            done = system.renameat2(AT_FDCWD, os.fsencode(one), AT_FDCWD, os.fsencode(other), RENAME_EXCHANGE)
            return bool(done == 0)
    except (AttributeError, OSError, TypeError):  # no such call in this system's library
        return False
    return False
