"""Meshes brought back to a reference's order: shuffled, split at seams, cut into triangles, and several at once."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.cli.reorder import reorder
from composer.errors import MoueError
from composer.formats.mend import in_order_of, likeness
from composer.formats.mend_triangles import joins
from composer.formats.mesh import Mesh
from composer.formats.registry import read_mesh, write_mesh
from composer.geometry.polygons import Polygons
from composer.head.head import Shape
from composer.head.levels import Refinement
from composer.head.order import OrderMismatch
from tests.small_heads import grid

SEEDS = st.integers(0, 2**32 - 1)
COLUMNS, ROWS = 7, 6


def bowl() -> Mesh:
    """A grid with one polygon left out, bent and wavy, lengths about 1, no two vertices in one place."""
    y, x = np.mgrid[0:ROWS, 0:COLUMNS].astype(float)
    points = np.stack([x + 0.1 * np.sin(3 * y), y, 0.1 * x**2 + 0.3 * np.cos(2 * y + x)], axis=-1).reshape(-1, 3)
    whole = grid(ROWS, COLUMNS)
    return Mesh(Polygons.from_faces([whole.face(i).tolist() for i in range(whole.n_faces) if i != 9], len(points)),
                points)  # fmt: skip


def faces_of(mesh: Polygons) -> list[list[int]]:
    return [mesh.face(i).tolist() for i in range(mesh.n_faces)]


def posed(mesh: Mesh, rng: np.random.Generator) -> Mesh:
    """An expression: every vertex moved by up to a tenth of an edge."""
    return Mesh(mesh.polygons, mesh.positions + rng.uniform(-0.1, 0.1, mesh.positions.shape))


def shuffle(mesh: Mesh, rng: np.random.Generator, faces_too: bool = True) -> Mesh:
    order = rng.permutation(mesh.n_vertices)
    listed = [[int(order[v]) for v in face] for face in faces_of(mesh.polygons)]
    if faces_too:
        listed = [listed[i] for i in rng.permutation(len(listed))]
    points = np.empty_like(mesh.positions)
    points[order] = mesh.positions
    return Mesh(Polygons.from_faces(listed, mesh.n_vertices), points)


def split(mesh: Mesh) -> Mesh:
    """Doubled along a column, from border to border, as along a seam."""
    seam = {v: mesh.n_vertices + i for i, v in enumerate(range(3, ROWS * COLUMNS, COLUMNS))}
    listed = []
    for face in faces_of(mesh.polygons):
        right = max(v % COLUMNS for v in face) > 3
        listed.append([seam.get(v, v) if right else v for v in face])
    return Mesh(Polygons.from_faces(listed, mesh.n_vertices + len(seam)),
                np.vstack([mesh.positions, mesh.positions[list(seam)]]))  # fmt: skip


def cut(mesh: Mesh, rng: np.random.Generator) -> Mesh:
    listed = []
    for a, b, c, d in faces_of(mesh.polygons):
        listed += [[a, b, c], [a, c, d]] if rng.random() < 0.5 else [[b, c, d], [b, d, a]]
    return Mesh(Polygons.from_faces(listed, mesh.n_vertices), mesh.positions)


@settings(deadline=None, max_examples=20)
@given(seed=SEEDS, shuffled=st.booleans(), split_=st.booleans(), cut_=st.booleans())
def test_faults_alone_and_together_are_undone(seed: int, shuffled: bool, split_: bool, cut_: bool) -> None:
    rng = np.random.default_rng(seed)
    reference = bowl()
    target = posed(reference, rng)
    broken = split(target) if split_ else target
    broken = cut(broken, rng) if cut_ else broken
    broken = shuffle(broken, rng, faces_too=not cut_) if shuffled else broken
    found = likeness(reference, broken)
    mended = in_order_of(reference, broken, found)
    np.testing.assert_array_equal(mended.positions, target.positions)
    assert mended.polygons is reference.polygons
    said = " ".join(found.did)
    assert ("welded at seams" in said) == split_ and ("triangles" in said) == cut_
    assert bool(found.did) == (shuffled or split_ or cut_)


@settings(deadline=None, max_examples=20)
@given(seed=SEEDS)
def test_a_split_reference_gets_its_doubles_from_a_whole_mesh(seed: int) -> None:
    rng = np.random.default_rng(seed)
    target = posed(bowl(), rng)
    whole = shuffle(target, rng)
    found = likeness(split(bowl()), whole)
    np.testing.assert_array_equal(in_order_of(split(bowl()), whole, found).positions, split(target).positions)
    assert "split at seams" in found.did[0]


def test_triangles_in_any_order_are_joined_across_their_longest_sides() -> None:
    y, x = np.mgrid[0:5, 0:6].astype(float)
    points = np.stack([x, y, 0 * x], axis=-1).reshape(-1, 3)
    quads = grid(5, 6)
    pieces = faces_of(cut(Mesh(quads, points), np.random.default_rng(1)).polygons)
    order = np.random.default_rng(2).permutation(len(pieces))
    triangles = Polygons.from_faces([pieces[i] for i in order], 30)
    joined = list(joins(triangles, quads.counts, points))[-1]
    assert {frozenset(f) for f in faces_of(joined)} == {frozenset(f) for f in faces_of(quads)}
    assert list(joins(triangles, quads.counts[:-1], points)) == []


def test_lips_that_touch_are_not_welded() -> None:
    """A closed tube whose two walls share places: only the seam's doubles may go."""
    reference = bowl()
    touching = reference.positions.copy()
    touching[COLUMNS + 1] = touching[COLUMNS + 2]  # two inner vertices in one place
    found = likeness(reference, split(Mesh(reference.polygons, touching)))
    np.testing.assert_array_equal(found.vertices[: 3], [0, 1, 2])


