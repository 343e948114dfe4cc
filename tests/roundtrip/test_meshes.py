"""Every format gives back what it says it keeps, and names what it does not."""

from __future__ import annotations

import json
import struct
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from composer.formats.mesh import Mesh
from composer.formats.registry import read_mesh, write_mesh
from composer.geometry.polygons import Polygons
from composer.head.head import TextureCoordinates
from tests.small_files import meshes, obj_texts

quiet = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def same_names(kept: dict, given: dict) -> bool:
    return set(kept) == set(given) and all(np.array_equal(np.sort(kept[n]), np.sort(given[n])) for n in given)


def same_texture(kept: Mesh, given: Mesh, tolerance: float) -> bool:
    if given.uv is None or kept.uv is None:
        return given.uv is kept.uv
    return bool(np.allclose(kept.uv.uv[kept.uv.indices], given.uv.uv[given.uv.indices], atol=tolerance))


@quiet
@given(mesh=meshes())
def test_obj_keeps_polygons_positions_texture_groups_materials_and_colours(mesh: Mesh, tmp_path: Path) -> None:
    write_mesh(tmp_path / "a.obj", mesh)
    back = read_mesh(tmp_path / "a.obj")
    assert back.polygons.same_as(mesh.polygons)
    assert np.abs(back.positions - mesh.positions).max() <= 1e-7 * mesh.diagonal
    assert same_texture(back, mesh, 1e-7)
    assert same_names(back.groups, mesh.groups)
    assert same_names(back.materials, mesh.materials)
    assert (back.colours is None) == (mesh.colours is None)
    if mesh.colours is not None:
        assert np.allclose(back.colours, mesh.colours, atol=1e-6)


@quiet
@given(mesh=meshes())
def test_obj_is_read_alike_by_twenty_plain_lines(mesh: Mesh, tmp_path: Path) -> None:
    """Independent reading: OBJ as the specification words it, one line at a time."""
    write_mesh(tmp_path / "a.obj", mesh)
    positions, faces, textures, face_textures = [], [], [], []
    for row in (tmp_path / "a.obj").read_text().splitlines():
        key, *words = row.split()
        if key == "v":
            positions.append([float(w) for w in words[:3]])
        elif key == "vt":
            textures.append([float(w) for w in words])
        elif key == "f":
            faces.append([int(w.split("/")[0]) - 1 for w in words])
            face_textures.append([int(w.split("/")[1]) - 1 for w in words if "/" in w])
    assert faces == [mesh.polygons.face(i).tolist() for i in range(mesh.polygons.n_faces)]
    assert np.abs(np.array(positions) - mesh.positions).max() <= 1e-7 * mesh.diagonal
    if mesh.uv is not None:
        said = np.array(textures)[np.concatenate(face_textures)]
        assert np.allclose(said, mesh.uv.uv[mesh.uv.indices], atol=1e-7)


@quiet
@given(text=obj_texts())
def test_obj_texts_of_every_habit_are_read(text: tuple, tmp_path: Path) -> None:
    """CRLF, continued lines, counting back, slashes, exponents, comments, tabs, a missing last line end."""
    words, positions, faces = text
    (tmp_path / "a.obj").write_bytes(words)
    mesh = read_mesh(tmp_path / "a.obj")
    assert np.array_equal(mesh.positions, np.array(positions))  # as float() reads them, to the bit
    assert [mesh.polygons.face(i).tolist() for i in range(mesh.polygons.n_faces)] == faces


@quiet
@given(mesh=meshes())
def test_ply_keeps_polygons_positions_texture_and_colours(mesh: Mesh, tmp_path: Path) -> None:
    notes = write_mesh(tmp_path / "a.ply", mesh)
    back = read_mesh(tmp_path / "a.ply")
    assert back.polygons.same_as(mesh.polygons)
    assert np.abs(back.positions - mesh.positions).max() <= 2e-7 * mesh.diagonal
    assert same_texture(back, mesh, 1e-6)
    if mesh.colours is not None:
        assert np.abs(back.colours - mesh.colours).max() <= 0.5 / 255 + 1e-12
    assert bool(notes) == bool(mesh.groups or mesh.materials)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(mesh=meshes())
def test_ply_is_read_alike_by_trimesh(mesh: Mesh, tmp_path: Path) -> None:
    """Independent reading: trimesh, processing off; it takes triangles only."""
    triangles = mesh.polygons.triangles
    cut = Polygons(np.full(len(triangles), 3), triangles.ravel(), mesh.n_vertices)
    write_mesh(tmp_path / "a.ply", Mesh(cut, mesh.positions, colours=mesh.colours))
    other = trimesh.load(tmp_path / "a.ply", process=False)
    assert np.allclose(other.vertices, mesh.positions, atol=2e-7 * mesh.diagonal)
    assert np.array_equal(other.faces, triangles)


