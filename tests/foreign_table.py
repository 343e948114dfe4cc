"""A table of foreign libraries: each opened as a person opens it, each behaviour measured against what is true of it.

    python -m tests.foreign_table [NAMES] --to FILE.md [--jobs 4]

A name is traits of `tests.awkward_heads` joined by +, "demo" for none, `library_a` for the real library (where
MOUE_REAL names its folder); `three_shapes=base` names the neutral's file too. Without names all are measured. What is
wrong begins with "!"; the exit code is 1 where anything is.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor, as_completed
from multiprocessing import get_context
from pathlib import Path

from tests.awkward_heads import NEUTRAL_NAMES, TRAITS
from tests.foreign_row import Row
from tests.foreign_truth import REAL, awkward_truth, real_truth

TOGETHER = (
    "layered_eyes+rooted_lashes+one_object+z_up+inches", "z_up+inches+one_object", "half_closed+layered_eyes+bust",
    "open_mask+triangles_only+z_up", "mouth_of_one_piece+materials_only+looks_back", "open_mask+head_drift",
    "lopsided+layered_eyes+rooted_lashes+mouth_of_forty_pieces", "bust+inches+z_up_looks_along_x",
    "coincident_sheets+one_object+head_drift", "three_shapes+one_object+inches",
)  # fmt: skip
"""Traits that come together, as they do in the world."""
NAMES = (
    REAL, "demo", *TRAITS, *TOGETHER, *(f"three_shapes={name}" for name in NEUTRAL_NAMES),
)  # fmt: skip
"""All rows, in order."""


def row(name: str) -> dict[str, str]:
    """The cells of one library, by column; its files are written to a temporary folder where they are not there."""
    with tempfile.TemporaryDirectory(prefix="moue-foreign-") as folder:
        truth = real_truth() if name == REAL else awkward_truth(name, Path(folder) / "library")
        return Row(truth, lambda words: print(words, flush=True)).cells


def as_markdown(rows: list[dict[str, str]]) -> str:
    """The rows as a Markdown table, libraries down, behaviours across."""
    columns = list(dict.fromkeys(column for cells in rows for column in cells))
    lines = ["| " + " | ".join(columns) + " |", "|" + "---|" * len(columns)]
    lines += ["| " + " | ".join(cells.get(column, "").replace("|", "/") for column in columns) + " |" for cells in rows]
    return "\n".join(lines) + "\n"


def main() -> int:
    """Measure the libraries that are asked for and write the table; 1 where a cell is wrong."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("names", nargs="*", metavar="NAME", help="libraries; all unless said")
    parser.add_argument("--to", type=Path, required=True, metavar="FILE.md")
    parser.add_argument("--jobs", type=int, default=1)
    asked = parser.parse_args()
    names = list(asked.names or NAMES)
    if not asked.names and not os.environ.get("MOUE_REAL"):
        names.remove(REAL)
        print(f"LEFT OUT: {REAL} (MOUE_REAL names no folder)")
    done: dict[str, dict[str, str]] = {}
    with ProcessPoolExecutor(asked.jobs, mp_context=get_context("spawn"), max_tasks_per_child=1) as pool:
        waiting = {pool.submit(row, name): name for name in names}
        for each in as_completed(waiting):
            try:
                done[waiting[each]] = each.result()
            except Exception as error:  # one library that cannot be made leaves the others their rows
                done[waiting[each]] = {"library": waiting[each], "opens": f"! {type(error).__name__}: {error}"}
            asked.to.write_text(as_markdown([done[name] for name in names if name in done]))
    return int(any(cell.startswith("! ") or "! " in cell for cells in done.values() for cell in cells.values()))


if __name__ == "__main__":
    sys.exit(main())
