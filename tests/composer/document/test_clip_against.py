"""Frames read back and compared with their clip: all ways in which a clip is baked, and what is wrong with a sequence.

What was baked is read by readers that share no code with the writers but the layout of polygons; a planted distance has
to come out as it was planted.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from pxr import Usd, UsdGeom

from composer.document.bake_clip import bake_clip
from composer.document.clip_against import clip_against
from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_clip import EvaluatedClip
from composer.errors import MoueError
from composer.formats.frame_sequence import read_sequence
from composer.formats.mesh import Mesh
from composer.formats.registry import read_mesh, write_mesh
from composer.geometry.polygons import Polygons
from composer.mixing.clip import Clip, Key
from tests.composer.document.small_document import small_head, small_project

KEYS = (Key(0.0, "neutral"), Key(0.4, "doubt", interpolation="smooth"), Key(0.7, "call"), Key(1.0, "neutral"))


def made(join: str = "linear", fps: float = 10.0) -> EvaluatedClip:
    """A second at ten frames a second in which a shape turns about a hinge."""
    project = small_project()
    clip = Clip("tide", fps, 1.0, KEYS, join=join)  # type: ignore[arg-type]
    return EvaluatedClip(EvaluatedDocument(project, small_head()).again(project), clip)


@pytest.mark.parametrize(("suffix", "within"), [
    (".obj", 1e-4), (".ply", 1e-4), (".npz", 1e-12), (".glb", 0.1), (".usdc", 1e-4), (".usda", 1e-4),
])  # fmt: skip
def test_what_was_baked_is_read_back(suffix: str, within: float, tmp_path: Path) -> None:
    clip = made()
    files = bake_clip(clip, tmp_path / "out", suffix=suffix)
    found = clip_against(clip, read_sequence(files[0] if len(files) == 1 else tmp_path / "out", "tide"))
    assert len(found.frames) == clip.n_frames == 11 and found.level == 0
    assert found.worst.worst_mm <= within


def test_frames_of_a_finer_level_and_of_another_rate_are_posed_so(tmp_path: Path) -> None:
    clip = made()
    (file,) = bake_clip(clip, tmp_path / "fine", suffix=".npz", level=1)
    assert clip_against(clip, read_sequence(file)).level == 1
    slow = made(fps=5.0)
    (file,) = bake_clip(slow, tmp_path / "slow", suffix=".npz")
    found = clip_against(clip, read_sequence(file))
    assert [frame.time for frame in found.frames] == pytest.approx([0.0, 0.2, 0.4, 0.6, 0.8, 1.0])
    assert found.worst.worst_mm <= 1e-12


def test_a_planted_distance_comes_out(tmp_path: Path) -> None:
    clip = made()
    bake_clip(clip, tmp_path, suffix=".obj")
    bent = read_mesh(tmp_path / "tide_0006.obj")
    moved = bent.positions.copy()
    moved[17] += [0.3, -0.4, 0.0]
    write_mesh(tmp_path / "tide_0006.obj", Mesh(bent.polygons, moved))
    found = clip_against(clip, read_sequence(tmp_path, "tide"))
    worst = found.worst
    assert (worst.number, worst.vertex) == (6, 17) and worst.worst_mm == pytest.approx(0.5, abs=1e-4)
    assert [frame.number for frame in found.further(0.1)] == [6]
    assert worst.mean_mm == pytest.approx(0.5 / len(moved), rel=1e-2)


def test_the_unit_of_the_frames_counts(tmp_path: Path) -> None:
    clip = made()
    bake_clip(clip, tmp_path, suffix=".obj", unit="cm")
    assert clip_against(clip, read_sequence(tmp_path), unit="cm").worst.worst_mm <= 1e-3
    assert clip_against(clip, read_sequence(tmp_path)).worst.worst_mm > 10.0


@pytest.fixture(scope="module")
def baked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Eleven OBJ frames."""
    folder = tmp_path_factory.mktemp("frames")
    bake_clip(made(), folder, suffix=".obj")
    return folder


def refused(path: Path) -> str:
    """The line that comes where all frames of a path are compared."""
    with pytest.raises(MoueError) as caught:
        clip_against(made(), read_sequence(path, "tide"))
    assert len(str(caught.value)) <= 200
    return str(caught.value)


