"""`moue run` on heads that are fitted already: the same bytes for any number of workers and after any interruption."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from composer.cli.main import main
from composer.document.store import save_document
from composer.head.lock import lock, unlock
from composer.jobs.job import RECORD
from composer.mixing.recipe import Cell, Recipe
from tests.composer.document.carried_document import document_on_disk, fitted_head

TEXT = """moue_job = 1
library = "{library}"
steps = [{steps}]
to = "{to}/{{name}}"
[defaults]
carry = {{ fitted_unit = "cm" }}
bake = {{ format = "ply" }}
"""


def moue(*words: str | Path, code: int = 0) -> None:
    with pytest.raises(SystemExit) as ended:
        main([str(word) for word in words])
    assert ended.value.code == code


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A document with a recipe, and three fitted heads: the second has another topology."""
    document = document_on_disk(tmp_path)
    shape = document.head.shape_names[0]
    recipe = Recipe("doubt", (Cell("all", shape, 0.5),))
    save_document(document.project.with_(recipes=(recipe,)), document.project.path)
    fitted_head(tmp_path)
    (tmp_path / "bad.obj").write_text("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n")
    return tmp_path


@pytest.fixture
def forks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Heads' processes are forks of this one, as they are of a command. Beside the tests run threads that only wait (of
    xdist and of readers), for which each process would begin afresh and import all anew; the test that does not ask for
    this begins so."""
    monkeypatch.setattr("composer.jobs.local.threading.active_count", lambda: 1)


def job(folder: Path, to: str, heads: dict[str, str], steps: str = '"carry", "bake"') -> Path:
    library = os.path.relpath(next(folder.glob("old/*.toml")), folder)
    rows = "".join(f'[[head]]\nname = "{name}"\nfitted = "{file}"\n' for name, file in heads.items())
    file = folder / f"{to}.toml"
    file.write_text(TEXT.format(library=library, to=to, steps=steps) + rows)
    return file


def tree(folder: Path) -> dict[str, bytes]:
    return {
        file.relative_to(folder).as_posix(): file.read_bytes().replace(folder.name.encode(), b"")
        for file in sorted(folder.rglob("*"))
        if file.is_file()
    }


ALL = '"carry", "check", "bake"'
PICTURED = '"carry", "bake", "sheet"'
HEADS = {"ferrier": "fitted.obj", "bellringer": "fitted.obj"}


def test_the_bytes_are_the_same_for_any_number_of_workers_and_what_is_done_stays(
    folder: Path, capsys: pytest.CaptureFixture[str], forks: None
) -> None:
    one, two = job(folder, "alpha", HEADS, PICTURED), job(folder, "omega", HEADS, PICTURED)
    moue("run", one, "--plan")
    assert "2 heads to do" in capsys.readouterr().out and not (folder / "alpha").exists()
    moue("run", one)
    moue("run", two, "--workers", "2")
    assert "2 heads: 2 done" in capsys.readouterr().out
    first, other = tree(folder / "alpha"), tree(folder / "omega")
    assert first.pop("alpha.html").replace(b"alpha", b"") == other.pop("omega.html").replace(b"omega", b"")
    assert first == other and "ferrier/bake/doubt.ply" in first and "ferrier/sheet.png" in first

    moue("run", one, "--json", folder / "report.json")
    report = json.loads((folder / "report.json").read_text())["heads"]
    assert {step["became"] for head in report.values() for step in head["steps"].values()} == {"unchanged"}
    capsys.readouterr()
    moue("run", one, "--plan")
    assert "nothing to do" in capsys.readouterr().out

    (folder / "alpha/ferrier/sheet.png").unlink()  # what is lost is made again, and nothing else
    (folder / "alpha/bellringer" / RECORD).unlink()
    moue("run", one)
    lines = capsys.readouterr().out
    assert "ferrier: carry unchanged" in lines and "sheet done" in lines and "bellringer: carry done" in lines
    again = tree(folder / "alpha")
    again.pop("alpha.html")
    assert again == first


def test_a_head_that_fails_does_not_stop_the_others(
    folder: Path, capsys: pytest.CaptureFixture[str], forks: None
) -> None:
    file = job(folder, "mixed", {"bad": "bad.obj", "gone": "gone.obj", "ferrier": "fitted.obj"}, ALL)
    moue("run", file, "--workers", "2", "--json", folder / "report.json", code=1)
    lines = capsys.readouterr().out
    assert "bad: failed at carry" in lines and "gone.obj" in lines and "3 heads: 2 failed, 1 done" in lines
    report = json.loads((folder / "report.json").read_text())["heads"]
    assert report["bad"]["steps"]["check"]["became"] == "left out" and "bad.obj" in report["bad"]["why"]
    page = (folder / "mixed/mixed.html").read_text()
    assert page.index("bad") < page.index("ferrier") and "Failed at carry" in page and "<script" not in page


def test_two_runs_are_not_at_work_on_one_head(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = job(folder, "twice", {"ferrier": "fitted.obj"})
    (folder / "twice/ferrier").mkdir(parents=True)
    held = lock(folder / "twice/ferrier")
    moue("run", file, code=1)
    assert "another run is at work on it" in capsys.readouterr().out
    unlock(held)
    moue("run", file)


@pytest.mark.skipif(sys.platform == "win32", reason="a process is killed by a signal")
def test_a_run_that_is_killed_goes_on_and_ends_with_the_same_bytes(folder: Path, forks: None) -> None:
    calm, killed = job(folder, "calm", HEADS), job(folder, "killed", HEADS)
    moue("run", calm)
    words = [sys.executable, "-m", "composer", "run", str(killed)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True, cwd=Path.cwd()) as process:
        assert process.stdout is not None
        assert "ferrier" in process.stdout.readline()
        process.send_signal(signal.SIGKILL)
    assert not (folder / "killed/killed.html").exists()
    moue("run", killed)
    first, other = tree(folder / "calm"), tree(folder / "killed")
    assert first.pop("calm.html").replace(b"calm", b"") == other.pop("killed.html").replace(b"killed", b"")
    assert first == other