@quiet
@given(mesh=meshes())
def test_ply_is_read_alike_by_twenty_plain_lines(mesh: Mesh, tmp_path: Path) -> None:
    """Independent reading: struct, row by row, after Turk 1994."""
    write_mesh(tmp_path / "a.ply", Mesh(mesh.polygons, mesh.positions))
    header, _, body = (tmp_path / "a.ply").read_bytes().partition(b"end_header\n")
    form = "<3d" if b"double x" in header else "<3f"
    at, positions, faces = 0, [], []
    for _ in range(mesh.n_vertices):
        positions.append(struct.unpack_from(form, body, at))
        at += struct.calcsize(form)
    for _ in range(mesh.polygons.n_faces):
        count = body[at]
        faces.append(list(struct.unpack_from(f"<{count}i", body, at + 1)))
        at += 1 + 4 * count
    assert at == len(body)
    assert faces == [mesh.polygons.face(i).tolist() for i in range(mesh.polygons.n_faces)]
    assert np.abs(np.array(positions) - mesh.positions).max() <= 2e-7 * mesh.diagonal


@pytest.mark.parametrize("encoding", ["ascii", "binary"])
def test_ply_of_trimesh_is_read(encoding: str, tmp_path: Path) -> None:
    ball = trimesh.creation.icosphere(subdivisions=2)
    ball.visual.vertex_colors = (200, 100, 50, 255)
    (tmp_path / "a.ply").write_bytes(trimesh.exchange.ply.export_ply(ball, encoding=encoding))
    mesh = read_mesh(tmp_path / "a.ply")
    assert np.array_equal(mesh.polygons.indices.reshape(-1, 3), ball.faces)
    assert np.allclose(mesh.positions, ball.vertices, atol=1e-6)
    assert np.allclose(mesh.colours[0] * 255, (200, 100, 50))


def test_ply_in_the_other_byte_order_with_polygons_of_several_sizes(tmp_path: Path) -> None:
    """Written by hand, big endian, after Turk 1994."""
    head = "ply\nformat binary_big_endian 1.0\nelement vertex 5\nproperty double x\nproperty double y\n"
    head += "property double z\nelement face 3\nproperty uchar flags\n"
    head += "property list uchar int vertex_index\nend_header\n"
    points = [(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0), (0.5, 0.5, 1)]
    body = b"".join(struct.pack(">3d", *p) for p in points)
    faces = [[0, 1, 2, 3], [0, 1, 4], [1, 2, 4]]
    body += b"".join(struct.pack(f">BB{len(f)}i", 7, len(f), *f) for f in faces)
    (tmp_path / "a.ply").write_bytes(head.encode() + body)
    mesh = read_mesh(tmp_path / "a.ply")
    assert [mesh.polygons.face(i).tolist() for i in range(3)] == faces
    assert np.array_equal(mesh.positions, points)


@pytest.mark.parametrize("form", ["stl", "stl_ascii"])
def test_stl_of_trimesh_is_read_with_its_corners_joined(form: str, tmp_path: Path) -> None:
    ball = trimesh.creation.icosphere(subdivisions=2)
    ball.export(tmp_path / "a.stl", file_type=form)
    mesh = read_mesh(tmp_path / "a.stl")
    assert mesh.n_vertices == len(ball.vertices)
    assert np.allclose(mesh.positions[mesh.polygons.indices], ball.vertices[ball.faces.ravel()], atol=1e-6)


@quiet
@given(mesh=meshes(shapes=True), suffix=st.sampled_from([".glb", ".gltf"]))
def test_gltf_gives_its_own_file_back_in_the_original_order(mesh: Mesh, suffix: str, tmp_path: Path) -> None:
    notes = write_mesh(tmp_path / f"a{suffix}", mesh)
    back = read_mesh(tmp_path / f"a{suffix}")
    assert back.unit == "m"
    assert back.polygons.same_as(mesh.polygons)
    single = np.float32(1e-7) * (np.abs(mesh.positions).max() + mesh.diagonal)
    assert np.abs(back.in_unit("cm").positions - mesh.positions).max() <= single
    assert [s.name for s in back.shapes] == [s.name for s in mesh.shapes]
    for kept, given_ in zip(back.in_unit("cm").shapes, mesh.shapes, strict=True):
        assert np.allclose(kept.delta, given_.delta, rtol=2e-7, atol=0)
    assert same_texture(back, mesh, 1e-6)
    assert same_names(back.groups, mesh.groups)
    assert same_names(back.materials, mesh.materials)
    if mesh.colours is not None:
        assert np.allclose(back.colours, mesh.colours, atol=1e-6)
    assert any("in-betweens" in note for note in notes) == any(s.inbetweens for s in mesh.shapes)