def test_what_is_wrong_with_a_folder_is_one_line(baked: Path, tmp_path: Path) -> None:
    def folder(name: str) -> Path:
        return Path(shutil.copytree(baked, tmp_path / name))

    one = folder("one")
    (one / "tide_0004.obj").unlink()
    assert refused(one).endswith("one: frame 4 is missing: there is no tide_0004.obj")
    for number in (3, 7, 8, 9):
        (one / f"tide_{number:04d}.obj").unlink()
    assert "frames 3, 4, 7 and 2 more are missing: there is no tide_0003.obj" in refused(one)
    end = folder("end")
    (end / "tide_0010.obj").unlink()
    assert "has 10 frames, clip tide has 11: frame 10 is missing" in refused(end)
    cut = folder("cut")
    mesh = read_mesh(cut / "tide_0005.obj")
    fewer = Polygons(mesh.polygons.counts[:-1], mesh.polygons.indices[: -mesh.polygons.counts[-1]], mesh.n_vertices)
    write_mesh(cut / "tide_0005.obj", Mesh(fewer, mesh.positions))
    assert "tide_0005.obj: has other polygons than tide_0000.obj: two topologies" in refused(cut)
    bad = folder("bad")
    text = (bad / "tide_0002.obj").read_text().replace("\nv ", "\nv nan ", 1)
    (bad / "tide_0002.obj").write_text(text)
    assert "tide_0002.obj" in refused(bad)
    (two := folder("two")).joinpath("ebb_0000.obj").write_bytes((baked / "tide_0000.obj").read_bytes())
    assert clip_against(made(), read_sequence(two, "tide")).worst.worst_mm <= 1e-4
    with pytest.raises(MoueError, match=r"holds several sequences: ebb_\*.obj, tide_\*.obj"):
        read_sequence(two)
    (tmp_path / "none").mkdir()
    assert "holds no frames" in refused(tmp_path / "none")
    twice = folder("twice")
    (twice / "tide_4.obj").write_bytes((baked / "tide_0004.obj").read_bytes())
    assert "frame 4 is there twice" in refused(twice)


def test_what_is_wrong_with_one_file_is_one_line(baked: Path, tmp_path: Path) -> None:
    assert "holds one OBJ mesh, not frames" in refused(baked / "tide_0000.obj")
    (file,) = bake_clip(made(), tmp_path / "npz", suffix=".npz")
    with np.load(file) as held:
        arrays = dict(held)
    np.savez(tmp_path / "gap.npz", **arrays | {"frames": np.delete(arrays["frames"], 4, 0),
                                               "times": np.delete(arrays["times"], 4)})  # fmt: skip
    assert "gap.npz: frame 4 is missing: nothing at 0.4 s" in refused(tmp_path / "gap.npz")
    frames = arrays["frames"].copy()
    frames[3, 5, 1] = np.nan
    np.savez(tmp_path / "nan.npz", **arrays | {"frames": frames})
    assert "nan.npz: frame 3, vertex 5 has a position that is not a number" in refused(tmp_path / "nan.npz")
    np.savez(tmp_path / "few.npz", **arrays | {"frames": frames[:, :-1]})
    assert "few.npz: 'frames' is 11 x 62 x 3 float64, not 11 x 63 x 3" in refused(tmp_path / "few.npz")
    np.savez(tmp_path / "other.npz", **arrays | {"indices": np.roll(arrays["indices"], 4), "frames": arrays["frames"]})
    assert "has other polygons than the head" in refused(tmp_path / "other.npz")


def test_usd_points_are_taken_at_their_own_times_and_places(tmp_path: Path) -> None:
    (file,) = bake_clip(made(), tmp_path / "usd", suffix=".usda")
    stage = Usd.Stage.Open(str(file))
    mesh = next(UsdGeom.Mesh(prim) for prim in stage.Traverse() if prim.GetName() == "frames")
    sequence = read_sequence(file)
    assert sequence.times is not None and sequence.times.tolist() == pytest.approx(np.arange(11) / 10)
    for time, frame in zip(range(11), sequence.frames(), strict=True):
        np.testing.assert_allclose(frame, np.array(mesh.GetPointsAttr().Get(time)), atol=1e-6)
    mesh.GetPointsAttr().Set(list(mesh.GetPointsAttr().Get(4))[:-1], 4)
    stage.GetRootLayer().Export(str(tmp_path / "cut.usda"))
    assert "has 62 vertices at time code 4, 63 at its first: two topologies" in refused(tmp_path / "cut.usda")
    mesh.GetPointsAttr().ClearAtTime(4)
    stage.GetRootLayer().Export(str(tmp_path / "gap.usda"))
    assert "gap.usda: frame 4 is missing: nothing at 0.4 s" in refused(tmp_path / "gap.usda")
