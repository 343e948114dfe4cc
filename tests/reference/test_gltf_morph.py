"""Our GLB, evaluated by somebody else: pygltflib for the container, a few lines of numpy for the formula.

Source: Khronos 2021, "glTF 2.0 Specification", sections "Morph Targets" (P = base + sum of w_i target_i), "Sparse
Accessors" and "Accessors Bounds" (min and max of POSITION, exact after substitution).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pygltflib
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from composer.formats.mesh import Mesh
from composer.formats.registry import read_mesh, write_mesh
from composer.geometry.polygons import Polygons
from composer.head.head import Shape
from tests.small_files import meshes

quiet = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
KINDS = {5121: np.uint8, 5123: np.uint16, 5125: np.uint32, 5126: np.float32}
WIDTHS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4}


def numbers(file: pygltflib.GLTF2, index: int) -> np.ndarray:
    """An accessor as the specification words it, sparse substitution included."""
    accessor, blob = file.accessors[index], file.binary_blob()
    kind, width = np.dtype(KINDS[accessor.componentType]), WIDTHS[accessor.type]

    def plain(view_index: int, offset: int, count: int, kind: np.dtype, width: int) -> np.ndarray:
        view = file.bufferViews[view_index]
        begin = (view.byteOffset or 0) + (offset or 0)
        assert count * width * kind.itemsize + (offset or 0) <= view.byteLength
        return np.frombuffer(blob, kind, count * width, begin).reshape(count, width).copy()

    if accessor.bufferView is None:
        values = np.zeros((accessor.count, width), kind)
    else:
        values = plain(accessor.bufferView, accessor.byteOffset, accessor.count, kind, width)
    if accessor.sparse:
        s = accessor.sparse
        at = plain(s.indices.bufferView, s.indices.byteOffset, s.count, np.dtype(KINDS[s.indices.componentType]), 1)
        assert (np.diff(at[:, 0].astype(int)) > 0).all()
        values[at[:, 0]] = plain(s.values.bufferView, s.values.byteOffset, s.count, kind, width)
    return values


@quiet
@given(mesh=meshes(shapes=True), seed=st.integers(0, 2**32 - 1))
def test_poses_are_those_of_the_morph_formula(mesh: Mesh, seed: int, tmp_path: Path) -> None:
    write_mesh(tmp_path / "a.glb", mesh)
    file = pygltflib.GLTF2().load(str(tmp_path / "a.glb"))
    entry = file.meshes[0]
    names = entry.extras.get("targetNames", [])
    assert names == [shape.name for shape in mesh.shapes]
    weights = np.random.default_rng(seed).uniform(-1, 1.5, len(names))
    expected = mesh.positions + sum(w * s.delta.astype(float) for w, s in zip(weights, mesh.shapes, strict=True))
    corners, posed_corners = [], []
    for primitive in entry.primitives:
        posed = numbers(file, primitive.attributes.POSITION).astype(float)
        assert len(primitive.targets or []) == len(names)
        for weight, target in zip(weights, primitive.targets or [], strict=True):
            index = target["POSITION"] if isinstance(target, dict) else target.POSITION
            posed += weight * numbers(file, index)
        source = numbers(file, primitive.attributes._SOURCE)[:, 0].astype(int)
        order = numbers(file, primitive.indices)[:, 0]
        corners.append(source[order])
        posed_corners.append(posed[order])
    far = np.abs(np.concatenate(posed_corners) * 100.0 - expected[np.concatenate(corners)]).max()
    assert far <= 1e-6 * (np.abs(mesh.positions).max() + 10 * len(names) + 1)
    triangles = {tuple(sorted(row)) for row in np.concatenate(corners).reshape(-1, 3).tolist()}
    assert triangles == {tuple(sorted(row)) for row in mesh.polygons.triangles.tolist()}


@quiet
@given(mesh=meshes(shapes=True))
def test_bounds_are_exact_after_substitution(mesh: Mesh, tmp_path: Path) -> None:
    write_mesh(tmp_path / "a.glb", mesh)
    file = pygltflib.GLTF2().load(str(tmp_path / "a.glb"))
    bounded = [i for i, accessor in enumerate(file.accessors) if accessor.min]
    assert len(bounded) >= 1 + len(mesh.shapes)
    for index in bounded:
        values = numbers(file, index)
        assert file.accessors[index].min == values.min(axis=0).tolist()
        assert file.accessors[index].max == values.max(axis=0).tolist()


def test_a_target_that_moves_little_is_sparse_and_one_that_moves_all_is_not(tmp_path: Path) -> None:
    n = 400
    points = np.random.default_rng(0).normal(size=(n, 3))
    polygons = Polygons.from_faces([[i, i + 1, i + 2] for i in range(n - 2)], n)
    few, everything = np.zeros((n, 3), np.float32), np.ones((n, 3), np.float32)
    few[[7, 90]] = 1
    mesh = Mesh(polygons, points, shapes=(Shape("few", few), Shape("all", everything), Shape("none", few * 0)))
    write_mesh(tmp_path / "a.glb", mesh)
    file = pygltflib.GLTF2().load(str(tmp_path / "a.glb"))
    few_at, all_at, none_at = (file.accessors[t["POSITION"]] for t in file.meshes[0].primitives[0].targets)
    assert few_at.sparse.count == 2 and few_at.bufferView is None
    assert all_at.sparse is None and all_at.bufferView is not None
    assert none_at.sparse is None and none_at.bufferView is None
    assert [s.name for s in read_mesh(tmp_path / "a.glb").shapes] == ["few", "all", "none"]


def foreign() -> pygltflib.GLTF2:
    """A scene as another program writes it: two meshes under turned and scaled nodes, one split at a seam."""
    quad = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 0, 0], [1, 1, 0], [0, 1, 0]], np.float32)
    order = np.array([0, 1, 2, 3, 4, 5], np.uint16)
    delta = np.zeros((6, 3), np.float32)
    delta[[0, 3]] = [0, 0, 1]
    blob = quad.tobytes() + delta.tobytes() + order.tobytes()
    view = [pygltflib.BufferView(buffer=0, byteOffset=a, byteLength=b) for a, b in ((0, 72), (72, 72), (144, 12))]
    vec = {"componentType": 5126, "count": 6, "type": "VEC3"}
    accessors = [
        pygltflib.Accessor(bufferView=0, min=[0, 0, 0], max=[1, 1, 0], **vec),
        pygltflib.Accessor(bufferView=1, min=[0, 0, 0], max=[0, 0, 1], **vec),
        pygltflib.Accessor(bufferView=2, componentType=5123, count=6, type="SCALAR"),
    ]
    attributes = pygltflib.Attributes(POSITION=0)
    morphing = pygltflib.Primitive(attributes=attributes, indices=2, targets=[{"POSITION": 1}])
    still = pygltflib.Primitive(attributes=attributes, indices=2)
    half = float(np.sqrt(0.5))
    file = pygltflib.GLTF2(
        scene=0,
        scenes=[pygltflib.Scene(nodes=[0])],
        nodes=[
            pygltflib.Node(children=[1, 2], translation=[0, 0, 5]),
            pygltflib.Node(mesh=0, name="skin", rotation=[0, 0, half, half], scale=[2, 2, 2]),
            pygltflib.Node(mesh=1, name="eye_left"),
        ],
        meshes=[
            pygltflib.Mesh(primitives=[morphing], extras={"targetNames": ["grin"]}),
            pygltflib.Mesh(primitives=[still]),
        ],
        accessors=accessors,
        bufferViews=view,
        buffers=[pygltflib.Buffer(byteLength=len(blob))],
    )
    file.set_binary_blob(blob)
    return file


def test_a_scene_of_another_program_is_one_mesh_with_its_nodes_applied(tmp_path: Path) -> None:
    """A quarter turn about z takes x to y; scale before, translation after (specification, "Transformations")."""
    foreign().save_binary(str(tmp_path / "a.glb"))
    mesh = read_mesh(tmp_path / "a.glb")
    assert mesh.n_vertices == 8 and mesh.polygons.n_faces == 4
    assert np.allclose(mesh.positions[:4], [[0, 0, 5], [0, 2, 5], [-2, 2, 5], [-2, 0, 5]], atol=1e-6)
    assert np.allclose(mesh.positions[4:], [[0, 0, 5], [1, 0, 5], [1, 1, 5], [0, 1, 5]], atol=1e-6)
    assert [s.name for s in mesh.shapes] == ["grin"]
    assert np.allclose(mesh.shapes[0].delta, [[0, 0, 2]] + [[0, 0, 0]] * 7, atol=1e-6)
    assert {name: faces.tolist() for name, faces in mesh.groups.items()} == {"skin": [0, 1], "eye_left": [2, 3]}
    assert any("joined again" in note for note in mesh.notes)


def test_buffers_beside_the_file_and_in_it_are_read(tmp_path: Path) -> None:
    file = foreign()
    file.save_binary(str(tmp_path / "a.glb"))
    expected = read_mesh(tmp_path / "a.glb").positions
    file.convert_buffers(pygltflib.BufferFormat.DATAURI)
    file.save_json(str(tmp_path / "inside.gltf"))
    assert np.array_equal(read_mesh(tmp_path / "inside.gltf").positions, expected)
    (tmp_path / "my buffer.bin").write_bytes(foreign().binary_blob())
    file.buffers[0].uri = "my%20buffer.bin"
    file.save_json(str(tmp_path / "beside.gltf"))
    assert np.array_equal(read_mesh(tmp_path / "beside.gltf").positions, expected)