@quiet
@given(mesh=meshes(shapes=True))
def test_npz_keeps_everything_exactly(mesh: Mesh, tmp_path: Path) -> None:
    write_mesh(tmp_path / "a.npz", mesh)
    back = read_mesh(tmp_path / "a.npz")
    assert back.polygons.same_as(mesh.polygons)
    assert np.array_equal(back.positions, mesh.positions)
    assert back.unit == mesh.unit
    assert same_names(back.groups, mesh.groups) and same_names(back.materials, mesh.materials)
    for kept, given_ in zip(back.shapes, mesh.shapes, strict=True):
        assert kept.name == given_.name
        assert np.array_equal(kept.delta, given_.delta)
        assert [(b.at, b.delta.tolist()) for b in kept.inbetweens] == [
            (b.at, b.delta.tolist()) for b in given_.inbetweens
        ]
    if mesh.uv is not None:
        assert np.array_equal(back.uv.indices, mesh.uv.indices) and np.array_equal(back.uv.uv, mesh.uv.uv)
    assert (back.colours is None) == (mesh.colours is None)


@quiet
@given(mesh=meshes(shapes=True))
def test_npz_is_read_alike_by_numpy(mesh: Mesh, tmp_path: Path) -> None:
    write_mesh(tmp_path / "a.npz", mesh)
    with np.load(tmp_path / "a.npz", allow_pickle=False) as plain:
        assert np.array_equal(plain["neutral"], mesh.positions)
        assert plain["deltas"].shape == (len(mesh.shapes), mesh.n_vertices, 3)
        assert plain["names"].tolist() == [s.name for s in mesh.shapes]
        assert str(plain["unit"]) == "cm"
        assert np.array_equal(plain["counts"], mesh.polygons.counts)
        assert np.array_equal(plain["indices"], mesh.polygons.indices)


@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(mesh=meshes(shapes=True), suffix=st.sampled_from([".obj", ".ply", ".glb", ".gltf", ".npz"]))
def test_the_same_mesh_gives_the_same_bytes(mesh: Mesh, suffix: str, tmp_path: Path) -> None:
    write_mesh(tmp_path / f"a{suffix}", mesh)
    write_mesh(tmp_path / f"b{suffix}", mesh)
    assert (tmp_path / f"a{suffix}").read_bytes() == (tmp_path / f"b{suffix}").read_bytes()


def test_gltf_files_are_strict_json(tmp_path: Path) -> None:
    """No NaN or Infinity: RFC 8259, section 6."""
    from tests.small_heads import CUBE, CUBE_CORNERS

    write_mesh(tmp_path / "a.gltf", Mesh(CUBE, CUBE_CORNERS, unit="cm"))
    tree = json.loads((tmp_path / "a.gltf").read_text(), parse_constant=lambda word: pytest.fail(word))
    assert tree["asset"]["version"] == "2.0"


def test_targets_of_one_library_are_written_as_if_each_were_alone(tmp_path: Path) -> None:
    """The polygons' text is kept from one file to the next, unless corners or names are others."""
    square = Polygons.from_faces([[0, 1, 2, 3], [0, 3, 4]], 5)
    uv = TextureCoordinates(np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0]]), np.array([0, 1, 2, 0, 0, 2, 1], np.int32))
    plain = Mesh(square, np.arange(15.0).reshape(5, 3), uv)
    first, second = (np.array([n], dtype=np.int32) for n in (0, 1))
    others = [
        replace(plain, positions=plain.positions + 1.0), replace(plain, groups={"left": first}),
        replace(plain, groups={"right": first}), replace(plain, groups={"right": second}),
        replace(plain, materials={"right": second}), replace(plain, objects={"right": second}),
        replace(plain, uv=TextureCoordinates(uv.uv, np.array([1, 1, 2, 0, 0, 2, 1], np.int32))),
        replace(plain, uv=None), plain,
    ]  # fmt: skip
    for number, mesh in enumerate(others):
        write_mesh(tmp_path / f"{number}.obj", mesh)
        alone = replace(mesh, polygons=Polygons.from_faces([[0, 1, 2, 3], [0, 3, 4]], 5))
        write_mesh(tmp_path / f"{number}_alone.obj", alone)
        assert (tmp_path / f"{number}.obj").read_bytes() == (tmp_path / f"{number}_alone.obj").read_bytes()
    texts = {(tmp_path / f"{number}.obj").read_bytes() for number in range(len(others))}
    assert len(texts) == len(others)
