"""A library as a head: what is found, what is guessed and said, what is refused and how it is named."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from composer.errors import MoueError
from composer.formats.library import open_library, targets_in
from composer.formats.mesh import Mesh, mesh_of
from composer.formats.mesh_head import head_of
from composer.formats.registry import write_mesh
from composer.geometry.polygons import Polygons
from composer.head.head import Shape
from composer.head.landmarks import Landmarks, write_landmarks
from tests.small_heads import grid

POLYGONS = grid(9, 7)


def neutral_mesh(size: float = 30.0) -> Mesh:
    """A curved sheet of a head's size in cm."""
    y, x = np.mgrid[0:9, 0:7].astype(float)
    points = np.stack([x / 6 - 0.5, y / 8 - 0.5, 0.4 * np.cos(3 * (x / 6 - 0.5))], axis=-1).reshape(-1, 3)
    return Mesh(POLYGONS, points * size)


def bumps(count: int = 4) -> dict[str, np.ndarray]:
    """Small displacements about different places, in cm."""
    points = neutral_mesh().positions
    rng = np.random.default_rng(5)
    out = {}
    for i in range(count):
        away = ((points - points[rng.integers(len(points))]) ** 2).sum(axis=1)
        out[f"au{i + 1:02d}"] = np.exp(-away / 40.0)[:, None] * rng.normal(size=3)
    return out


def write_library(folder: Path, neutral: str = "neutral", suffix: str = ".obj") -> None:
    folder.mkdir(exist_ok=True)
    base = neutral_mesh()
    write_mesh(folder / f"{neutral}{suffix}", base)
    for name, delta in bumps().items():
        write_mesh(folder / f"{name}{suffix}", replace(base, positions=base.positions + delta))


@pytest.mark.parametrize("suffix", [".obj", ".ply"])
def test_a_folder_is_a_head_in_millimetres(suffix: str, tmp_path: Path) -> None:
    write_library(tmp_path / "keeper", suffix=suffix)
    head = open_library(tmp_path / "keeper")
    assert (head.name, head.unit, head.neutral_name) == ("keeper", "cm", "neutral")
    assert head.shape_names == ["au01", "au02", "au03", "au04"]
    assert np.allclose(head.neutral, 10 * neutral_mesh().positions, atol=1e-4)
    for name, delta in bumps().items():
        assert head.shape(name).delta.dtype == np.float32
        assert np.allclose(head.shape(name).delta, 10 * delta, atol=1e-4)
    assert any("taken to be cm" in note for note in head.notes)
    assert head.neutral_file == (tmp_path / "keeper" / "neutral.obj" if suffix == ".obj" else None)


def test_the_unit_can_be_said(tmp_path: Path) -> None:
    write_library(tmp_path / "keeper")
    head = open_library(tmp_path / "keeper", unit="mm")
    assert head.unit == "mm" and not head.notes
    assert np.allclose(head.neutral, neutral_mesh().positions, atol=1e-5)
    with pytest.raises(MoueError, match="unit 'parsec' is not known"):
        open_library(tmp_path / "keeper", unit="parsec")


def test_without_a_name_the_neutral_is_the_target_least_far_from_the_others(tmp_path: Path) -> None:
    """The rule, evaluated plainly: smallest sum of RMS distances to all the others."""
    write_library(tmp_path / "keeper", neutral="m_rest")
    head = open_library(tmp_path / "keeper")
    targets = {"m_rest": neutral_mesh().positions}
    targets |= {name: targets["m_rest"] + delta for name, delta in bumps().items()}
    total = {a: sum(np.sqrt(((p - q) ** 2).sum(axis=1).mean()) for q in targets.values()) for a, p in targets.items()}
    assert head.neutral_name == min(total, key=total.__getitem__) == "m_rest"
    assert any("m_rest was taken" in note for note in head.notes)
    assert head.neutral_file == tmp_path / "keeper" / "m_rest.obj"
    for name, delta in bumps().items():
        assert np.allclose(head.shape(name).delta, 10 * delta, atol=1e-4)


