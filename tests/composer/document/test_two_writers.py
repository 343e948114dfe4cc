"""Two who write one document: nobody's work is written over, and commands wait for each other."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from composer.document.presence import Presence
from composer.document.store import changed_outside, open_document, save_document
from composer.edits.recipes import set_note
from composer.errors import MoueError
from composer.head.lock import alone_with
from composer.head.new_folder import filled_whole
from tests.composer.document.small_document import small_project

ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture(params=["clock.moue", "document.toml"])
def path(tmp_path: Path, request: pytest.FixtureRequest) -> Path:
    save_document(small_project(tmp_path / request.param), tmp_path / request.param)
    return tmp_path / request.param


def test_a_file_that_somebody_else_has_written_is_not_written_over(path: Path) -> None:
    mine, theirs = open_document(path), open_document(path)
    save_document(set_note(theirs, "wait", "theirs"), path)
    assert changed_outside(mine, path) and not changed_outside(theirs, path)
    held = path.read_bytes()
    with pytest.raises(MoueError, match="changed by somebody else since it was opened; open it again"):
        save_document(set_note(mine, "wait", "mine"), path)
    assert path.read_bytes() == held and sorted(os.listdir(path.parent)) == sorted({path.name, *_arrays(path)})
    save_document(set_note(theirs, "wait", "again"), path)  # all versions of one opening know what it wrote
    save_document(set_note(mine, "wait", "mine"), path, over=True)
    assert open_document(path).recipe("wait").note == "mine"


def _arrays(path: Path) -> set[str]:
    return {"masks"} if path.suffix == ".toml" else set()


def test_a_clock_decides_nothing(path: Path) -> None:
    """The same time of writing, before and after: what counts is what the file holds."""
    os.utime(path, (1000, 1000))
    mine = open_document(path)
    save_document(set_note(open_document(path), "wait", "theirs"), path)
    os.utime(path, (1000, 1000))
    with pytest.raises(MoueError, match="changed by somebody else"):
        save_document(mine, path)
    os.utime(path, (5, 5))
    save_document(open_document(path), path)


def test_a_new_document_does_not_take_the_place_of_one_that_came_meanwhile(path: Path) -> None:
    with pytest.raises(MoueError, match="is there already"):
        save_document(small_project(path), path, new=True)


HOLD = """
import sys
from pathlib import Path
from composer.head.lock import alone_with
with alone_with(Path(sys.argv[1])):
    print("held", flush=True)
    sys.stdin.read()
"""


@pytest.mark.skipif(os.name == "nt", reason="no locks that end with a process")
@pytest.mark.parametrize("ends", ["by itself", "killed"])
def test_whoever_writes_a_document_is_waited_for(path: Path, ends: str) -> None:
    other = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(path)], cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    assert other.stdin is not None and other.stdout is not None and other.stdout.readline() == b"held\n"
    told: list[float] = []

    def waits() -> None:
        told.append(time.monotonic())
        other.kill() if ends == "killed" else other.stdin.close()  # type: ignore[union-attr]

    with alone_with(path, waits), alone_with(path):  # the same process may ask again
        assert len(told) == 1 and other.wait(20) is not None
    other.stdout.close()
    assert not [name for name in os.listdir(path.parent) if name.endswith("lock")]


@pytest.mark.skipif(os.name == "nt", reason="no locks that end with a process")
def test_a_window_knows_of_another_and_may_take_over(path: Path) -> None:
    first = Presence(path)
    second = Presence(path)
    assert not first.other and str(os.getpid()) in second.other and second.mark and not first.lost
    second.take_over()
    assert first.lost and not second.lost
    third = Presence(path)
    assert third.other
    for each in (first, third, second):
        each.close()
    assert Presence(path).other == "" and len([n for n in os.listdir(path.parent) if n.endswith("window")]) == 1


def test_a_full_disk_names_the_file_that_the_person_knows(tmp_path: Path) -> None:
    """Inside the hidden folder a write is refused by the system: the line names the place that it was meant for."""
    from composer.head.atomic import write_whole

    def full(file: object) -> None:
        raise OSError(28, "No space left on device")

    with pytest.raises(MoueError) as told, filled_whole(tmp_path / "out", "list.json", "fit") as beside:
        write_whole(beside / "a.obj", full)
    assert str(told.value) == f"{tmp_path / 'out/a.obj'}: cannot be written: No space left on device"
    assert os.listdir(tmp_path) == []
