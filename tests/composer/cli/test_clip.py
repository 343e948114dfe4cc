"""`moue clip` as a person types it: what it lists and writes, and one line for a mistake."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from composer.cli.main import main
from tests.composer.document.test_clips import folder

__all__ = ["folder"]
"""A document with a small library, a clip `talk` from a CSV and a clip `tide` from keys."""

Said = Callable[..., tuple[int, str, str]]


@pytest.fixture
def said(capfd: pytest.CaptureFixture[str]) -> Said:
    def run(*words: str | Path) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as end:
            main(["clip", *map(str, words)])
        done = capfd.readouterr()
        return int(end.value.code or 0), done.out, done.err

    return run


def test_clips_are_listed_and_baked(folder: Path, said: Said) -> None:
    code, out, _ = said(folder / "document.toml")
    assert code == 0 and out.splitlines() == [
        "talk: 24 frames a second, talk.csv", "tide: 1 s, 24 frames a second, 2 keys",
    ]  # fmt: skip
    code, out, _ = said(folder / "document.toml", "tide", "--bake", folder / "out", "--format", "npz")
    assert code == 0 and out.splitlines()[0] == "tide: 1 s, 25 frames at 24 a second, 1 cell"
    held = np.load(folder / "out/tide.npz")
    assert held["frames"].shape[0] == len(held["times"]) == 25
    np.testing.assert_array_equal(held["frames"][0], held["neutral"])


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["tied"], "no clip is named 'tied'; did you mean tide"),
        (["tide", "--bake", "out", "--level", "9"], "level 9 is not in 0 to 8"),
        (["tide", "--bake", "out", "--unit", "ell"], "ell"),
        (["tide", "--bake", "library"], "holds the head's own files"),
        (["talk", "--bake", "out"], "talk.csv:3: row 3, column 2 (lift) is 'x'"),
    ],
)
def test_a_mistake_is_one_line(folder: Path, said: Said, words: list[str], line: str) -> None:
    (folder / "talk.csv").write_text("time,lift\n0,0\n1,x\n")
    words = [str(folder / word) if word in ("out", "library") else word for word in words]
    code, out, err = said(folder / "document.toml", *words)
    assert code == 2 and out == "" and line in err and err.count("\n") == 1
    assert not (folder / "out").exists() or not list((folder / "out").iterdir())


def test_frames_are_compared_and_exit_code_1_says_that_some_are_further_off(folder: Path, said: Said) -> None:
    said(folder / "document.toml", "tide", "--bake", folder / "out")
    code, out, _ = said(folder / "document.toml", "tide", "--against", folder / "out")
    assert code == 0 and "out: 25 of 25 frames within 0.1 mm" in out
    moved = (folder / "out/tide_0007.obj").read_text().split("\n")
    first = next(i for i, line in enumerate(moved) if line.startswith("v "))
    x, y, z = (float(number) for number in moved[first].split()[1:4])
    moved[first] = f"v {x + 3} {y} {z}"
    (folder / "out/tide_0007.obj").write_text("\n".join(moved))
    code, out, _ = said(folder / "document.toml", "tide", "--against", folder / "out", "--json", "-")
    assert code == 1 and json.loads(out)["against"]["frames"][7]["worst_mm"] == pytest.approx(3.0, abs=1e-3)
    (folder / "out/tide_0007.obj").unlink()
    code, out, err = said(folder / "document.toml", "tide", "--against", folder / "out")
    assert code == 2 and out == "" and "frame 7 is missing" in err and err.count("\n") == 1
