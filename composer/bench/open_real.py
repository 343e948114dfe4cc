"""A real library opened to a usable window, with regions, and inspected: time, processor time and peak memory.

Each in a process of its own, so that the peak is its own. The folder is named by MOUE_REAL; without it the rows are
left out and the bench says so.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from statistics import median

from composer.bench.measure import Row
from composer.bench.real_files import real_files

REPEATS = 3
MEASURED = """
import sys, time
from pathlib import Path
from composer.bench.peak_memory import peak_mb
{imports}
begin, spent = time.perf_counter(), time.process_time()
{call}
print(1e3 * (time.perf_counter() - begin), 1e3 * (time.process_time() - spent), peak_mb())
"""
RUNS = (
    ("open a real library, regions laid", "from composer.viewer.session.opening import open_path",
     "open_path(Path(sys.argv[1]), lambda fraction, words: None)", 5000.0),
    ("inspect a real library",
     "from composer.document.beliefs import beliefs_of\n"
     "from composer.document.inspection import inspect_folder\nfrom composer.formats.library import upright\n"
     "from composer.head.parts import with_recognised_parts",
     "beliefs_of(with_recognised_parts(upright(inspect_folder(Path(sys.argv[1])).head)))", 10000.0),
)  # fmt: skip
"""The name, what is imported before the clock starts, the call, and the most it may take in ms."""


def rows() -> list[Row]:
    """A row each for opening and inspecting. Raises MoueError where MOUE_REAL names no such library."""
    with real_files("open_real is left out") as folder:
        return [_row(folder, *run) for run in RUNS]


def _row(folder: Path, name: str, imports: str, call: str, most_ms: float) -> Row:
    code = MEASURED.format(imports=imports, call=call)
    taken = []
    for _ in range(REPEATS):
        done = subprocess.run([sys.executable, "-c", code, str(folder)], capture_output=True, text=True, check=True)
        taken.append([float(each) for each in done.stdout.split()])
    wall, spent, peak = (sorted(column) for column in zip(*taken, strict=True))
    middle = median(wall)
    return Row(
        name, middle, wall[-1] - wall[0], "its processor time", median(spent), middle / median(spent),
        f"<= {most_ms:g} ms", middle <= most_ms, f"peak memory {peak[-1]:.0f} MB",
    )  # fmt: skip
