"""An OBJ of 2.6 million vertices read, beside reading its bytes."""

from __future__ import annotations

from composer.bench.measure import Row, measure
from composer.bench.obj_files import large_obj
from composer.formats.registry import read_mesh


def rows() -> list[Row]:
    """At most 1.5 s."""
    with large_obj() as (path, mesh):
        name = f"OBJ read, {mesh.n_vertices:,} vertices"
        return [
            measure(name, lambda: read_mesh(path), "its bytes read", path.read_bytes, repeats=3, warm=1, most_ms=1500.0)
        ]
