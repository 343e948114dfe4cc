"""An autosave is whole at every instant, waits only where it says something newer, and opens as the document it was."""

from __future__ import annotations

import os
import resource
import signal
import time
from pathlib import Path

import numpy as np
import pytest

from composer.document.autosave import autosave_place, forget, keep, says_the_same, waiting
from composer.document.project import Project
from composer.document.store import open_document, save_document
from composer.edits import regions
from composer.edits.recipes import set_note
from composer.errors import MoueError
from composer.mixing.clip import Clip
from tests.composer.document.small_document import N, painted, small_project
from tests.forked import fork


@pytest.fixture
def saved(tmp_path: Path) -> Project:
    path = tmp_path / "clock.moue"
    project = small_project(path).with_(head_path=tmp_path / "library")
    project = save_document(project, path)
    os.utime(path, (1000, 1000))
    return project


def edited(project: Project) -> Project:
    return regions.set_mask(set_note(project, "wait", "not saved yet"), "brow_left", painted(20))


def test_an_autosave_waits_and_goes_to_its_document(saved: Project) -> None:
    assert waiting(saved.path) is None
    place = autosave_place(saved.path)
    assert place == saved.path.parent / ".clock.moue.autosave.moue"
    keep(edited(saved), place)
    found = waiting(saved.path)
    assert found is not None and found.place == place and found.seconds > 1000
    assert found.project.path == saved.path and found.project.head_path.resolve() == saved.head_path.resolve()
    assert found.project.recipe("wait").note == "not saved yet"
    np.testing.assert_array_equal(found.project.stored["masks/brow_left.npy"], painted(20))
    save_document(found.project, saved.path)
    assert waiting(saved.path) is None
    forget(place)
    forget(place)
    assert not place.exists()


def test_what_says_the_same_does_not_wait_whatever_the_clock_says(saved: Project) -> None:
    place = autosave_place(saved.path)
    keep(saved, place)
    assert waiting(saved.path) is None
    keep(edited(saved), place)
    for seconds in (0, 500, 2**31):  # whatever a clock said, work that was not saved is not lost
        os.utime(place, (seconds, seconds))
        assert waiting(saved.path) is not None
    saved.path.write_bytes(b"broken")
    os.utime(saved.path, (900, 900))
    assert waiting(saved.path) is not None
    saved.path.unlink()
    assert waiting(saved.path) is not None
    place.write_bytes(b"PK\x03\x04broken")
    with pytest.raises(MoueError, match=r"autosave\.moue"):
        waiting(saved.path)


def test_a_bare_document_and_its_autosave_say_the_same(saved: Project, tmp_path: Path) -> None:
    bare = save_document(saved, tmp_path / "document.toml")
    os.utime(bare.path, (1000, 1000))
    keep(open_document(bare.path), autosave_place(bare.path))
    assert waiting(bare.path) is None
    keep(edited(bare), autosave_place(bare.path))
    assert waiting(bare.path) is not None


def test_a_document_never_saved_is_kept_in_a_folder_and_finds_its_head(tmp_path: Path) -> None:
    (tmp_path / "heads").mkdir()
    project = small_project(tmp_path / "heads/new.moue").with_(head_path=tmp_path / "heads/library")
    place = autosave_place(project.path, tmp_path / "state/deep")
    keep(project, place)
    assert place.parent == tmp_path / "state/deep"
    assert place != autosave_place(tmp_path / "tails/new.moue", tmp_path / "state/deep")
    found = waiting(project.path, place)
    assert found is not None and found.project.path == project.path
    assert found.project.head_path.resolve() == (tmp_path / "heads/library").resolve()
    assert open_document(place).head_path.resolve() == (tmp_path / "heads/library").resolve()


@pytest.mark.parametrize("name", ["半分の疑い.moue", "x" * 250 + ".moue", "a.b.moue", "document.toml"])
def test_names_of_any_length_have_a_place(saved: Project, tmp_path: Path, name: str) -> None:
    place = autosave_place(tmp_path / name)
    keep(saved, place)
    assert place.exists() and place.name.startswith(".") and len(place.name.encode()) <= 200
    assert place != autosave_place(tmp_path / ("y" + name[1:]))


def save_for_ever(project: Project, tell: int) -> None:
    """Keep one edit after another; says when it begins."""
    os.write(tell, b"ready")
    for step in range(100000):
        mask = np.full(N, (step % 100) / 100)
        keep(regions.set_mask(project, "brow_left", mask), autosave_place(project.path))


def test_a_crash_at_any_instant_leaves_a_whole_autosave(saved: Project) -> None:
    place = autosave_place(saved.path)
    keep(saved, place)
    for wait in (0.0, 0.011, 0.023, 0.037, 0.053):
        ready, tell = os.pipe()
        child = fork(lambda tell=tell: save_for_ever(saved, tell))
        assert os.read(ready, 5) == b"ready"
        time.sleep(wait)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        os.close(ready)
        os.close(tell)
        values = open_document(place).stored["masks/brow_left.npy"]
        assert np.ptp(values) == 0 or np.array_equal(values, saved.stored["masks/brow_left.npy"])
    keep(edited(saved), place)
    assert waiting(saved.path) is not None
    torn = [each for each in place.parent.iterdir() if each.suffix == ".part"]
    for each in torn:
        os.utime(each, (1000, 1000))
    forget(place)
    assert [each.name for each in place.parent.iterdir()] == ["clock.moue"]


def test_a_full_disk_is_one_line_and_the_old_autosave_stays(saved: Project) -> None:
    """The system itself refuses the write: the limit on the size of a file, half of what is needed."""
    place = autosave_place(saved.path)
    keep(edited(saved), place)
    held = place.read_bytes()
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (len(held) // 2, hard))
    try:
        with pytest.raises(MoueError, match="cannot be written") as told:
            keep(saved, place)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert len(str(told.value).splitlines()) == 1 and str(place.name) in str(told.value)
    assert place.read_bytes() == held
    assert sorted(p.name for p in place.parent.iterdir()) == [place.name, "clock.moue"]


@pytest.mark.parametrize("call", ["os.replace", "os.fsync", "os.open"])
def test_whatever_step_is_refused_the_old_autosave_stays(
    saved: Project, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    place = autosave_place(saved.path)
    keep(saved, place)
    held = place.read_bytes()

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(call, full)
        with pytest.raises(MoueError, match="No space left"):
            keep(edited(saved), place)
    assert place.read_bytes() == held


def test_a_copy_elsewhere_says_the_same_though_its_clips_lie_at_another_path(saved: Project, tmp_path: Path) -> None:
    (tmp_path / "talk.csv").write_text("time,lift\n0,0\n1,0.5\n")
    talking = saved.with_(clips=(Clip("talk", file="talk.csv"),))
    (tmp_path / "elsewhere").mkdir()
    save_document(talking, tmp_path / "elsewhere/copy.moue")
    assert says_the_same(open_document(tmp_path / "elsewhere/copy.moue"), talking)
    (tmp_path / "elsewhere/talk.csv").write_text("time,lift\n0,0\n1,1\n")
    assert not says_the_same(saved.with_(path=tmp_path / "elsewhere/copy.moue", clips=talking.clips), talking)
