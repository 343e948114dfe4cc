"""The OBJ file that the reading and writing rows share: a cube-sphere of 2.6 million vertices in a scratch folder."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from composer.bench.cube_sphere import cube_sphere
from composer.formats.mesh import Mesh
from composer.formats.registry import write_mesh

SIDE = 658  # 6 * 658^2 + 2 = 2,597,786 vertices


@contextmanager
def large_obj() -> Iterator[tuple[Path, Mesh]]:
    """The path of the file and the mesh in it; the folder is removed afterwards."""
    polygons, positions = cube_sphere(SIDE, seed=5)
    with tempfile.TemporaryDirectory(prefix="moue-bench-") as folder:
        path = Path(folder) / "neutral.obj"
        write_mesh(path, Mesh(polygons, positions))
        yield path, Mesh(polygons, positions)
