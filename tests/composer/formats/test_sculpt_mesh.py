"""Sculpts in the formats that artists bring: by trimesh and by Moue's own readers, and refused in one line."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from composer.errors import MoueError
from composer.formats.mesh import Mesh
from composer.formats.ply import write as write_ply
from composer.formats.registry import write_mesh
from composer.formats.sculpt_mesh import read_sculpt_mesh, sculpt_suffixes
from composer.geometry.polygons import Polygons
from composer.head.head import TextureCoordinates

trimesh = pytest.importorskip("trimesh")
HEADER = "ply\nformat ascii 1.0\nelement vertex {n}\nproperty float x\nproperty float y\nproperty float z\n"


def outward(corner: np.ndarray) -> np.ndarray:
    """(t,) above 0 where triangles (t, 3, 3) about the origin look away from it."""
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    return (normal * corner.sum(axis=1)).sum(axis=1)


@pytest.mark.parametrize("kind", ["off", "glb", "stl", "ply", "obj"])
def test_a_ball_comes_in_whole_from_every_format(kind: str, tmp_path: Path) -> None:
    """Written by trimesh: 162 vertices and 320 triangles on the unit ball, every edge between two triangles."""
    trimesh.creation.icosphere(2).export(tmp_path / f"ball.{kind}")
    mesh = read_sculpt_mesh(tmp_path / f"ball.{kind}")
    assert (mesh.n_vertices, mesh.polygons.n_faces, len(mesh.polygons.edges)) == (162, 320, 480)
    np.testing.assert_allclose(np.linalg.norm(mesh.positions, axis=1), 1.0, atol=1e-6)
    assert set(mesh.polygons.edge_use.tolist()) == {2}
    corner = mesh.positions[mesh.polygons.triangles]
    assert outward(corner).min() > 0
    assert mesh.unit == ("m" if kind == "glb" else None) and f".{kind}" in sculpt_suffixes()


@pytest.mark.parametrize("kind", ["off", "glb"])
def test_vertices_keep_their_order_and_none_are_merged(kind: str, tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    points = rng.normal(size=(30, 3)).astype(np.float32).astype(float)
    points[10:20] = points[:10]
    faces = np.array([rng.choice(30, 3, replace=False) for _ in range(40)])
    trimesh.Trimesh(points, faces, process=False).export(tmp_path / f"a.{kind}")
    mesh = read_sculpt_mesh(tmp_path / f"a.{kind}")
    np.testing.assert_allclose(mesh.positions, points, atol=1e-6)
    np.testing.assert_array_equal(mesh.polygons.triangles, faces)


def test_meshes_of_a_scene_stand_at_their_places(tmp_path: Path) -> None:
    """Khronos 2021, glTF 2.0, section 3.5.2: the node's transform applies to its mesh; one that mirrors turns faces."""
    scene = trimesh.Scene()
    ball = trimesh.creation.icosphere(1)
    move, flip = np.eye(4), np.diag([-1.0, 1.0, 1.0, 1.0])
    move[:3, 3] = [5.0, 0.0, 0.0]
    scene.add_geometry(ball, transform=move)
    scene.add_geometry(ball, transform=flip)
    scene.export(tmp_path / "two.glb")
    mesh = read_sculpt_mesh(tmp_path / "two.glb")
    corner = mesh.positions[mesh.polygons.triangles]
    moved = corner[..., 0].mean(axis=1) > 2.5
    assert moved.sum() == (~moved).sum() == 80
    corner[moved] -= [5.0, 0.0, 0.0]
    np.testing.assert_allclose(np.linalg.norm(corner, axis=2), 1.0, atol=1e-6)
    assert outward(corner).min() > 0


