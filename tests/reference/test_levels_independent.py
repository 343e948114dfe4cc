"""Levels against an independent implementation of Catmull-Clark, brought to Moue's order by connectivity.

pyOpenSubdiv 0.0.3 (PyPI) says nothing of its licence and ends the process on bad arguments: it is no dependency, runs
in a process of its own here, and the test is skipped where it is not installed.
"""

from __future__ import annotations

import json
import subprocess
import sys
from importlib.util import find_spec

import numpy as np
import pytest

from composer.geometry.polygons import Polygons
from composer.head.levels import levels, refine
from composer.head.order import match_order
from composer.head.rules import ruled_levels
from tests.small_heads import CUBE, CUBE_CORNERS, grid

needs = pytest.mark.skipif(find_spec("pyOpenSubdiv") is None, reason="pyOpenSubdiv, an oracle, is not installed")
RUN = """
import json, sys
from pyOpenSubdiv.pysubdivision import pysubdivide
told = json.load(sys.stdin)
made = pysubdivide(told["level"], told["vertices"], told["faces"], [v for f in told["faces"] for v in f],
                   [len(f) for f in told["faces"]])
vertices, faces = ([list(map(kind, row)) for row in made[name]] for kind, name in ((float, "vertices"), (int, "faces")))
print("RESULT" + json.dumps([vertices, faces]))
"""


def theirs(polygons: Polygons, points: np.ndarray, level: int) -> tuple[Polygons, np.ndarray]:
    faces = [polygons.face(i).tolist() for i in range(polygons.n_faces)]
    told = json.dumps({"level": level, "vertices": points.tolist(), "faces": faces})
    done = subprocess.run([sys.executable, "-c", RUN], input=told, capture_output=True, text=True, check=True)
    vertices, quads = json.loads(done.stdout.rsplit("RESULT", 1)[1])
    return Polygons.from_faces(quads, len(vertices)), np.array(vertices)


@needs
@pytest.mark.parametrize("level", [1, 2, 3])
@pytest.mark.parametrize("closed", [True, False])
def test_an_independent_implementation_gives_the_same_surface(level: int, closed: bool) -> None:
    """In single precision; 1.6e-7 was measured before. On an open border theirs may keep its corners: said which."""
    mesh = CUBE if closed else grid(4, 5)
    points = np.random.default_rng(level).normal(size=(mesh.n_vertices, 3)) + (CUBE_CORNERS if closed else 0.0)
    steps = levels(mesh, level)
    ours, other = refine(points, steps), theirs(mesh, points, level)
    found = match_order(steps[-1].polygons, other[0], ours, other[1])
    there = other[1][found.vertices]
    if closed:
        np.testing.assert_allclose(there, ours, atol=2e-6)
        return
    ruled = refine(points, ruled_levels(mesh, level, True))
    assert min(np.abs(there - ours).max(), np.abs(there - ruled).max()) < 2e-6