def test_a_neutral_can_be_named_with_or_without_its_suffix(tmp_path: Path) -> None:
    write_library(tmp_path / "keeper")
    for name in ("au02", "au02.obj"):
        head = open_library(tmp_path / "keeper", neutral=name)
        assert head.neutral_name == "au02" and "neutral" in head.shape_names
    with pytest.raises(MoueError, match="no target named 'au2'; did you mean au0"):
        open_library(tmp_path / "keeper", neutral="au2")


def test_vertices_that_do_not_move_have_a_delta_of_exactly_zero(tmp_path: Path) -> None:
    base = neutral_mesh()
    for name, neutral in (("a", "neutral"), ("b", "rest")):
        folder = tmp_path / name
        folder.mkdir()
        write_mesh(folder / f"{neutral}.obj", base)
        for i in range(5):
            moved = base.positions.copy()
            moved[i * 10 : i * 10 + 3] += 1.0
            write_mesh(folder / f"f{i}.obj", replace(base, positions=moved))
        head = open_library(folder)
        for i, shape in enumerate(head.shapes):
            still = np.ones(63, dtype=bool)
            still[i * 10 : i * 10 + 3] = False
            assert not shape.delta[still].any() and shape.delta[~still].all()


def test_shapes_come_in_the_order_of_their_numbers(tmp_path: Path) -> None:
    for name in ("grin_10", "grin_9", "grin_100", "neutral"):
        write_mesh(tmp_path / f"{name}.obj", neutral_mesh())
    (tmp_path / ".hidden.obj").write_text("nothing")
    (tmp_path / "notes.txt").write_text("nothing")
    assert [file.stem for file in targets_in(tmp_path)] == ["grin_9", "grin_10", "grin_100", "neutral"]


def test_landmarks_beside_the_files_come_along(tmp_path: Path) -> None:
    write_library(tmp_path / "keeper")
    marks = Landmarks({"pronasale": 31, "glabella": (0.0, 10.0, 20.0)}, {"jawline": [1, 2, 3]})
    write_landmarks(tmp_path / "keeper" / "landmarks.toml", marks, mm_per_unit=10.0)
    assert open_library(tmp_path / "keeper").landmarks == marks
    (tmp_path / "keeper" / "landmarks.toml").write_text("[points]\npronasale = 63\n")
    with pytest.raises(MoueError, match="landmarks.toml: landmark 'pronasale' is at vertex 63, the mesh has 63"):
        open_library(tmp_path / "keeper")


@pytest.mark.parametrize("suffix", [".glb", ".npz"])
def test_one_file_is_a_head_with_the_same_shapes(suffix: str, tmp_path: Path) -> None:
    write_library(tmp_path / "keeper")
    head = open_library(tmp_path / "keeper")
    write_mesh(tmp_path / f"keeper{suffix}", mesh_of(head, shapes=True))
    again = open_library(tmp_path / f"keeper{suffix}")
    assert again.shape_names == head.shape_names
    assert again.polygons.same_as(head.polygons)
    assert np.allclose(again.neutral, head.neutral, atol=1e-4)
    for kept, given in zip(again.shapes, head.shapes, strict=True):
        assert np.allclose(kept.delta, given.delta, atol=1e-4)
    assert again.unit == ("m" if suffix == ".glb" else "cm")


def test_progress_rises_to_one_and_names_the_files(tmp_path: Path) -> None:
    write_library(tmp_path / "keeper")
    heard: list[tuple[float, str]] = []
    open_library(tmp_path / "keeper", progress=lambda fraction, words: heard.append((fraction, words)))
    fractions = [fraction for fraction, _ in heard]
    assert fractions == sorted(fractions) and fractions[-1] == 1.0
    assert "au03.obj" in [words for _, words in heard]


