"""A target of 2.6 million vertices baked over its neutral's text, beside writing the same bytes."""

from __future__ import annotations

import os

import numpy as np

from composer.bench.measure import Row, measure
from composer.bench.obj_files import large_obj
from composer.formats.obj_text import ObjText


def rows() -> list[Row]:
    """At most 4 times the raw write. Both write a new file and rename it, so that no file is half written."""
    with large_obj() as (path, mesh):
        text = ObjText(path)
        moved = text.positions + np.random.default_rng(0).normal(size=text.positions.shape)
        target, raw, beside = (path.with_name(name) for name in ("baked.obj", "raw.obj", "raw.part"))
        text.write(target, moved)
        data = target.read_bytes()

        def write_raw() -> None:
            beside.write_bytes(data)
            os.replace(beside, raw)

        name = f"OBJ baked, {mesh.n_vertices:,} vertices"
        return [
            measure(
                name, lambda: text.write(target, moved), "the same bytes written", write_raw, repeats=5, warm=1,
                most_ratio=4.0,
            )
        ]  # fmt: skip
