"""Files of a head that go to another machine and come back."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.errors import MoueError
from composer.jobs.errand import Answer
from composer.jobs.job import RECORD, Job, JobHead
from composer.jobs.travel import brought_back, moved, parcel, put, under, unpack

NAMES = st.sampled_from(["fit/a.obj", "fit/deep/b.obj", "bake/c.obj", "face.png", RECORD])
FOLDERS = st.dictionaries(NAMES, st.binary(max_size=8), max_size=5)


def filled(folder: Path, files: dict[str, bytes]) -> None:
    for name, held in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(held)


def held_by(folder: Path) -> dict[str, bytes]:
    files = (file for file in folder.rglob("*") if file.is_file())
    return {file.relative_to(folder).as_posix(): file.read_bytes() for file in files}


@settings(max_examples=25)
@given(before=FOLDERS, after=FOLDERS)
def test_what_became_of_a_folder_elsewhere_becomes_of_it_here(
    tmp_path_factory: pytest.TempPathFactory, before: dict[str, bytes], after: dict[str, bytes]
) -> None:
    tmp_path = tmp_path_factory.mktemp("travel")
    head, root = JobHead("ferrier", tmp_path / "heads/ferrier"), tmp_path / "elsewhere"
    head.folder.mkdir(parents=True)
    filled(head.folder, before)
    sent = parcel(head)
    unpack(sent.files, root)
    there = moved(head, root).folder
    assert held_by(there) == before
    for name in held_by(there):
        (there / name).unlink()
    filled(there, after)
    there.mkdir(parents=True, exist_ok=True)
    files, gone = brought_back(there, sent.lay_there)
    assert all(before.get(name) != held for name, held in files.items())  # nothing travels twice
    put(head.folder, Answer(None, files, gone), sent.lay_there)
    assert held_by(head.folder) == after


def test_a_folder_that_was_changed_meanwhile_is_left_as_it_is(tmp_path: Path) -> None:
    head = JobHead("ferrier", tmp_path / "ferrier")
    filled(head.folder, {"bake/a.obj": b"1"})
    sent = parcel(head)
    filled(head.folder, {"bake/a.obj": b"by hand"})
    with pytest.raises(MoueError, match="changed while another machine"):
        put(head.folder, Answer(None, {"bake/a.obj": b"2"}), sent.lay_there)
    assert held_by(head.folder) == {"bake/a.obj": b"by hand"}


def test_absolute_places_lie_under_the_root_and_relative_ones_stay(tmp_path: Path) -> None:
    here, told = Path("/a/sculpt.obj"), {"fit": {"protect": "/a/mask.png", "level": 1}}
    head = JobHead("ferrier", Path("heads/ferrier"), here, like=(Path("like.obj"), here), settings=told)
    gone = moved(head, tmp_path)
    assert gone.sculpt == tmp_path / "a/sculpt.obj" == under(tmp_path, "/a/sculpt.obj")
    assert gone.like == (Path("like.obj"), gone.sculpt) and gone.folder == head.folder
    assert gone.settings == {"fit": {"protect": str(tmp_path / "a/mask.png"), "level": 1}}
    job = moved(Job(Path("/a/job.toml"), Path("/a/library"), ("fit",), (), Path("heads"), "cm"), tmp_path)
    assert job.library == tmp_path / "a/library" and job.together == Path("heads") and job.unit == "cm"
