"""Large arrays laid aside: the same values, read only, backed by a file that is gone when they are."""

from __future__ import annotations

import gc
import os
import sys
from pathlib import Path

import numpy as np
import pytest

from composer.head import aside as module
from composer.head.aside import LEAST_BYTES, aside, lies_aside


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("MOUE_ASIDE", str(tmp_path / "aside"))
    module._folder.cache_clear()
    return tmp_path / "aside"


def large() -> np.ndarray:
    return np.random.default_rng(1).normal(size=(LEAST_BYTES // 12 + 7, 3)).astype(np.float32)


def test_the_values_are_the_same_and_read_only(folder: Path) -> None:
    values = large()
    kept = aside(values)
    assert lies_aside(kept) and not lies_aside(values) and kept.dtype == values.dtype
    np.testing.assert_array_equal(kept, values)
    assert not kept.flags.writeable and aside(kept) is kept and lies_aside(kept[10:20, 1])
    np.testing.assert_array_equal(aside(np.asfortranarray(values)), values)
    assert list(folder.iterdir()) == []  # no name is left for a killed process to leave


def test_small_arrays_stay_where_they_are(folder: Path) -> None:
    small = np.zeros((9, 3), dtype=np.float32)
    assert aside(small) is small


def test_where_no_file_can_be_written_the_array_itself_is_given(monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    values = large()
    monkeypatch.setattr(module.tempfile, "TemporaryFile", full)
    assert aside(values) is values


@pytest.mark.skipif(sys.platform != "linux", reason="maps are listed by /proc")
def test_the_file_goes_with_the_last_array_that_uses_it(folder: Path) -> None:
    def maps() -> int:
        return Path(f"/proc/{os.getpid()}/maps").read_text().count(str(folder))

    before = maps()
    kept = aside(large())
    part = kept[5:9]
    del kept
    gc.collect()
    assert maps() == before + 1
    del part
    gc.collect()
    assert maps() == before
