"""What a cluster costs beside the work: many tiny heads on workers of this machine.

Run as `python -m composer.bench.cluster_overhead [--heads 2000] [--workers 2]`; needs the extra `cluster`. Each head is
a sphere of 162 vertices, fitted already, that gets a library of two shapes. The overhead of a head is the time that its
share of a worker was held less the time in its steps: sending it, its process, looking at what is done, its lock.
"""

from __future__ import annotations

import argparse
import json
import tempfile
import time
from pathlib import Path

import numpy as np
import trimesh

from composer.formats.mesh import Mesh
from composer.formats.obj import write
from composer.geometry.polygons import Polygons
from composer.jobs.job_file import read_job
from composer.jobs.result import HeadResult
from composer.jobs.run_job import run_job
from composer.progress import Progress

TEXT = """moue_job = 1
library = "library"
unit = "mm"
neutral = "neutral"
steps = ["carry"]
to = "made/{name}"
[defaults]
carry = { fitted_unit = "mm" }
"""


def tiny_job(folder: Path, heads: int) -> Path:
    """A job of so many tiny heads in `folder`."""
    sphere = trimesh.creation.icosphere(subdivisions=2, radius=100.0)
    points, polygons = np.asarray(sphere.vertices), Polygons.from_faces(sphere.faces.tolist(), len(sphere.vertices))
    (folder / "library").mkdir()
    for name, moved in (
        ("neutral", points),
        ("up", points + [0.0, 5.0, 0.0] * (points[:, 1:2] > 40.0)),
        ("out", points * np.where(points[:, :1] > 40.0, 1.1, 1.0)),
    ):
        write(folder / "library" / f"{name}.obj", Mesh(polygons, moved))
    write(folder / "new.obj", Mesh(polygons, points * [1.0, 1.2, 0.9]))
    rows = "".join(f'[[head]]\nname = "head_{number:05}"\nfitted = "new.obj"\n' for number in range(heads))
    file = folder / "job.toml"
    file.write_text(TEXT + rows)
    return file


def overhead(heads: int, workers: int, address: str | None, say: Progress | None = None) -> dict[str, float]:
    """Milliseconds a head: `all` of it, in its `steps`, and beside them (`beside`); `failed` heads.

    `address` is that of a scheduler with so many workers; None: on this machine.
    """
    with tempfile.TemporaryDirectory() as place:
        job = read_job(tiny_job(Path(place), heads))
        ends = list[float]()

        def told(result: HeadResult) -> None:
            ends.append(time.monotonic())

        results = run_job(job, workers, say, told, address)
        rest = results[workers:]
        held = (ends[-1] - ends[workers - 1]) * workers / len(rest)
        steps = sum(sum(each.seconds.values()) for each in rest) / len(rest)
        failed = sum(each.kind == "failed" for each in results)
    return {"all": 1e3 * held, "steps": 1e3 * steps, "beside": 1e3 * (held - steps), "failed": failed}


def main() -> None:
    """Print the overhead on this machine alone and on a cluster of it, as JSON."""
    from distributed import Client, LocalCluster

    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--heads", type=int, default=2000)
    asked.add_argument("--workers", type=int, default=2)
    words = asked.parse_args()
    alone = overhead(words.heads, words.workers, None)
    with LocalCluster(n_workers=words.workers, threads_per_worker=1, dashboard_address=None) as cluster:
        with Client(cluster) as client:
            client.wait_for_workers(words.workers)
        spread = overhead(words.heads, words.workers, cluster.scheduler_address)
    print(json.dumps({"heads": words.heads, "this machine": alone, "cluster": spread}, indent=1))  # noqa: T201


if __name__ == "__main__":
    main()
