"""A baked OBJ target is its neutral's own text with other vertex lines."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from composer.errors import MoueError
from composer.formats import obj_places, obj_text
from composer.formats.obj_text import ObjText
from composer.formats.registry import read_mesh
from tests.small_files import obj_texts

TEXT = b"""# keeper, neutral\r
mtllib keeper.mtl\r
o head\r
v 0.0 0.0 0.0 0.5 0.25 1.0\r
v   1.00 0 0 0.5 0.25 1.0   # corner\r
v 1 1 0 0.1 0.2 0.3\r
v 0 1.000000 0 0.1 0.2 0.3\r
v 0.5 0.5 1 1 1 1\r
vt 0 0\r
vn 0 0 1\r
vn 0 -1 0\r
g face\r
usemtl bone\r
s 1\r
f 1/1/1 2/1/1 3/1/1 4/1/1\r
f 1//2 2//2 5//2\r
l 1 2\r
"""


def lines(path: Path) -> list[bytes]:
    return path.read_bytes().splitlines(keepends=True)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(text=obj_texts(), seed=st.integers(0, 2**32 - 1))
def test_unmoved_lines_are_copied_and_moved_ones_say_the_new_place(text: tuple, seed: int, tmp_path: Path) -> None:
    (tmp_path / "neutral.obj").write_bytes(text[0])
    rng = np.random.default_rng(seed)
    neutral = ObjText(tmp_path / "neutral.obj")
    moved = rng.random(len(neutral.positions)) < rng.choice([0.0, 0.3, 1.0])
    target = neutral.positions + moved[:, None] * rng.normal(size=neutral.positions.shape)
    neutral.write(tmp_path / "out.obj", target)
    old, new = lines(tmp_path / "neutral.obj"), lines(tmp_path / "out.obj")
    assert len(old) == len(new)
    vertex = -1
    for before, after in zip(old, new, strict=True):
        is_vertex = before.split()[:1] == [b"v"]
        vertex += is_vertex
        if is_vertex and moved[vertex]:
            assert after.split()[0] == b"v" and after.split()[4:] == before.split()[4:]
        elif before.split()[:1] != [b"vn"]:
            assert before == after
    back = read_mesh(tmp_path / "out.obj")
    assert np.abs(back.positions - target).max() <= 1e-7 * read_mesh(tmp_path / "neutral.obj").diagonal
    assert np.array_equal(back.positions[~moved], neutral.positions[~moved])


def test_a_target_where_nothing_moves_is_the_neutrals_own_file(tmp_path: Path) -> None:
    (tmp_path / "neutral.obj").write_bytes(TEXT)
    neutral = ObjText(tmp_path / "neutral.obj")
    notes = neutral.write(tmp_path / "out.obj", neutral.positions)
    assert (tmp_path / "out.obj").read_bytes() == TEXT
    assert notes == ()


def test_colours_line_ends_comments_and_elements_stay(tmp_path: Path) -> None:
    (tmp_path / "neutral.obj").write_bytes(TEXT)
    neutral = ObjText(tmp_path / "neutral.obj")
    target = neutral.positions.copy()
    target[1] += (0.25, 0, 0)
    neutral.write(tmp_path / "out.obj", target)
    new = lines(tmp_path / "out.obj")
    assert new[4].endswith(b" 0.5 0.25 1.0   # corner\r\n") and new[4].startswith(b"v 1.25")
    assert [row for i, row in enumerate(new) if i not in (4, 9, 10)] == [
        row for i, row in enumerate(TEXT.splitlines(keepends=True)) if i not in (4, 9, 10)
    ]


def test_stale_normals_are_made_again_and_others_keep_their_line(tmp_path: Path) -> None:
    """Newell's normal of the one polygon that uses each: a triangle's is its cross product."""
    (tmp_path / "neutral.obj").write_bytes(TEXT)
    neutral = ObjText(tmp_path / "neutral.obj")
    target = neutral.positions.copy()
    target[4] += (0, 1.0, 0)
    notes = neutral.write(tmp_path / "out.obj", target)
    new = lines(tmp_path / "out.obj")
    assert new[9] == b"vn 0 0 1\r\n"
    expected = np.cross(target[1] - target[0], target[4] - target[0])
    said = np.array([float(word) for word in new[10].split()[1:4]])
    assert np.allclose(said, expected / np.linalg.norm(expected), atol=1e-5)
    assert notes == ("1 normals were computed from the moved polygons.",)


def test_material_files_are_named_from_the_new_folder(tmp_path: Path) -> None:
    (tmp_path / "library").mkdir()
    (tmp_path / "baked" / "deep").mkdir(parents=True)
    (tmp_path / "library" / "neutral.obj").write_bytes(TEXT)
    (tmp_path / "library" / "keeper.mtl").write_text("newmtl bone\n")
    neutral = ObjText(tmp_path / "library" / "neutral.obj")
    notes = neutral.write(tmp_path / "baked" / "deep" / "out.obj", neutral.positions)
    named = lines(tmp_path / "baked" / "deep" / "out.obj")[1]
    assert named == b"mtllib ../../library/keeper.mtl\r\n"
    assert (tmp_path / "baked" / "deep" / named.split()[1].decode()).exists()
    assert len(notes) == 1 and "../../library/keeper.mtl" in notes[0]


def test_another_count_is_refused(tmp_path: Path) -> None:
    (tmp_path / "neutral.obj").write_bytes(TEXT)
    with pytest.raises(MoueError, match="4 vertices for a text of 5"):
        ObjText(tmp_path / "neutral.obj").write(tmp_path / "out.obj", np.zeros((4, 3)))
    assert not (tmp_path / "out.obj").exists()


def test_a_target_that_cannot_be_written_leaves_the_old_one(tmp_path: Path) -> None:
    (tmp_path / "neutral.obj").write_bytes(TEXT)
    neutral = ObjText(tmp_path / "neutral.obj")
    with pytest.raises(MoueError, match="cannot write here"):
        neutral.write(tmp_path / "nowhere" / "out.obj", neutral.positions)
    (tmp_path / "out.obj").mkdir()
    with pytest.raises(MoueError):
        neutral.write(tmp_path / "out.obj", neutral.positions)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["neutral.obj", "out.obj"]


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(text=obj_texts(), block=st.sampled_from([1, 7, 64, 300]))
def test_a_text_looked_through_in_small_blocks_is_the_same_text(text: tuple, block: int, tmp_path: Path) -> None:
    (tmp_path / "neutral.obj").write_bytes(text[0])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(obj_places, "BLOCK", block)
        small = ObjText(tmp_path / "neutral.obj")
    target = small.positions + 0.5
    small.write(tmp_path / "small.obj", target)
    ObjText(tmp_path / "neutral.obj").write(tmp_path / "whole.obj", target)
    assert np.array_equal(small.positions, np.array(text[1]))
    assert (tmp_path / "small.obj").read_bytes() == (tmp_path / "whole.obj").read_bytes()


def test_a_fault_in_a_later_block_is_named_with_its_line_in_the_file(tmp_path: Path) -> None:
    (tmp_path / "neutral.obj").write_bytes(b"v 0 0 0\n" * 50 + b"v 0 zero 0\n" + b"v 0 0 0\n" * 50)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(obj_places, "BLOCK", 64)
        with pytest.raises(MoueError, match=r"neutral.obj:51: 'zero' is not a number"):
            ObjText(tmp_path / "neutral.obj")


def test_long_stretches_between_vertices_are_copied(tmp_path: Path) -> None:
    """Faces, or a comment, far longer than what is held at once."""
    body = b"v 0 0 0\nv 1 0 0\n" + b"# a long story\n" * 1000 + b"v 1 1 0\nf 1 2 3\n" * 1 + b"f 1 2 3\n" * 2000
    (tmp_path / "neutral.obj").write_bytes(body)
    neutral = ObjText(tmp_path / "neutral.obj")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(obj_text, "PIECE", 512)
        neutral.write(tmp_path / "same.obj", neutral.positions)
        neutral.write(tmp_path / "moved.obj", neutral.positions + [0, 0, 1.0])
    assert (tmp_path / "same.obj").read_bytes() == body
    moved = (tmp_path / "moved.obj").read_bytes()
    assert [row for row in moved.splitlines() if row[:1] != b"v"] == [
        row for row in body.splitlines() if row[:1] != b"v"
    ]
    assert np.allclose(read_mesh(tmp_path / "moved.obj").positions, neutral.positions + [0, 0, 1.0])


def test_a_neutral_that_changed_meanwhile_is_not_mixed_with_what_it_was(tmp_path: Path) -> None:
    (tmp_path / "neutral.obj").write_bytes(TEXT)
    neutral = ObjText(tmp_path / "neutral.obj")
    (tmp_path / "neutral.obj").write_bytes(b"# sculpted on\n" + TEXT)
    with pytest.raises(MoueError, match="has changed since it was opened"):
        neutral.write(tmp_path / "out.obj", neutral.positions)
    (tmp_path / "neutral.obj").unlink()
    with pytest.raises(MoueError, match=r"neutral.obj: is not there"):
        neutral.write(tmp_path / "out.obj", neutral.positions)
    assert not (tmp_path / "out.obj").exists()


def test_lines_that_end_in_carriage_returns_alone_are_baked_too(tmp_path: Path) -> None:
    text = b"v 0 0 0\rv 1 0 0\rv 1 1 0\rf 1 2 3\r"
    (tmp_path / "neutral.obj").write_bytes(text)
    neutral = ObjText(tmp_path / "neutral.obj")
    neutral.write(tmp_path / "same.obj", neutral.positions)
    assert (tmp_path / "same.obj").read_bytes() == text
    neutral.write(tmp_path / "out.obj", neutral.positions + 1.0)
    assert np.allclose(read_mesh(tmp_path / "out.obj").positions, neutral.positions + 1.0)
