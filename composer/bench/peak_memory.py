"""The most memory that this process has held."""

from __future__ import annotations

import sys
from pathlib import Path

STATUS = Path("/proc/self/status")


def peak_mb() -> float:
    """The peak in MB. Linux tells it of the program alone; what `getrusage` tells there counts the process that started
    it, too.
    """
    if STATUS.is_file():
        for line in STATUS.read_text().splitlines():
            if line.startswith("VmHWM:"):
                return float(line.split()[1]) / 1024
    import resource

    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most / (1024 * 1024 if sys.platform == "darwin" else 1024)
