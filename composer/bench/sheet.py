"""Pictures of a real library's shapes on one sheet, each beside its target baked as OBJ.

The folder is named by MOUE_REAL; without it the row is left out and the bench says so.
"""

from __future__ import annotations

from composer.bench.measure import Row, measure
from composer.bench.real_files import real_files
from composer.document.over_cores import cores
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
    with real_files("sheet is left out") as folder:
        head = open_library(folder)
        text, face = ObjText(next(iter(sorted(folder.glob("*.obj"))))), face_points(head)
        studio, entries = studio_for(head, SIZE, face), shapes_of(head)
        chosen = entries[:: max(1, len(entries) // SHAPES)][:SHAPES]

        def pictured() -> object:
            return contact_sheet(studio, chosen, title="sheet", view="three_quarter", cell_width=SIZE[0], face=face)

        def baked() -> object:
            return text.write(folder.parent / "baked.obj", text.positions + 1.0)

        name = f"sheet, a picture, {head.n_vertices:,} vertices"
        note = f"{len(chosen)} pictures on {cores()} cores"
        return [
            measure(
                name, pictured, "a target baked as OBJ", baked, repeats=3, warm=1, calls=len(chosen), most_ms=250.0,
                note=note,
            )
        ]  # fmt: skip
