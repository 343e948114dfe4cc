"""`moue match --clip` as a person types it: every kind of frames, what is written, and one line for a mistake."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from composer.cli.main import main
from composer.document.evaluated_clip import evaluated_clip
from composer.formats.mesh import Mesh
from composer.formats.registry import write_mesh
from tests.composer.document.test_clips import folder, opened

__all__ = ["folder"]
"""A document with a small library of three shapes and a region `brow`."""

Said = Callable[..., tuple[int, str, str]]
FRAMES = 9


@pytest.fixture
def said(capfd: pytest.CaptureFixture[str]) -> Said:
    def run(command: str, *words: str | Path) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as end:
            main([command, *map(str, words)])
        done = capfd.readouterr()
        return int(end.value.code or 0), done.out, done.err

    return run


def take(folder: Path, turn_deg: float = 4.0) -> tuple[np.ndarray, np.ndarray]:
    """(f, n, 3) mm of `lift` that comes and goes while the head turns to the left, and its weights (f,)."""
    head = opened(folder).head
    weights = 0.8 * np.sin(np.linspace(0.0, np.pi, FRAMES)) ** 2
    turns = Rotation.from_euler("y", np.linspace(0.0, turn_deg, FRAMES)[:, None], degrees=True)
    poses = head.neutral + weights[:, None, None] * head.shape("lift").delta.astype(np.float64)
    return np.stack([turn.apply(np.array(pose)) for turn, pose in zip(turns, poses, strict=True)]), weights


def test_a_bare_array_becomes_a_clip_with_a_table_and_the_head_s_motion(folder: Path, said: Said) -> None:
    frames, weights = take(folder)
    np.savez(folder / "frames.npz", points=frames)
    code, out, err = said("match", folder / "document.toml", folder / "frames.npz", "--clip", "take", "--fps", "12")
    assert code == 0 and err.count("Traceback") == 0
    assert "clip 'take', 9 frames at 12 a second; 1 cell reaches" in " ".join(out.split())
    clip = evaluated_clip(opened(folder), "take")
    assert clip.clip.fps == 12 and clip.cells == [("all", "lift", False)]
    np.testing.assert_allclose(clip.weights[:, 0], weights, atol=1e-3)
    track = np.loadtxt(folder / "take_head.csv", delimiter=",", skiprows=1)
    np.testing.assert_allclose(track[:, 0], np.arange(9) / 12.0)
    theirs = Rotation.from_quat(track[:, [5, 6, 7, 4]])  # scipy has w last
    off = (theirs * Rotation.from_euler("y", np.linspace(0.0, 4.0, FRAMES)[:, None], degrees=True).inv()).magnitude()
    assert np.rad2deg(off).max() < 0.02
    placed = theirs[4].apply(clip.pose(clip.times[4])) + track[4, 1:4]
    np.testing.assert_allclose(placed, frames[4], atol=0.02)
    code, out, _ = said("clip", folder / "document.toml", "take")
    assert code == 0 and "9 frames at 12 a second, 1 cell" in out


def test_frames_that_a_clip_baked_are_matched_and_told(folder: Path, said: Said) -> None:
    """The weights that were baked; the page and the JSON say what is left."""
    said("clip", folder / "document.toml", "talk", "--bake", folder / "obj")
    words = ["--report", str(folder / "a.html"), "--json", str(folder / "a.json"), "--heat", str(folder / "a.png")]
    code, _, err = said("match", folder / "document.toml", folder / "obj", "--clip", "one", *words)
    assert code == 0, err
    told = json.loads((folder / "a.json").read_text())
    assert told["frames"] == 25 and told["explained"] > 0.999 and max(told["max_mm"]) < 0.1
    assert len(told["mean_mm"]) == 25 and told["head_motion"] is None
    page = (folder / "a.html").read_text()
    assert page.startswith("<!doctype html") and "What is left" in page and "own motion" not in page
    assert (folder / "a.png").read_bytes().startswith(b"\x89PNG")
    baked, found = (evaluated_clip(opened(folder), name) for name in ("talk", "one"))
    for key in found.cells:
        if key in baked.cells:
            theirs, ours = (each.weights[:, each.cells.index(key)] for each in (baked, found))
            np.testing.assert_allclose(ours, theirs, atol=0.02)
    assert set(baked.cells) <= set(found.cells)


def test_thinned_keys_are_in_the_document_and_no_table_is(folder: Path, said: Said) -> None:
    np.savez(folder / "frames.npz", frames=take(folder, 0.0)[0])
    code, out, _ = said("match", folder / "document.toml", folder / "frames.npz", "--clip", "take", "--thin", "0.1")
    assert code == 0 and "keys in place of 9" in out
    assert not (folder / "take.csv").exists() and not (folder / "take_head.csv").exists()
    clip = opened(folder).project.clip("take")
    assert 2 <= len(clip.keys) < 9 and not clip.file


def test_a_library_gives_a_new_document(folder: Path, said: Said) -> None:
    np.savez(folder / "frames.npz", frames=take(folder)[0], unit="mm")
    words = [folder / "library", folder / "frames.npz", "--clip", "take"]
    code, _, err = said("match", *words)
    assert code == 2 and "--to is needed for a library" in err and err.count("\n") == 1
    code, out, _ = said("match", *words, "--to", folder / "new.toml")
    assert code == 0 and "1 cell reaches" in out and (folder / "new.toml").exists() and (folder / "take.csv").exists()


BAD = {
    "another topology": "'frames' is 9 x 62 x 3 float64, not 9 x 63 x 3",
    "nan": "frame 3, vertex 5",
    "one frame": "holds one frame; a clip needs two",
    "inches": "times as large as the head; is it in in? say --unit in",
    "two arrays": "holds 2 arrays of frames: a, b",
    "no frames": "holds no frames",
}


@pytest.mark.parametrize("fault", BAD)
def test_a_mistake_is_one_line_and_changes_nothing(fault: str, folder: Path, said: Said) -> None:
    frames = take(folder)[0]
    if fault == "nan":
        frames[3, 5] = np.nan
    held = {
        "another topology": {"frames": frames[:, :62]}, "one frame": {"frames": np.ascontiguousarray(frames[:1])},
        "inches": {"frames": frames / 25.4}, "two arrays": {"a": frames, "b": frames}, "no frames": {"a": frames[0]},
    }.get(fault, {"frames": frames})  # fmt: skip
    np.savez(folder / "frames.npz", **held)
    before = (folder / "document.toml").read_bytes()
    code, out, err = said("match", folder / "document.toml", folder / "frames.npz", "--clip", "take")
    assert code == 2 and out == "" and BAD[fault] in err and err.count("\n") == 1, err
    assert (folder / "document.toml").read_bytes() == before and not list(folder.glob("take*"))
    if fault == "inches":
        code, _, _ = said("match", folder / "document.toml", folder / "frames.npz", "--clip", "take", "--unit", "in")
        assert code == 0


def test_a_gap_in_the_numbers_and_a_taken_name_are_said(folder: Path, said: Said) -> None:
    head, frames = opened(folder).head, take(folder)[0]
    (folder / "shots").mkdir()
    for number in (0, 1, 3):
        write_mesh(folder / f"shots/a_{number:04d}.obj", Mesh(head.polygons, frames[number]))
    code, _, err = said("match", folder / "document.toml", folder / "shots", "--clip", "take")
    assert code == 2 and "frame 2 is missing: there is no a_0002.obj" in err and err.count("\n") == 1
    code, _, err = said("match", folder / "document.toml", folder / "shots", "--clip", "tide")
    assert code == 2 and "a clip named 'tide' is there already" in err
    (folder / "new.csv").write_text("mine")
    code, _, err = said("match", folder / "document.toml", folder / "shots", "--clip", "new")
    assert code == 2 and "new.csv: is there already" in err and (folder / "new.csv").read_text() == "mine"


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["--fps", "12"], "--fps, --thin and --report are of frames"),
        ([], "--to is needed"),
        (["--clip", "a", "--thin", "0"], "--thin 0 is no tolerance"),
        (["--clip", "a", "--fps", "0"], "--fps 0 is no rate"),
        (["--clip", "a", "--symmetric"], "--symmetric and --residual are of one face"),
        (["--clip", "a", "--region", "brwo"], "did you mean brow"),
        (["--clip", "a/b"], "a/b"),
    ],
)
def test_wrong_options_are_one_line(folder: Path, said: Said, words: list[str], line: str) -> None:
    np.savez(folder / "frames.npz", frames=take(folder)[0])
    code, out, err = said("match", folder / "document.toml", folder / "frames.npz", *words)
    assert code == 2 and out == "" and line in err and err.count("\n") == 1, err
