"""NPZ of a clip: the vertices of every frame as plain arrays, for programs that compute.

Specification: numpy, "numpy.lib.format" (NEP 1), arrays in a zip. Members:

    frames (f, n, 3)  times (f,) seconds  fps ()  unit () text  neutral (n, 3)  counts (p,)  indices (k,)
    cells (c,) text  weights (f, c)

All positions are float64 in `unit`; `cells` are `shape`, `region/shape`, with ` mirrored` behind where it is.

A file of another program may hold nothing but positions: the one array (f, n, 3) of floats in it is taken, with `times`
and `unit` where they are there. It says nothing of polygons, so whoever reads it says whose they are.
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

    mesh = Mesh(polygons, neutral, unit=unit, name=path.stem, path=path)
    return mesh, times, lambda: _frames(path, "frames", len(times), len(neutral))


def open_bare_frames(
    path: Path, face: Mesh
) -> tuple[Mesh, NDArray[np.float64] | None, Callable[[], Iterator[NDArray[np.float64]]], int]:
    """The same of a file that holds no polygons: they are those of `face`. The times are None where it has none; the
    last is the number of frames. Raises MoueError where it holds no array (f, n, 3) of the face's vertices, or
    several."""
    with opened(path, ()) as members:
        solid = [name for name, (shape, kind) in members.headers.items()
                 if len(shape) == 3 and shape[2] == 3 and kind.kind == "f"]  # fmt: skip
        named = ["frames"] if "frames" in solid else solid
        if len(named) != 1:
            what = f"holds {len(named)} arrays of frames: {', '.join(named[:3])}" if named else "holds no frames"
            raise MoueError(what, path, hint="give one array (frames, vertices, 3) of floats")
        count = members.headers[named[0]][0][0]
        times = members.array("times", "fiu", (count,)).astype(np.float64) if "times" in members.headers else None
        _check_frames(members, path, count, face.n_vertices, named[0])
        mesh = Mesh(face.polygons, face.positions, unit=members.unit(), name=path.stem, path=path)
    return mesh, times, lambda: _frames(path, named[0], count, face.n_vertices), count


def _frames(path: Path, name: str, count: int, n: int) -> Iterator[NDArray[np.float64]]:
    """The vertices of every frame, one in memory at a time."""
    with opened(path, (name,)) as members, members.archive.open(f"{name}.npy") as member:
        _, _, kind = npy_header(member, path, repr(name))
        size = n * 3 * kind.itemsize
        for number in range(count):
            held = member.read(size)
            if len(held) != size:
                raise MoueError(f"ends within frame {number}", path, hint="the file is cut short")
            yield np.frombuffer(held, dtype=kind).reshape(-1, 3).astype(np.float64)


def _check_frames(members: Members, path: Path, count: int, n: int, name: str = "frames") -> None:
    shape, kind = members.headers[name]
    if shape != (count, n, 3) or kind.kind != "f":
        got = " x ".join(map(str, shape)) or "one value"
        raise MoueError(f"{name!r} is {got} {kind}, not {count} x {n} x 3 floats: two topologies", path)
    with members.archive.open(f"{name}.npy") as member:
        if npy_header(member, path, repr(name))[1]:
            raise MoueError(f"{name!r} is in Fortran's order", path, hint="save it as np.ascontiguousarray gives it")


def is_bare(path: Path) -> bool:
    """Whether an NPZ file says nothing of polygons."""
    with opened(path, ()) as members:
        return "counts" not in members.headers and "indices" not in members.headers


def _info(name: str) -> zipfile.ZipInfo:
    return zipfile.ZipInfo(name + ".npy")  # dated 1980, as a zip without a date is
