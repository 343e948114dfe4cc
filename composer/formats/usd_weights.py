"""Weights over time in USD: the blend-shape weights of a stage's skeletal animation.

Specification: OpenUSD, "UsdSkel: Animation Schema" (`blendShapes` names, `blendShapeWeights` a value a name at each
time sample; values between samples are linear) and "UsdStage" (`timeCodesPerSecond`, 24 where it is not said).
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from composer.errors import shorten
from composer.formats.weight_track import WeightTrack

if TYPE_CHECKING:
    from composer.formats.usd_stage import Stage


def read_usd_weights(path: Path) -> list[WeightTrack]:
    """The weights of the first animation in a stage that has any over time, a track a blend shape by its name.

    Raises MoueError where the file cannot be used, or animates no weights.
    """
    from composer.formats.usd_apart import alone, weights_apart

    return read_stage_weights(path) if alone(path) else weights_apart(path)


def read_stage_weights(path: Path) -> list[WeightTrack]:
    """The same in this process, which a damaged binary file can end."""
    from composer.formats.usd_stage import open_stage

    with open_stage(path) as stage:
        return _read(stage)


def _read(stage: Stage) -> list[WeightTrack]:
    from pxr import UsdSkel

    second = float(stage.stage.GetTimeCodesPerSecond())
    if not 1e-6 < second < 1e9:
        raise stage.wrong(f"has {second:g} time codes a second")
    for prim in stage.stage.Traverse():
        if not prim.IsA(UsdSkel.Animation):
            continue
        animation = UsdSkel.Animation(prim)
        names = [str(name) for name in animation.GetBlendShapesAttr().Get() or []]
        attribute = animation.GetBlendShapeWeightsAttr()
        codes = attribute.GetTimeSamples()
        if not names or not codes:
            continue
        rows = []
        for code in codes:
            row = np.array(attribute.Get(code), dtype=np.float64)
            if row.shape != (len(names),) or not np.isfinite(row).all():
                raise stage.wrong(f"has {row.size} weights for {len(names)} blend shapes at {code:g}", prim)
            rows.append(row)
        if len(set(names)) < len(names):
            twice = next(name for name in names if names.count(name) > 1)
            raise stage.wrong(f"has two blend shapes named {shorten(repr(twice), 40)}", prim)
        times, table = np.array(codes, dtype=np.float64) / second, np.stack(rows)
        return [WeightTrack(name, times, table[:, column]) for column, name in enumerate(names)]
    raise stage.wrong("animates no blend-shape weights", hint="export the animation of shapes along")
