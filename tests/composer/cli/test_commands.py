"""The command as a person types it: what it writes, its exit code, and one line for a mistake."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from composer.cli.main import main
from tests.demo_heads import small_demo_folder

ROOT = Path(__file__).resolve().parents[3]


def moue(*words: str | Path) -> subprocess.CompletedProcess[str]:
    code = "from composer.cli.main import main; main()"
    return subprocess.run([sys.executable, "-c", code, *map(str, words)], capture_output=True, text=True, cwd=ROOT)


Said = Callable[..., "subprocess.CompletedProcess[str]"]


@pytest.fixture
def said(capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Said:
    """The command in this process, which need not start anew for each of many mistakes."""

    def run(*words: str | Path) -> subprocess.CompletedProcess[str]:
        monkeypatch.chdir(ROOT)
        with pytest.raises(SystemExit) as end:
            main([*map(str, words)])
        done = capfd.readouterr()
        return subprocess.CompletedProcess(words, int(end.value.code or 0), done.out, done.err)

    return run


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return Path(shutil.copytree(small_demo_folder(), tmp_path_factory.mktemp("demo") / "made"))


def test_the_demo_can_be_baked(demo: Path, tmp_path: Path) -> None:
    done = moue("bake", demo / "document.toml", "--to", tmp_path / "out", "--recipe", "wink")
    assert done.returncode == 0, done.stderr
    assert sorted(p.name for p in (tmp_path / "out").glob("*.obj")) == ["neutral.obj", "wink.obj"]


def test_the_demo_can_be_inspected_as_json(demo: Path, said: Said) -> None:
    import json

    report = json.loads(said("inspect", demo / "keeper", "--json", "-").stdout)
    assert report["neutral"] == "neutral"
    assert report["unit"] == "mm"
    assert 10 < report["furthest_mm"]["au26"] < 45


def test_checks_find_the_one_seam_that_was_left_in_the_demo(demo: Path, said: Said) -> None:
    from composer.demo.tour import PLANTED

    done = said("check", demo / "document.toml")
    assert done.returncode == 0  # nothing is torn
    lines = [line for line in done.stdout.splitlines() if "seam." in line]
    assert len(lines) == 1 and f"the border of {PLANTED[1]} " in lines[0]


def test_the_demo_is_not_made_over_something(demo: Path, said: Said) -> None:
    assert one_line(said("demo", "--to", demo)).endswith("give a new folder with --to")


def one_line(done: subprocess.CompletedProcess[str]) -> str:
    assert done.returncode == 2, (done.stdout, done.stderr)
    assert "Traceback" not in done.stderr
    lines = done.stderr.strip().splitlines()
    assert len(lines) == 1, done.stderr
    assert len(lines[0]) <= 200
    return lines[0]


KEEPER = "moue = 1\nhead = 'keeper'\n"
FAULTS = {
    "no = 1": "no document",
    "moue = 0\nhead='keeper'": "no document",
    "moue = 9\nhead='keeper'": "has version 9",
    "moue = 1\nhead = keeper": ":2:",
    "moue = 1": "names no head",
    "moue = 1\nhead = 'nowhere'": "is not there",
    f"moue = 1\nhead = '{'x' * 300}'": "File name too long",
    "moue = 1\nhead = 'keeper'\nhaed = 2": "did you mean head",
    f"moue = 1\nhead = 'keeper'\nunit = {'[' * 5000}": "too deep",
    f"moue = {'1' * 5000}\nhead = 'keeper'": "a number that is too long",
    KEEPER + "unit = 'furlong'": "'furlong' is not known",
    KEEPER + "unit = 3": "unit to be a text",
    KEEPER + "topology = 'ffff'": "was made for topology",
    KEEPER + "[parts.x]\nvertices = 'abc'": "numbers and ranges",
    KEEPER + "[parts.x]\nvertices = [1.5]": "numbers and ranges",
    KEEPER + "[parts.x]\nfollowz = 'jaw'": "did you mean follows",
    KEEPER + "[shapes.jooy]": "did you mean joy",
    KEEPER + "[shapes.joy]\ninbetweens = 3": "a list of tables",
    KEEPER + "[shapes.joy]\ninbetweens = [{at = 0.5, target = 'nope'}]": "'nope'",
    KEEPER
    + "[shapes.joy]\nhinge = {axis=[0,0,0], origin=[0,0,0], angle_deg=2, rigidity='a.npy'}": "without a direction",
    KEEPER + "[levels]\n9 = 'x'": "from 1 to 8",
    KEEPER + "[regions.a]\nfrom = 'image'": "names no file",
    KEEPER + "[regions.a]\nfrom = 'moon'": "no source of masks",
    KEEPER + "[regions.a]\nfrom = 'group'\ngroup = 'fase'": "did you mean",
    KEEPER + "[regions.a]\nfrom = 'group'\ngroup = 'face'\nramp_mm = true": "ramp_mm to be a number",
    KEEPER + "[regions.a]\nfrom = 'group'\ngroup = 'face'\nramp_mm = nan": "from 0 to 1000",
    KEEPER + "[regions.a]\nfrom = 'component'\ncomponent = 0.5": "a whole number",
    KEEPER + "[regions.a]\nfrom = 'file'\nfile = 'masks/none.npy'": "none.npy",
    KEEPER + "[regions.a]\nfrom = 'landmarks'\npreset = 'eyebrow'": "no region in the presets",
    KEEPER + "[regions.a]\nfrom = 'landmarks'\nlocked = 'no'": "true or false",
    KEEPER + "[regions.'a/b']\nfrom = 'landmarks'": "may not be named",
    KEEPER + "[regions.all]\nfrom = 'file'": "always exists",
    KEEPER + "[recipes.x]\ncells = [{region='all', shape='jooy', weight=1}]": "did you mean",
    KEEPER + "[recipes.x]\ncells = [{region='bro', shape='joy', weight=1}]": "bro",
    KEEPER + "[recipes.x]\ncells = [{region='all', shape='joy', weight=7}]": "from -1 to 2",
    KEEPER + "[recipes.x]\ncells = [{region='all', shape='joy', weight=nan}]": "from -1 to 2",
    KEEPER + f"[recipes.x]\ncells = [{{region='all', shape='joy', weight=1{'0' * 400}}}]": "from -1 to 2",
    KEEPER + "[recipes.x]\ncells = [{region='all', shape='joy', weight=1, mirrored='no'}]": "true or false",
    KEEPER + "[recipes.x]\nstrength = inf": "strength to be a number",
    KEEPER + "[recipes.x]\njoin = 'seem'": "there is linear, seamless",
    KEEPER + "[recipes.neutral]": "may not be named",
    KEEPER + "[recipes.'a\\b']": "may not be named",
    KEEPER + f"[recipes.{'y' * 260}]": "too long",
    KEEPER + "[recipes.a]\n[recipes.A]": "differ only in case",
    KEEPER + "[shapes.joy]\ninbetweens=[{at=0.5, target='joy_50'}]\n[recipes.x]\n"
    "cells=[{region='all', shape='joy_50', weight=1}]": "is an in-between of 'joy'",
}


@pytest.mark.parametrize("text", FAULTS, ids=range(len(FAULTS)))
def test_a_mistake_in_a_document_is_one_line(demo: Path, tmp_path: Path, text: str, said: Said) -> None:
    document = demo / "wrong.toml"
    document.write_text(text)
    line = one_line(said("bake", document, "--to", tmp_path / "out"))
    assert FAULTS[text] in line
    assert "wrong.toml" in line or "head = '" in text
    assert not list(tmp_path.rglob("*.obj"))


def test_mistakes_end_a_process_of_their_own_alike(demo: Path, tmp_path: Path) -> None:
    document = demo / "wrong.toml"
    document.write_text(KEEPER + "[recipes.x]\nstrength = inf")
    assert "strength to be a number" in one_line(moue("bake", document, "--to", tmp_path / "out"))
    one_line(moue("moon"))


def test_sides_sum_to_the_shape_in_the_files(demo: Path, tmp_path: Path, said: Said) -> None:
    import numpy as np

    def positions(path: Path) -> np.ndarray:
        rows = [line.split()[1:4] for line in path.read_text().splitlines() if line.startswith("v ")]
        return np.array(rows, dtype=float)

    done = said("split", demo / "document.toml", "--to", tmp_path / "pieces", "--by", "sides")
    assert done.returncode == 0, done.stderr
    rest = positions(tmp_path / "pieces/neutral.obj")
    whole = positions(demo / "keeper/joy.obj") - rest
    sides = [positions(tmp_path / f"pieces/joy.{side}.obj") - rest for side in ("left", "right")]
    size = np.linalg.norm(np.ptp(rest, axis=0))
    assert np.abs(sides[0] + sides[1] - whole).max() <= 1e-6 * size


@pytest.mark.parametrize("source", ["landmarks", "displacement", "groups"])
def test_regions_make_a_document_that_opens_and_is_not_made_twice(
    demo: Path, tmp_path: Path, source: str, said: Said
) -> None:
    to = tmp_path / "made.moue"
    done = said("regions", demo / "keeper", "--to", to, "--from", source)
    assert done.returncode == 0, done.stderr
    assert said("check", to).returncode == 0
    assert "already" in one_line(said("regions", demo / "keeper", "--to", to))


@pytest.mark.parametrize(
    "words",
    [
        ["bake", "DOC", "--to", "OUT", "--level", "9"],
        ["bake", "DOC", "--to", "OUT", "--level", "8"],
        ["bake", "DOC", "--to", "OUT", "--level", "x"],
        ["bake", "DOC", "--to", "OUT", "--steps", "0"],
        ["bake", "DOC", "--to", "OUT", "--name", "../a"],
        ["bake", "DOC", "--to", "OUT", "--name", "{recipe"],
        ["bake", "DOC", "--to", "OUT", "--name", "same"],
        ["bake", "DOC", "--to", "OUT", "--format", "stl"],
        ["bake", "DOC", "--to", "OUT", "--unit", "furlong"],
        ["bake", "DOC", "--to", "OUT", "--over", "nothing"],
        ["bake", "DOC", "--to", "OUT", "--recipe", "winq"],
        ["bake", "DOC", "--to", "DOC"],
        ["bake", "DOC", "--to", "LIB"],
        ["bake", "LIB", "--to", "OUT"],
        ["bake", "/dev/zero", "--to", "OUT"],
        ["bake", "DOC"],
        ["split", "DOC", "--to", "OUT", "--by", "sides", "--ramp-mm", "-1"],
        ["sheet", "DOC", "--to", "DOC"],
        ["sheet", "DOC", "--to", "LIB/joy.obj"],
        ["sheet", "DOC", "--to", "LIB/new.png"],
        ["sheet", "DOC", "--to", "/dev/null"],
        ["sheet", "LIB", "--to", "OUT.png", "--columns", "-1"],
        ["sheet", "LIB", "--to", "OUT.png", "--view", "moon"],
        ["sheet", "LIB", "--to", "OUT.png", "--light", "moon"],
        ["sheet", "LIB", "--to", "LIB", "--turntable"],
        ["sheet", "LIB", "--to", "OUT.webp", "--turntable", "--frames", "1"],
        ["sheet", "LIB", "--to", "OUT.png", "--only", "moon"],
        ["check", "DOC", "--report", "DOC"],
        ["check", "DOC", "--json", "DOC"],
        ["inspect", "LIB", "--json", "LIB/joy.obj"],
        ["inspect", "NOWHERE"],
        ["regions", "LIB", "--to", "OUT.obj"],
        ["regions", "LIB", "--to", "DOC"],
        ["regions", "LIB", "--to", "OUT.toml", "--preset", "moon"],
        ["bench", "--only", "moon"],
        ["moon"],
    ],
    ids=" ".join,
)
def test_what_cannot_be_done_is_one_line_and_touches_nothing(
    demo: Path, tmp_path: Path, words: list[str], said: Said
) -> None:
    places = {
        "DOC": demo / "document.toml",
        "LIB": demo / "keeper",
        "OUT": tmp_path / "out",
        "NOWHERE": tmp_path / "no",
    }

    def state() -> dict[str, bytes]:
        files = [demo / "document.toml", *(demo / "keeper").iterdir()]
        return {str(file): file.read_bytes() for file in files}

    def place(word: str) -> str:
        for name, path in places.items():
            if word == name or word.startswith((name + "/", name + ".")):
                return str(path) + word[len(name) :]
        return word

    before = state()
    one_line(said(*map(place, words)))
    assert state() == before
    assert not list(tmp_path.rglob("*.obj"))


STOPPED_WHILE_WRITING = """
import os, signal, sys
from composer.cli.main import main

