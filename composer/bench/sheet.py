"""Pictures of a real library's shapes on one sheet, each beside its target baked as OBJ.

The folder is named by MOUE_REAL; without it the row is left out and the bench says so.
"""

from __future__ import annotations

import os
import tarfile
import tempfile
from pathlib import Path

from composer.bench.measure import Row, measure
from composer.document.over_cores import cores
from composer.errors import MoueError
from composer.formats.library import open_library
from composer.formats.obj_text import ObjText
from composer.picture.face import face_points
from composer.picture.fine_enough import studio_for
from composer.picture.sheet import contact_sheet, shapes_of

SHAPES = 16
SIZE = (300, 545)
"""The width of a picture on a sheet, and the most height it can have."""


def rows() -> list[Row]:
    """At most 250 ms a picture on all cores, the studio apart. Raises MoueError where MOUE_REAL names no library."""
    named = os.environ.get("MOUE_REAL", "")
    archive = Path(named) / "library_a" / "library_a.tar.xz"
    if not named or not archive.is_file():
        raise MoueError("sheet is left out: MOUE_REAL names no folder that holds library_a/library_a.tar.xz")
    with tempfile.TemporaryDirectory() as place:
        with tarfile.open(archive) as tar:
            tar.extractall(place, filter="data")
        first = next(iter(sorted(Path(place).rglob("*.obj"))))
        head = open_library(first.parent)
        text, face = ObjText(first), face_points(head)
        studio, entries = studio_for(head, SIZE, face), shapes_of(head)
        chosen = entries[:: max(1, len(entries) // SHAPES)][:SHAPES]

        def pictured() -> object:
            return contact_sheet(studio, chosen, title="sheet", view="three_quarter", cell_width=SIZE[0], face=face)

        def baked() -> object:
            return text.write(Path(place) / "baked.obj", text.positions + 1.0)

        name = f"sheet, a picture, {head.n_vertices:,} vertices"
        note = f"{len(chosen)} pictures on {cores()} cores"
        return [
            measure(
                name, pictured, "a target baked as OBJ", baked, repeats=3, warm=1, calls=len(chosen), most_ms=250.0,
                note=note,
            )
        ]  # fmt: skip
