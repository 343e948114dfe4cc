"""The Khronos validator (npm package gltf-validator 2.0.0-dev.3.10) finds no error and no warning in our files.

It is found by the environment variable MOUE_GLTF_VALIDATOR (the package's folder) or by node itself.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from composer.formats.mesh import Mesh
from composer.formats.registry import write_mesh
from composer.head.head import Shape, TextureCoordinates
from tests.small_heads import CUBE, CUBE_CORNERS, grid

SCRIPT = """
const validator = require(process.env.MOUE_GLTF_VALIDATOR || 'gltf-validator');
const bytes = new Uint8Array(require('fs').readFileSync(process.argv[1]));
validator.validateBytes(bytes, {maxIssues: 0}).then(r => console.log(JSON.stringify(r.issues)));
"""


def issues(path: Path) -> dict:
    run = subprocess.run(["node", "-e", SCRIPT, str(path)], capture_output=True, text=True, timeout=120)
    assert run.returncode == 0, run.stderr
    return json.loads(run.stdout)


def there() -> bool:
    if not shutil.which("node"):
        return False
    ask = "require(process.env.MOUE_GLTF_VALIDATOR || 'gltf-validator')"
    return subprocess.run(["node", "-e", ask], capture_output=True, env=os.environ).returncode == 0


pytestmark = pytest.mark.skipif(not there(), reason="no glTF validator: npm install gltf-validator@2.0.0-dev.3.10")


def everything(n_shapes: int, uv: bool, colours: bool, materials: bool) -> Mesh:
    polygons = grid(12, 9)
    rng = np.random.default_rng(0)
    n, k = polygons.n_vertices, len(polygons.indices)
    deltas = [rng.normal(size=(n, 3)).astype(np.float32), np.zeros((n, 3), np.float32), np.zeros((n, 3), np.float32)]
    deltas[1][[3, 50]] = 1.0
    return Mesh(
        polygons,
        rng.normal(size=(n, 3)) * 100,
        TextureCoordinates(rng.random((40, 2)), rng.integers(-1, 40, k).astype(np.int32)) if uv else None,
        {"face": np.arange(20, dtype=np.int32)},
        materials={"bone": np.arange(0, 60, 3, dtype=np.int32), "glass": np.array([7], np.int32)} if materials else {},
        colours=rng.random((n, 3)) if colours else None,
        shapes=tuple(Shape(f"Überraschung {i}", delta) for i, delta in enumerate(deltas[:n_shapes])),
        unit="mm",
        name="keeper",
    )


@pytest.mark.parametrize("suffix", [".glb", ".gltf"])
@pytest.mark.parametrize("n_shapes", [0, 1, 3])
@pytest.mark.parametrize("rich", [False, True])
def test_no_error_and_no_warning(suffix: str, n_shapes: int, rich: bool, tmp_path: Path) -> None:
    write_mesh(tmp_path / f"a{suffix}", everything(n_shapes, rich, rich, rich))
    found = issues(tmp_path / f"a{suffix}")
    assert (found["numErrors"], found["numWarnings"]) == (0, 0), found["messages"]


def test_a_mesh_without_area_or_with_loose_vertices_is_no_error_either(tmp_path: Path) -> None:
    points = np.vstack([CUBE_CORNERS * 0, [[1.0, 2, 3]]])
    from composer.geometry.polygons import Polygons

    write_mesh(tmp_path / "a.glb", Mesh(Polygons(CUBE.counts, CUBE.indices, 9), points, unit="cm"))
    found = issues(tmp_path / "a.glb")
    assert (found["numErrors"], found["numWarnings"]) == (0, 0), found["messages"]


def test_the_validator_sees_a_planted_error(tmp_path: Path) -> None:
    """A maximum that is not the maximum: ACCESSOR_MAX_MISMATCH."""
    write_mesh(tmp_path / "a.gltf", everything(1, False, False, False))
    tree = json.loads((tmp_path / "a.gltf").read_text())
    tree["accessors"][0]["max"][0] += 1.0
    (tmp_path / "a.gltf").write_text(json.dumps(tree))
    assert "ACCESSOR_MAX_MISMATCH" in {message["code"] for message in issues(tmp_path / "a.gltf")["messages"]}