out, first, opened = sys.argv[-1], os.getpid(), []

def stop_at_the_fortieth(event, words):
    if event == "open" and str(words[0]).startswith(out):
        opened.append(words[0])
        if len(opened) == 40:
            os.kill(first, signal.SIGINT)

sys.addaudithook(stop_at_the_fortieth)
main()
"""


def test_a_bake_that_is_stopped_can_be_taken_up_again(demo: Path, tmp_path: Path, said: Said) -> None:
    import signal

    out = tmp_path / "out"
    words = ["bake", str(demo / "document.toml"), "--steps", "100", "--to", str(out)]
    stopped = subprocess.run(
        [sys.executable, "-c", STOPPED_WHILE_WRITING, *words], cwd=ROOT, capture_output=True, text=True, timeout=120,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # whoever runs the tests may be deaf to it
    )  # fmt: skip
    assert stopped.returncode == 130
    assert stopped.stderr == "stopped; no file is half written\n"
    assert not list(out.iterdir()), "all of a bake or nothing"
    done = said("bake", demo / "document.toml", "--to", out, "--recipe", "wink", "--steps", "2")
    assert done.returncode == 0, done.stderr


def test_a_save_goes_through_a_link_and_keeps_who_may_read(tmp_path: Path) -> None:
    from composer.head.atomic import write_whole

    real, link = tmp_path / "real.toml", tmp_path / "link.toml"
    real.write_text("old")
    real.chmod(0o600)
    link.symlink_to(real)
    write_whole(link, lambda file: file.write(b"new"))
    assert link.is_symlink()
    assert real.read_text() == "new"
    assert real.stat().st_mode & 0o777 == 0o600


def test_the_readme_document_bakes(demo: Path, tmp_path: Path, said: Said) -> None:
    import re

    import numpy as np

    text = (ROOT / "README.md").read_text(encoding="utf-8")
    printed = re.search(r"## A document\n\n```toml\n(.*?)```", text, re.S)
    assert printed is not None
    document = demo / "printed.toml"
    document.write_text(re.sub(r"topology = .*\n", "", printed.group(1)))
    (demo / "masks").mkdir(exist_ok=True)
    vertices = sum(line.startswith("v ") for line in (demo / "keeper/neutral.obj").read_text().splitlines())
    np.save(demo / "masks/chin.npy", np.zeros(vertices))
    done = said("bake", document, "--to", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "out/doubt.obj").exists()
