"""How much memory is free for more work."""

from __future__ import annotations

import re
from pathlib import Path

MEMINFO, CGROUP = Path("/proc/meminfo"), Path("/sys/fs/cgroup")
"""Linux, `proc_meminfo(5)`: MemAvailable; control groups version 2, kernel documentation "cgroup-v2": memory.max and
memory.current of the group that a container is."""


def free_bytes(meminfo: Path = MEMINFO, group: Path = CGROUP) -> int | None:
    """The bytes that a new process can take; None where the system does not say (not on Linux)."""
    try:
        found = re.search(r"^MemAvailable:\s+(\d+) kB", meminfo.read_text(), re.MULTILINE)
    except OSError:
        return None
    free = None if found is None else 1024 * int(found[1])
    try:
        most, used = ((group / name).read_text().strip() for name in ("memory.max", "memory.current"))
        if most != "max":
            left = max(int(most) - int(used), 0)
            free = left if free is None else min(free, left)
    except (OSError, ValueError):
        pass
    return free
