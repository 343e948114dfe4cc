"""The parts of a job that decide what is done again, how much memory there is, and how long it takes."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.errors import MoueError
from composer.jobs.content import content, document_content
from composer.jobs.estimate import Estimate, Size
from composer.jobs.free_memory import free_bytes
from composer.jobs.job import RECORD, JobHead
from composer.jobs.record import Done, Found, read_record, write_record
from composer.jobs.words import lasting

NAMES = st.text("abc", min_size=1, max_size=4)


@settings(max_examples=30)
@given(st.dictionaries(NAMES, st.binary(max_size=20), min_size=1, max_size=5), st.data())
def test_the_content_of_a_folder_changes_with_any_name_or_byte_and_with_nothing_else(
    tmp_path_factory: pytest.TempPathFactory, files: dict[str, bytes], data: st.DataObject
) -> None:
    folder = tmp_path_factory.mktemp("content")
    for name, held in files.items():
        (folder / name).write_bytes(held)
    before = content(folder)
    (folder / ".hidden").write_bytes(b"x")
    os.utime(folder / next(iter(files)), (0, 0))
    assert content(folder) == before
    name = data.draw(st.sampled_from(sorted(files)))
    if data.draw(st.booleans()):
        (folder / name).write_bytes(files[name] + b"!")
    else:
        (folder / name).rename(folder / f"{name}x_")
    assert content(folder) != before


def test_the_content_of_a_document_is_that_of_all_that_it_names(tmp_path: Path) -> None:
    head = tmp_path / "library"
    (head / "more").mkdir(parents=True)
    document, mask, other = tmp_path / "document.toml", tmp_path / "brow.npy", tmp_path / "other.npy"
    for file in (head / "more/a.obj", mask, other):
        file.write_bytes(b"1")
    text = 'moue = 1\n[regions.brow]\nfile = "brow.npy"\n[recipes.doubt]\nnote = "../up / down"\n'
    document.write_text(text)
    before = document_content(document, head, text)
    other.write_bytes(b"2")
    assert document_content(document, head, text) == before
    for file in (mask, head / "more/a.obj"):
        file.write_bytes(b"2")
        assert document_content(document, head, text) != before
        file.write_bytes(b"1")


def test_a_record_comes_back_and_a_damaged_one_means_that_nothing_is_done(tmp_path: Path) -> None:
    (tmp_path / "sheet.png").write_bytes(b"picture")
    done = Done("from", {"sheet.png": content(tmp_path / "sheet.png")}, (Found("error", "wink", "a fold", "mend it"),))
    write_record(tmp_path, {"sheet": done})
    assert read_record(tmp_path) == {"sheet": done} and done.still_there(tmp_path) and done.errors == 1
    (tmp_path / "sheet.png").write_bytes(b"changed")
    assert not done.still_there(tmp_path)
    (tmp_path / "sheet.png").unlink()
    assert not done.still_there(tmp_path)
    for damage in ("", "{}", '{"steps": {"sheet": 3}}', '{"steps": {"sheet": {"files": []}}}', "[" * 9999):
        (tmp_path / RECORD).write_text(damage)
        assert read_record(tmp_path) == {}


@pytest.mark.parametrize(
    ("meminfo", "most", "used", "free"),
    [
        ("MemTotal: 9 kB\nMemAvailable:    1000 kB\n", None, None, 1_024_000),
        ("MemAvailable: 1000 kB\n", "max", "5", 1_024_000),
        ("MemAvailable: 1000 kB\n", "24000", "4000", 20_000),
        ("MemAvailable: 1000 kB\n", "100", "4000", 0),
        (None, None, None, None),
    ],
)
def test_free_memory_is_what_the_system_and_the_container_leave(
    tmp_path: Path, meminfo: str | None, most: str | None, used: str | None, free: int | None
) -> None:
    for name, text in (("meminfo", meminfo), ("memory.max", most), ("memory.current", used)):
        if text is not None:
            (tmp_path / name).write_text(text)
    assert free_bytes(tmp_path / "meminfo", tmp_path) == free


@given(st.floats(0.1, 1e4), st.integers(100, 10**6), st.integers(0, 300))
def test_an_estimate_learns_from_heads_that_are_done(took: float, vertices: int, shapes: int) -> None:
    estimate, head = Estimate(Size(vertices, shapes, 4)), JobHead("a", Path("a"))
    first = estimate.seconds(head, "check")
    assert first > 0.0 and estimate.bytes > 0
    estimate.learn(head, {"carry": took})
    assert estimate.seconds(head, "carry") == pytest.approx(took)
    assert estimate.seconds(head, "check") == first


def test_a_finer_level_takes_longer() -> None:
    estimate = Estimate(Size(20_000, 50, 4))
    seconds = [estimate.seconds(JobHead("a", Path("a"), settings={"bake": {"level": k}}), "bake") for k in range(4)]
    assert seconds == sorted(seconds) and seconds[3] > 30 * seconds[0]
    assert lasting(0.0) == "about 10 s"


def test_what_cannot_be_read_says_so(tmp_path: Path) -> None:
    with pytest.raises(MoueError, match="cannot be read"):
        content(tmp_path / "nothing")