def odd_ones() -> dict[str, tuple[Mesh, str]]:
    """Files of another topology, and what has to be said of each."""
    base = neutral_mesh()
    rng = np.random.default_rng(0)
    order = rng.permutation(63)
    back = np.argsort(order)
    shuffled = Mesh(Polygons(POLYGONS.counts, back[POLYGONS.indices], 63), base.positions[order])
    triangles = Polygons(np.full(len(POLYGONS.triangles), 3), POLYGONS.triangles.ravel(), 63)
    faces = [POLYGONS.face(i).tolist() for i in range(48)]
    right = [[63 + v // 7 if v % 7 == 3 and i % 6 >= 3 else v for v in loop] for i, loop in enumerate(faces)]
    split = Polygons.from_faces(right, 72)
    other = [loop if i else [loop[0], loop[1], loop[2], 40] for i, loop in enumerate(faces)]
    return {
        "count": (Mesh(grid(8, 7), base.positions[:56]), "has 56 vertices and 42 polygons, not 63 vertices and 48"),
        "other": (Mesh(Polygons.from_faces(other, 63), base.positions), "has other polygons from polygon 0 on"),
        "fewer": (
            Mesh(Polygons.from_faces(faces[:-1], 63), base.positions),
            "has 47 polygons over the same 63 vertices",
        ),
        "shuffled": (shuffled, "has its vertices shuffled"),
        "scrambled": (
            Mesh(POLYGONS, base.positions[rng.permutation(63)]),
            "the same polygons over vertices in another",
        ),
        "cut": (Mesh(triangles, base.positions), "has its polygons cut into triangles"),
        "seams": (Mesh(split, np.vstack([base.positions, base.positions[3::7]])), "has 9 vertices more, as if split"),
        "faces": (Mesh(Polygons.from_faces(faces[::-1], 63), base.positions), "has the same polygons in another order"),
        "over": (Mesh(Polygons.from_faces([f[::-1] for f in faces], 63), base.positions), "turned over, inside out"),
        "corner": (
            Mesh(Polygons.from_faces([f[1:] + f[:1] for f in faces], 63), base.positions),
            "begun at another corner",
        ),
    }


@pytest.mark.parametrize("kind", list(odd_ones()))
def test_a_file_of_another_topology_is_refused_by_name_and_difference(kind: str, tmp_path: Path) -> None:
    write_library(tmp_path / "keeper")
    mesh, words = odd_ones()[kind]
    write_mesh(tmp_path / "keeper" / "au02b.obj", mesh)
    with pytest.raises(MoueError) as caught:
        open_library(tmp_path / "keeper")
    assert "au02b.obj: " in str(caught.value) and words in str(caught.value)
    assert len(str(caught.value)) <= 200
    head = open_library(tmp_path / "keeper", skip_broken=True)
    assert head.shape_names == ["au01", "au02", "au03", "au04"]
    assert any(note.startswith("au02b.obj was left out") and words in note for note in head.notes)


def test_without_a_neutral_the_odd_file_is_left_out_even_if_it_is_the_first(tmp_path: Path) -> None:
    write_library(tmp_path / "keeper", neutral="rest")
    write_mesh(tmp_path / "keeper" / "a_first.obj", odd_ones()["count"][0])
    (tmp_path / "keeper" / "b_broken.obj").write_bytes(b"\0\1\2")
    head = open_library(tmp_path / "keeper", skip_broken=True)
    assert head.neutral_name == "rest" and len(head.shapes) == 4
    assert sum("was left out" in note for note in head.notes) == 2


def test_a_mesh_without_shapes_is_a_head_without_shapes() -> None:
    head = head_of(replace(neutral_mesh(), unit="cm", shapes=()))
    assert head.shapes == () and head.diagonal == pytest.approx(10 * neutral_mesh().diagonal)


def test_two_shapes_of_one_name_are_refused(tmp_path: Path) -> None:
    zero = np.zeros((63, 3), dtype=np.float32)
    write_mesh(tmp_path / "a.npz", replace(neutral_mesh(), shapes=(Shape("grin", zero), Shape("grin", zero))))
    with pytest.raises(MoueError, match="two shapes are named 'grin'"):
        open_library(tmp_path / "a.npz")