def test_triangle_strips_are_triangles(tmp_path: Path) -> None:
    """The strip 0 1 2 3 is the triangles 0 1 2 and 2 1 3, which look the same way; after -1 a new one begins."""
    rows = "element tristrips 1\nproperty list int int vertex_indices\nend_header\n"
    points = "0 0 0\n1 0 0\n0 1 0\n1 1 0\n"
    (tmp_path / "s.ply").write_text(HEADER.format(n=4) + rows + points + "10 0 1 2 3 -1 3 3 2 1 0\n")
    mesh = read_sculpt_mesh(tmp_path / "s.ply")
    assert mesh.polygons.triangles.tolist() == [[0, 1, 2], [2, 1, 3], [2, 3, 1], [2, 1, 0]]
    (tmp_path / "t.ply").write_text(HEADER.format(n=4) + rows + points + "3 0 1 7\n")
    with pytest.raises(MoueError, match="vertex 7 of 4"):
        read_sculpt_mesh(tmp_path / "t.ply")


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("points.ply", HEADER.format(n=1) + "end_header\n0 0 0\n", "holds no faces"),
        ("empty.off", "OFF\n0 0 0\n", "holds no faces"),
        ("points.off", "OFF\n2 0 0\n0 0 0\n1 0 0\n", "holds no faces"),
        ("empty.stl", "solid a\nendsolid a\n", "holds no"),
        ("broken.off", "OFF\n3 1 0\n0 0 0\n1 x 0\n0 1 0\n3 0 1 2\n", "cannot be read as OFF"),
        ("far.off", "OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 9\n", "cannot be read as OFF|not one of"),
        ("nan.off", "OFF\n3 1 0\n0 0 nan\n1 0 0\n0 1 0\n3 0 1 2\n", "not a number"),
        ("cut.glb", "glTF\x02", "cannot be read as GLB"),
        ("cut.stl", "not an STL at all", "cut short"),
        ("points.obj", "v 0 0 0\nv 1 0 0\nv 0 1 0\n", "no faces"),
    ],
)
def test_what_is_no_sculpt_is_refused_in_one_line(name: str, text: str, words: str, tmp_path: Path) -> None:
    (tmp_path / name).write_text(text)
    with pytest.raises(MoueError, match=words) as refused:
        read_sculpt_mesh(tmp_path / name)
    assert "\n" not in str(refused.value) and name in str(refused.value)


def test_a_file_that_is_not_there_is_said(tmp_path: Path) -> None:
    for kind in ("off", "glb", "obj"):
        with pytest.raises(MoueError, match="not there"):
            read_sculpt_mesh(tmp_path / f"none.{kind}")


def test_a_unit_that_is_said_counts(tmp_path: Path) -> None:
    trimesh.creation.icosphere(1).export(tmp_path / "a.glb")
    assert read_sculpt_mesh(tmp_path / "a.glb", "cm").unit == "cm"
    flat = Mesh(Polygons.from_faces([[0, 1, 2]], 3), np.eye(3))
    write_ply(tmp_path / "a.ply", flat)
    assert read_sculpt_mesh(tmp_path / "a.ply", "mm").unit == "mm"


def test_a_glb_of_moue_s_own_comes_back_with_its_vertices_and_polygons(tmp_path: Path) -> None:
    """Texture seams split vertices in the file; landmarks placed on the vertices before keep their numbers."""
    polygons = Polygons.from_faces([[0, 1, 2, 3], [1, 4, 5, 2]], 6)
    points = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [2, 0, 1], [2, 1, 1]])
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1], [0, 0], [1, 0], [1, 1], [0, 1]], dtype=float)
    uv = TextureCoordinates(corners, np.arange(8, dtype=np.int32))
    write_mesh(tmp_path / "own.glb", Mesh(polygons, points, uv=uv, unit="m"))
    assert len(trimesh.load(tmp_path / "own.glb", process=False, force="mesh").vertices) == 8
    mesh = read_sculpt_mesh(tmp_path / "own.glb")
    np.testing.assert_allclose(mesh.positions, points, atol=1e-6)
    assert mesh.polygons.same_as(polygons)
