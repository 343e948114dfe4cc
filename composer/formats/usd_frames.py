"""A clip as USD: a mesh whose points are those of every frame, and, where that says the same, weights of blend shapes.

Specification: OpenUSD, "UsdGeomPointBased" (time samples of `points`, `normals` and `extent`; straight between them),
"UsdSkel: Animation Schema" (time samples of `blendShapeWeights`), "UsdStage" (`timeCodesPerSecond`).

The mesh `frames` is what is rendered, exact at every frame. The mesh under `weights` plays the same by blend shapes; it
has the purpose guide, so that a renderer does not show both.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from pxr import Sdf, Usd, UsdGeom, UsdSkel, Vt

from composer.formats.mesh import Mesh
from composer.formats.usd_write import (
    Names,
    add_groups,
    add_materials,
    add_mesh,
    add_skel,
    floats,
    new_stage,
    normals_of,
    write_made,
)


@dataclass(frozen=True, eq=False)
class Motion:
    """`frames`, f arrays (n, 3) in a mesh's unit, at `times` (f,) seconds, `fps` a second; `weights` (f, s) of the
    mesh's shapes, or None where shapes do not say the same."""

    name: str
    frames: Iterable[NDArray]
    times: NDArray
    fps: float
    weights: NDArray | None = None


def write_motion(path: Path, mesh: Mesh, motion: Motion) -> tuple[str, ...]:
    """Write a mesh and its motion, completely or not at all; return notes on losses. Raises MoueError on failure."""
    notes: list[str] = []
    return write_made(path, mesh, notes, lambda: _stage(mesh, motion, notes))


def _stage(mesh: Mesh, motion: Motion, notes: list[str]) -> Usd.Stage:
    stage = new_stage(mesh)
    codes = [float(time) * motion.fps for time in motion.times]
    stage.SetTimeCodesPerSecond(motion.fps)
    stage.SetFramesPerSecond(motion.fps)
    stage.SetStartTimeCode(codes[0])
    stage.SetEndTimeCode(codes[-1])
    names = Names()
    root = Sdf.Path.absoluteRootPath.AppendChild(names.of(motion.name or "clip", ""))
    prim = UsdGeom.Xform.Define(stage, root).GetPrim()
    stage.SetDefaultPrim(prim)
    Usd.ModelAPI(prim).SetKind("component")
    if motion.name and motion.name != root.name:
        prim.SetDisplayName(motion.name)
    frames = add_mesh(stage, root.AppendChild("frames"), mesh, notes)
    add_groups(frames, mesh, names)
    add_materials(stage, frames, root.AppendChild("materials"), mesh, names)
    points, normals, extent = frames.GetPointsAttr(), frames.GetNormalsAttr(), frames.GetExtentAttr()
    for code, frame in zip(codes, motion.frames, strict=True):
        placed = np.asarray(frame, dtype=np.float64)
        rounded = placed.astype(np.float32)
        points.Set(floats(rounded), code)
        normals.Set(floats(normals_of(mesh, placed)), code)
        extent.Set(floats(np.stack([rounded.min(axis=0), rounded.max(axis=0)])), code)
    if motion.weights is not None and mesh.shapes:
        _weights(stage, root.AppendChild("weights"), mesh, codes, motion.weights)
    return stage


def _weights(stage: Usd.Stage, root: Sdf.Path, mesh: Mesh, codes: list[float], weights: NDArray) -> None:
    """The mesh again, as blend shapes with weights over time."""
    skel = UsdSkel.Root.Define(stage, root)
    UsdGeom.Imageable(skel.GetPrim()).CreatePurposeAttr(UsdGeom.Tokens.guide)
    plain = replace(mesh, groups={}, materials={})
    written = add_mesh(stage, root.AppendChild("mesh"), plain, [])
    animation = add_skel(stage, root, written, plain, Names())
    attribute = animation.GetBlendShapeWeightsAttr()
    for code, row in zip(codes, weights, strict=True):
        attribute.Set(Vt.FloatArray.FromNumpy(np.ascontiguousarray(row, dtype=np.float32)), code)
