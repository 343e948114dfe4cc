"""The command as a person types it: what it writes, its exit code, and one line for a mistake."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[3]


def moue(*words: str | Path) -> subprocess.CompletedProcess[str]:
    code = "from composer.cli.main import main; main()"
    return subprocess.run([sys.executable, "-c", code, *map(str, words)], capture_output=True, text=True, cwd=ROOT)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo") / "made"
    done = moue("demo", "--to", folder)
    assert done.returncode == 0, done.stderr
    return folder


def test_the_demo_can_be_baked(demo: Path, tmp_path: Path) -> None:
    done = moue("bake", demo / "document.toml", "--to", tmp_path / "out", "--recipe", "wink")
    assert done.returncode == 0, done.stderr
    assert sorted(p.name for p in (tmp_path / "out").glob("*.obj")) == ["neutral.obj", "wink.obj"]


def test_the_demo_can_be_inspected_as_json(demo: Path) -> None:
    import json

    report = json.loads(moue("inspect", demo / "keeper", "--json", "-").stdout)
    assert report["neutral"] == "neutral"
    assert report["unit"] == "mm"
    assert 10 < report["furthest_mm"]["au26"] < 45


def test_checks_find_something_in_the_demo(demo: Path) -> None:
    done = moue("check", demo / "document.toml")
    assert done.returncode == 1
    assert "seam.ramp" in done.stdout


def test_the_demo_is_not_made_over_something(demo: Path) -> None:
    assert one_line(moue("demo", "--to", demo)).endswith("give a new folder with --to")


def one_line(done: subprocess.CompletedProcess[str]) -> str:
    assert done.returncode == 2, (done.stdout, done.stderr)
    assert "Traceback" not in done.stderr
    lines = done.stderr.strip().splitlines()
    assert len(lines) == 1, done.stderr
    assert len(lines[0]) <= 200
    return lines[0]


FAULTS = {
    "no = 1": "no document",
    "moue = 9\nhead='keeper'": "of version 9",
    "moue = 1\nhead = keeper": ":2:",
    "moue = 1": "names no head",
    "moue = 1\nhead = 'nowhere'": "is not there",
    "moue = 1\nhead = 'keeper'\nhaed = 2": "did you mean head",
    "moue = 1\nhead = 'keeper'\ntopology = 'ffff'": "was made for topology",
    "moue = 1\nhead = 'keeper'\n[regions.a]\nfrom = 'image'": "names no file",
    "moue = 1\nhead = 'keeper'\n[regions.a]\nfrom = 'group'\ngroup = 'fase'": "did you mean",
    "moue = 1\nhead = 'keeper'\n[regions.a]\nfrom = 'file'\nfile = 'masks/none.npy'": "none.npy",
    "moue = 1\nhead = 'keeper'\n[regions.all]\nfrom = 'file'": "may not be named",
    "moue = 1\nhead = 'keeper'\n[recipes.x]\ncells = [{region='all', shape='jooy', weight=1}]": "did you mean",
    "moue = 1\nhead = 'keeper'\n[recipes.x]\ncells = [{region='bro', shape='joy', weight=1}]": "bro",
    "moue = 1\nhead = 'keeper'\n[recipes.x]\ncells = [{region='all', shape='joy', weight=7}]": "not in [-1, 2]",
    "moue = 1\nhead = 'keeper'\n[recipes.x]\njoin = 'seamless'": "not built yet",
    "moue = 1\nhead = 'keeper'\n[recipes.neutral]": "may not be named",
}


@pytest.mark.parametrize("text", FAULTS, ids=lambda text: FAULTS[text])
def test_a_mistake_in_a_document_is_one_line(demo: Path, tmp_path: Path, text: str) -> None:
    document = demo / "wrong.toml"
    document.write_text(text)
    line = one_line(moue("bake", document, "--to", tmp_path / "out"))
    assert FAULTS[text] in line
    assert not list(tmp_path.rglob("*.obj"))


def test_sides_sum_to_the_shape_in_the_files(demo: Path, tmp_path: Path) -> None:
    import numpy as np

    def positions(path: Path) -> np.ndarray:
        rows = [line.split()[1:4] for line in path.read_text().splitlines() if line.startswith("v ")]
        return np.array(rows, dtype=float)

    done = moue("split", demo / "document.toml", "--to", tmp_path / "pieces", "--by", "sides")
    assert done.returncode == 0, done.stderr
    rest = positions(tmp_path / "pieces/neutral.obj")
    whole = positions(demo / "keeper/joy.obj") - rest
    sides = [positions(tmp_path / f"pieces/joy.{side}.obj") - rest for side in ("left", "right")]
    size = np.linalg.norm(np.ptp(rest, axis=0))
    assert np.abs(sides[0] + sides[1] - whole).max() <= 1e-6 * size


@pytest.mark.parametrize("source", ["landmarks", "displacement", "groups"])
def test_regions_make_a_document_that_opens_and_is_not_made_twice(demo: Path, tmp_path: Path, source: str) -> None:
    to = tmp_path / "made.moue"
    done = moue("regions", demo / "keeper", "--to", to, "--from", source)
    assert done.returncode == 0, done.stderr
    assert moue("check", to).returncode == 0
    assert "already" in one_line(moue("regions", demo / "keeper", "--to", to))
