"""USD: one mesh with its shapes as UsdSkel blend shapes, in-betweens included; .usd, .usda, .usdc and .usdz.

Specification: OpenUSD (openusd.org/release/api), "UsdGeomMesh", "UsdGeomSubset", "UsdGeomPrimvar", "UsdSkel: Blend
Shape Schema" (P' = P + sum of w_i b_i; in-betweens piecewise linear, the shapes at 0 and 1 implied; `pointIndices`
shared by a shape and its in-betweens).

Kept: polygons of any size and their order, vertex order, shapes and in-betweens by name, the unit (`metersPerUnit`),
texture coordinates (`primvars:st`, one a corner), groups and materials by name (GeomSubsets), vertex colours.
Positions and displacements are float32. Normals are written and not read.
Lost: objects, material files, what a material looks like, corners without a texture coordinate (they get 0, 0).
Read: every mesh of the stage that is rendered, at its place in the stage, at its earliest time; references and
payloads; a stage with Z up is turned. Not read: skins (bones), instancers, subdivision and creases. `usd_weights.py`
reads animated weights, `usd_frames.py` writes clips.
"""

from __future__ import annotations

from pathlib import Path

from composer.formats.arrival import UNSEEN, Arrival
from composer.formats.mesh import Mesh


def read(path: Path, told: Arrival = UNSEEN) -> Mesh:
    """The meshes of a USD stage as one, in the stage's unit, the neutral `told` first. Raises MoueError for what cannot
    be used."""
    from composer.formats.usd_apart import alone, read_apart

    if not alone(path := Path(path)):
        return read_apart(path, told)
    from composer.formats.usd_read import read_stage

    return read_stage(path, told)


def write(path: Path, mesh: Mesh) -> tuple[str, ...]:
    """Write a mesh in the form of the suffix (.usd is binary); return notes on what was left out. Raises MoueError
    where it cannot be written.
    """
    from composer.formats.usd_write import write_stage

    return write_stage(Path(path), mesh)
