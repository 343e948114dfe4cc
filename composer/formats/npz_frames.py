"""NPZ of a clip: the vertices of every frame as plain arrays, for programs that compute.

Specification: numpy, "numpy.lib.format" (NEP 1), arrays in a zip. Members:

    frames (f, n, 3)  times (f,) seconds  fps ()  unit () text  neutral (n, 3)  counts (p,)  indices (k,)
    cells (c,) text  weights (f, c)

All positions are float64 in `unit`; `cells` are `shape`, `region/shape`, with ` mirrored` behind where it is.
"""

from __future__ import annotations

import zipfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import IO

import numpy as np
from numpy.lib import format as npy
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.formats.limits import check_positions
from composer.formats.mesh import Mesh
from composer.formats.npy import read_header as npy_header
from composer.formats.npz import Members, opened
from composer.head.atomic import write_whole

REQUIRED = ("frames", "times", "neutral", "counts", "indices")


def write_frames(
    path: Path, mesh: Mesh, frames: Iterable[NDArray], times: NDArray, fps: float, cells: Sequence[str],
    weights: NDArray,
) -> None:  # fmt: skip
    """Write `frames`, f arrays (n, 3) in the unit and axes of `mesh`, one after the other, so that memory holds one.

    `times` (f,) are seconds, `weights` (f, c) those of `cells`. The same frames give the same bytes. Raises MoueError
    where the file cannot be written; it is whole or not there.
    """
    arrays = {
        "times": np.asarray(times, dtype=np.float64), "fps": np.array(float(fps)), "unit": np.array(mesh.unit or "mm"),
        "neutral": mesh.positions, "counts": mesh.polygons.counts, "indices": mesh.polygons.indices,
        "cells": np.array(list(cells), dtype=np.str_), "weights": np.asarray(weights, dtype=np.float64),
    }  # fmt: skip

    def fill(file: IO[bytes]) -> None:
        with zipfile.ZipFile(file, "w", zipfile.ZIP_STORED) as archive:
            for name, array in arrays.items():
                with archive.open(_info(name), "w", force_zip64=True) as member:
                    npy.write_array(member, np.ascontiguousarray(array) if array.ndim else array, allow_pickle=False)
            with archive.open(_info("frames"), "w", force_zip64=True) as member:
                shape = (len(times), mesh.n_vertices, 3)
                npy.write_array_header_1_0(member, {"descr": "<f8", "fortran_order": False, "shape": shape})
                for frame in frames:
                    member.write(np.ascontiguousarray(frame, dtype="<f8").reshape(-1).view(np.uint8))

    write_whole(path, fill, sync=False)


def open_frames(path: Path) -> tuple[Mesh, NDArray[np.float64], Callable[[], Iterator[NDArray[np.float64]]]]:
    """The mesh at rest in such a file, the times (f,) of its frames in seconds, and what gives their vertices (n, 3) in
    order, one in memory at a time. Raises MoueError for a file that cannot be used."""
    with opened(path, REQUIRED) as members:
        neutral = members.array("neutral", "fiu", (None, 3)).astype(np.float64)
        check_positions(neutral, path)
        times = members.array("times", "fiu", (None,)).astype(np.float64)
        polygons, unit = members.polygons(len(neutral)), members.unit()
        _check_frames(members, path, len(times), len(neutral))

    def read() -> Iterator[NDArray[np.float64]]:
        with opened(path, REQUIRED) as members, members.archive.open("frames.npy") as member:
            _, _, kind = npy_header(member, path, "'frames'")
            size = len(neutral) * 3 * kind.itemsize
            for number in range(len(times)):
                held = member.read(size)
                if len(held) != size:
                    raise MoueError(f"ends within frame {number}", path, hint="the file is cut short")
                yield np.frombuffer(held, dtype=kind).reshape(-1, 3).astype(np.float64)

    return Mesh(polygons, neutral, unit=unit, name=path.stem, path=path), times, read


def _check_frames(members: Members, path: Path, count: int, n: int) -> None:
    shape, kind = members.headers["frames"]
    if shape != (count, n, 3) or kind.kind != "f":
        got = " x ".join(map(str, shape)) or "one value"
        raise MoueError(f"'frames' is {got} {kind}, not {count} x {n} x 3 float64: two topologies", path)
    with members.archive.open("frames.npy") as member:
        if npy_header(member, path, "'frames'")[1]:
            raise MoueError("'frames' is in Fortran's order", path, hint="save it as np.ascontiguousarray gives it")


def _info(name: str) -> zipfile.ZipInfo:
    return zipfile.ZipInfo(name + ".npy")  # dated 1980, as a zip without a date is
