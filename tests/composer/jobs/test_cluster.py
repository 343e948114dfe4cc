"""`moue run --cluster`: heads on the workers of a real dask.distributed scheduler give the bytes of one machine."""

from __future__ import annotations

import os
import signal
import threading
import time
from pathlib import Path

import pytest

from tests.composer.jobs.cluster_at_hand import can_hide, cluster, until
from tests.composer.jobs.test_run import HEADS, folder, job, moue, tree

__all__ = ["folder"]
STEPS = '"carry", "bake"'
FOUR = {f"{name}_{number}": file for number in range(2) for name, file in HEADS.items()}


def pages_apart(made: dict[str, bytes], name: str) -> dict[str, bytes]:
    """The files of a job, where its own name does not count."""
    page = made.pop(f"{name}.html").replace(name.encode(), b"")
    return made | {"page": page}


def test_a_lost_worker_a_slow_one_and_one_without_the_storage_give_the_bytes_of_one_machine(
    folder: Path, tmp_path_factory: pytest.TempPathFactory, capsys: pytest.CaptureFixture[str]
) -> None:
    calm, spread, far = (job(folder, name, FOUR, STEPS) for name in ("calm", "spread", "far"))
    moue("run", calm, "--workers", "2")
    expected = pages_apart(tree(folder / "calm"), "calm")
    place = tmp_path_factory.mktemp("cluster")
    with cluster(place) as made:
        doomed, slow = made.worker(), made.worker()

        def lose_one_and_slow_the_other() -> None:
            until(lambda: list((folder / "spread").glob("*/moue-job.json")), "no head is done")
            os.killpg(doomed.pid, signal.SIGKILL)
            os.killpg(slow.pid, signal.SIGSTOP)
            time.sleep(1.0)
            os.killpg(slow.pid, signal.SIGCONT)

        harm = threading.Thread(target=lose_one_and_slow_the_other)
        harm.start()
        moue("run", spread, "--cluster", made.address)
        harm.join()
        assert doomed.poll() is not None and "4 heads: 4 done" in capsys.readouterr().out
        assert pages_apart(tree(folder / "spread"), "spread") == expected
        assert not list((folder / "spread").glob(".moue-*"))

        if not can_hide(folder):
            pytest.skip("LEFT OUT: this system hides no folder from a process; files that travel are not tested")
        os.killpg(slow.pid, signal.SIGKILL)
        made.worker(without=folder)
        moue("run", far, "--cluster", made.file)
        assert "4 heads: 4 done" in capsys.readouterr().out
        assert pages_apart(tree(folder / "far"), "far") == expected

        (folder / "far/ferrier_0/bake/doubt.ply").write_bytes(b"changed by hand")
        (folder / "far/bellringer_1/moue-job.json").unlink()
        moue("run", far, "--cluster", made.file, code=1)
        told = capsys.readouterr().out
        assert "ferrier_0: failed at bake" in told and "dask" not in told and "1 failed, 1 done, 2 unchanged" in told
        assert (folder / "far/ferrier_0/bake/doubt.ply").read_bytes() == b"changed by hand"


def test_no_scheduler_and_no_worker_are_one_line(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = job(folder, "none", HEADS)
    for address, words in (
        ("tcp://127.0.0.1:9", "no scheduler answers at tcp://127.0.0.1:9"),
        ("moon", "no scheduler answers at moon"),
        ("nowhere.json", "nowhere.json"),
    ):
        moue("run", file, "--cluster", address, code=2)
        assert words in (said := capsys.readouterr().err) and said.count("\n") == 1, said
    moue("run", file, "--cluster", "tcp://127.0.0.1:9", "--workers", "2", code=2)
    assert "--workers is for this machine" in capsys.readouterr().err
    assert not (folder / "none").exists() or not list((folder / "none").iterdir())