def test_files_of_one_program_are_walked_once_and_scrambled_ones_refused() -> None:
    rng = np.random.default_rng(4)
    reference, target = bowl(), posed(bowl(), rng)
    broken = shuffle(target, rng)
    found = likeness(reference, broken)
    assert likeness(reference, broken, known=[(broken.polygons, found)]) is found
    scrambled = Mesh(reference.polygons, rng.permutation(reference.positions))
    with pytest.raises(OrderMismatch, match="the polygons say nothing of the order"):
        likeness(reference, scrambled)


def test_another_mesh_is_refused_with_the_place() -> None:
    reference = bowl()
    fewer = Polygons.from_faces(faces_of(reference.polygons)[:-1], reference.n_vertices)
    with pytest.raises(OrderMismatch, match="has 28 polygons, the reference 29; polygon"):
        likeness(reference, Mesh(fewer, reference.positions))


def test_reorder_writes_the_mesh_in_the_others_order(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rng = np.random.default_rng(5)
    reference, target = bowl(), posed(bowl(), rng)
    write_mesh(tmp_path / "neutral.obj", reference)
    text = (tmp_path / "neutral.obj").read_text()
    (tmp_path / "neutral.obj").write_text("# ours\n" + text + "# end\n")
    write_mesh(tmp_path / "scan.ply", shuffle(cut(target, rng), rng, faces_too=False))
    reorder(tmp_path / "scan.ply", tmp_path / "neutral.obj", tmp_path / "out.obj")
    out = read_mesh(tmp_path / "out.obj")
    np.testing.assert_allclose(out.positions, target.positions, atol=1e-6)
    assert out.polygons.same_as(reference.polygons)
    assert (tmp_path / "out.obj").read_text().startswith("# ours\n")
    assert "42 vertices in the order of neutral.obj: triangles joined, vertices put in order" in capsys.readouterr().out
    with pytest.raises(MoueError, match="is there already"):
        reorder(tmp_path / "scan.ply", tmp_path / "neutral.obj", tmp_path / "out.obj")
    with pytest.raises(MoueError, match="'a=b' is not two vertex numbers"):
        reorder(tmp_path / "scan.ply", tmp_path / "neutral.obj", tmp_path / "more.obj", ["a=b"])


def test_shapes_of_one_file_are_put_in_order_too(tmp_path: Path) -> None:
    rng = np.random.default_rng(6)
    reference = bowl()
    order = rng.permutation(reference.n_vertices)
    delta = rng.normal(size=reference.positions.shape).astype(np.float32)
    points, deltas = np.empty_like(reference.positions), np.empty_like(delta)
    points[order], deltas[order] = reference.positions, delta
    listed = [[int(order[v]) for v in face] for face in faces_of(reference.polygons)]
    many = Mesh(Polygons.from_faces(listed, len(points)), points, shapes=(Shape("smile", deltas),), unit="cm")
    write_mesh(tmp_path / "many.npz", many)
    write_mesh(tmp_path / "neutral.obj", reference)
    reorder(tmp_path / "many.npz", tmp_path / "neutral.obj", tmp_path / "out.npz", json_file=str(tmp_path / "map.json"))
    np.testing.assert_array_equal(read_mesh(tmp_path / "out.npz").shapes[0].delta, delta)
    assert (tmp_path / "map.json").exists()


def test_one_polygon_the_other_way_and_another_level_are_named() -> None:
    reference = bowl()
    faces = faces_of(reference.polygons)
    faces[4] = faces[4][::-1]
    flipped = Mesh(Polygons.from_faces(faces, reference.n_vertices), reference.positions)
    assert likeness(reference, flipped).did == ("1 polygon turned round",)
    step = Refinement(reference.polygons)
    fine = Mesh(step.polygons, step.apply(reference.positions))
    with pytest.raises(OrderMismatch, match="the reference 42: 1 level above it"):
        likeness(reference, fine)
    with pytest.raises(OrderMismatch, match="has 42 vertices, the reference 142: 1 level below it"):
        likeness(fine, reference)
