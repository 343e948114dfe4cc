"""Frames from USD: the points of every rendered mesh at each time sample, as one mesh over time, part by part.

Specification: OpenUSD, "UsdGeomPointBased" (time samples of `points`; straight between them), "UsdStage"
(`timeCodesPerSecond`, 24 where it is not said; `Export`, which flattens).

A binary file gives each sample by itself, so memory holds one part of the frames however many there are. USD's reader
of text holds all of a file, so a large text is first brought into a binary file aside, in the separate process.
"""

from __future__ import annotations

import shutil
import tempfile
import weakref
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.formats.mesh import Mesh

if TYPE_CHECKING:
    from composer.formats.usd_stage import Stage

PART_BYTES = 8 * 2**20
"""Frames come in parts of at most so many bytes, at least one frame (our choice: the way from the separate process
holds a part some three times)."""
MOST_TEXT = 8 * 2**20
"""Text of up to so many bytes is read as it is (our choice)."""


@dataclass(frozen=True, eq=False)
class PointsPart:
    """The vertices of some `frames`, each (n, 3), of a stage that has samples at the time `codes` (f,), of which
    `second` make a second; `mesh` beside the first part, None beside others."""

    mesh: Mesh | None
    codes: list[float]
    second: float
    frames: list[NDArray[np.float32]]


class UsdPoints:
    """The `mesh` of the stage at `path`, the `times` (f,) of its samples in seconds, and its vertices at each."""

    def __init__(self, path: Path) -> None:
        """Raises MoueError where the file cannot be used, or its points do not change over time."""
        from composer.formats.usd_apart import alone, binary_apart, is_text

        self.path, self._at, self._here = path, path, alone(path)
        if is_text(path) and path.stat().st_size > MOST_TEXT:
            folder = tempfile.mkdtemp(prefix="moue-usd-")
            weakref.finalize(self, shutil.rmtree, folder, ignore_errors=True)
            self._at, self._here = Path(folder) / "points.usdc", False
            binary_apart(path, self._at)
        self._first = self._part(0)
        assert self._first.mesh is not None
        self.mesh = replace(self._first.mesh, name=path.stem, path=path)
        self.times: NDArray[np.float64] = np.array(self._first.codes, dtype=np.float64) / self._first.second

    def frames(self) -> Iterator[NDArray[np.float64]]:
        """The vertices (n, 3) of each sample, in order, in the unit and axes of `mesh`. Raises MoueError at one that
        cannot be used."""
        codes, number, part = self._first.codes, 0, self._first
        while True:
            for code, frame in zip(codes[number:], part.frames, strict=False):
                if len(frame) != self.mesh.n_vertices:
                    what = f"has {len(frame):,} vertices at time code {code:g}, {self.mesh.n_vertices:,} at its first"
                    hint = "all frames of a sequence need one topology"
                    raise MoueError(f"{what}: two topologies", self.path, hint=hint)
                yield frame.astype(np.float64)
            number += len(part.frames)
            if number >= len(codes):
                return
            part = self._first  # the part before is let go while the next comes
            part = self._part(number)
            if not part.frames or part.codes != codes:
                raise MoueError("has changed while it was read", self.path, hint="read it again")

    def _part(self, first: int) -> PointsPart:
        from composer.formats.usd_apart import points_apart

        try:
            return (read_stage_points if self._here else points_apart)(self._at, first, PART_BYTES)
        except MoueError as error:
            if error.where != self._at:
                raise
            raise MoueError(error.what, self.path, error.line, error.hint) from None


def read_stage_points(path: Path, first: int, most: int) -> PointsPart:
    """The frames from number `first` on that take `most` bytes, at least one, in this process, which a damaged binary
    file can end. Raises MoueError as `UsdPoints`."""
    from composer.formats.usd_read import meshes_at, read_opened
    from composer.formats.usd_stage import open_stage

    with open_stage(path) as stage:
        codes = _codes(stage)
        second = float(stage.stage.GetTimeCodesPerSecond())
        if not 1e-6 < second < 1e9:
            raise stage.wrong(f"has {second:g} time codes a second")
        mesh = None if first else read_opened(stage)
        frames: list[NDArray[np.float32]] = []
        held = 0
        for code in codes[first:]:
            with np.errstate(over="ignore", invalid="ignore"):  # what is not finite is told with its frame
                frames.append(meshes_at(stage, code).astype(np.float32))
            held += frames[-1].nbytes
            if held + frames[-1].nbytes > most:
                break
        return PointsPart(mesh, codes, second, frames)


def write_binary(path: Path, target: Path) -> None:
    """Write the stage at `path` to `target` as one binary file. Raises MoueError where either cannot be."""
    from pxr import Tf

    from composer.formats.usd_stage import open_stage, reason

    with open_stage(path) as stage:
        try:
            written = stage.stage.Export(str(target))
        except Tf.ErrorException as error:
            raise stage.wrong(f"cannot be brought into binary ({reason(error)})", hint="export it as .usdc") from None
        if not written:
            raise stage.wrong("cannot be brought into binary", hint="export it as .usdc")


def _codes(stage: Stage) -> list[float]:
    """The time codes at which points of any mesh are given, rising."""
    from pxr import UsdGeom

    from composer.formats.usd_read import rendered

    codes: set[float] = set()
    for prim in rendered(stage, []):
        codes |= set(UsdGeom.Mesh(prim).GetPointsAttr().GetTimeSamples())
    if not codes:
        raise stage.wrong("holds no points over time", hint="export the vertices of every frame along")
    return sorted(codes)
