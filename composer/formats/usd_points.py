"""Frames from USD: the points of every rendered mesh at each time sample, as one mesh over time.

Specification: OpenUSD, "UsdGeomPointBased" (time samples of `points`; straight between them) and "UsdStage"
(`timeCodesPerSecond`, 24 where it is not said).
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from composer.formats.mesh import Mesh

if TYPE_CHECKING:
    from composer.formats.usd_stage import Stage

Points = tuple[Mesh, NDArray[np.float64], list[NDArray[np.float32]]]
MOST_BYTES = 8 * 2**30
"""The most that all points together may take (our choice)."""


def read_usd_points(path: Path) -> Points:
    """The mesh of a stage, the times (f,) of its samples in seconds, and its vertices (n, 3) at each.

    Raises MoueError where the file cannot be used, its points do not change over time, or change their number.
    """
    from composer.formats.usd_apart import alone, points_apart

    return read_stage_points(path) if alone(path) else points_apart(path)


def read_stage_points(path: Path) -> Points:
    """The same in this process, which a damaged binary file can end."""
    from composer.formats.usd_read import meshes_at, read_opened
    from composer.formats.usd_stage import open_stage

    with open_stage(path) as stage:
        codes = _codes(stage)
        second = float(stage.stage.GetTimeCodesPerSecond())
        if not 1e-6 < second < 1e9:
            raise stage.wrong(f"has {second:g} time codes a second")
        mesh = read_opened(stage)
        if len(codes) * mesh.positions.nbytes // 2 > MOST_BYTES:
            raise stage.wrong(f"has {len(codes):,} frames of {mesh.n_vertices:,} vertices", hint="give fewer at once")
        frames = []
        for code in codes:
            points = meshes_at(stage, code)
            if len(points) != mesh.n_vertices:
                what = f"has {len(points):,} vertices at time code {code:g}, {mesh.n_vertices:,} at its first"
                raise stage.wrong(f"{what}: two topologies", hint="all frames of a sequence need one topology")
            frames.append(points.astype(np.float32))
        return mesh, np.array(codes, dtype=np.float64) / second, frames


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
