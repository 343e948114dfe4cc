"""NPZ of a clip: the vertices of every frame as plain arrays, for programs that compute.

Specification: numpy, "numpy.lib.format" (NEP 1), arrays in a zip. Members:

    frames (f, n, 3)  times (f,) seconds  fps ()  unit () text  neutral (n, 3)  counts (p,)  indices (k,)
    cells (c,) text  weights (f, c)

All positions are float64 in `unit`; `cells` are `shape`, `region/shape`, with ` mirrored` behind where it is.
"""

from __future__ import annotations

import zipfile
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import IO

import numpy as np
from numpy.lib import format as npy
from numpy.typing import NDArray

from composer.formats.mesh import Mesh
from composer.head.atomic import write_whole


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


def _info(name: str) -> zipfile.ZipInfo:
    return zipfile.ZipInfo(name + ".npy")  # dated 1980, as a zip without a date is
