"""Regions that tear where they meet: strain on the ramp of a mask, beyond what the shapes themselves do.

Why it matters: where a region's mask falls from 1 to 0, two movements have to meet within the ramp's width.
What they disagree about, divided by the width, becomes strain. Measured by the 95th percentile over the ramp,
because the largest value on a ramp of a few triangles says little.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from composer.checks.check import Check
from composer.checks.finding import Finding, Severity
from composer.checks.in_words import times
from composer.checks.subject import CheckSubject
from composer.mixing.recipe import ALL

Floats = NDArray[np.float64]
_LOW, _HIGH = 0.02, 0.98


def ramp_triangles(mask: NDArray, triangles: NDArray) -> NDArray[np.int64]:
    """Triangles (indices) on which a mask (n,) is neither all 0 nor all 1 nor constant."""
    values = np.asarray(mask, dtype=np.float64)[triangles]
    low, high = values.min(axis=1), values.max(axis=1)
    return np.flatnonzero((high > _LOW) & (low < _HIGH) & (high - low > 1e-3))


def ramp_width_mm(mask: NDArray, triangles: NDArray, rest_metric: Floats) -> float:
    """The width in mm over which a mask goes from 0 to 1: one over its median slope, 0 where it has none.

    The slope of a linear function on a triangle is sqrt(d^T G^-1 d), with d its differences along two edges
    and G the metric (3, t) of those edges.
    """
    if not len(triangles):
        return 0.0
    values = np.asarray(mask, dtype=np.float64)[triangles]
    d1, d2 = values[:, 1] - values[:, 0], values[:, 2] - values[:, 0]
    a, b, c = rest_metric
    area = a * c - b * b
    squared = (c * d1 * d1 - 2.0 * b * d1 * d2 + a * d2 * d2) / np.where(area > 0.0, area, 1.0)
    slope = np.sqrt(np.maximum(squared[area > 0.0], 0.0))
    steep = slope[slope > 0.0]
    return float(1.0 / np.median(steep)) if len(steep) else 0.0


def mismatch_mm(subject: CheckSubject, region: str, vertices: NDArray) -> float:
    """How far apart, in mm, the movements are that meet on a ramp: the 95th percentile over its vertices."""
    row, base = np.zeros((len(vertices), 3)), np.zeros((len(vertices), 3))
    for source in subject.sources:
        if source.cell.region == region:
            row += source.delta[vertices]
        elif source.cell.region == ALL:
            base += source.delta[vertices]
    replaces = subject.recipe is not None and subject.recipe.row(region).kind == "replace"
    apart = row - base if replaces else row
    return float(np.quantile(np.sqrt(np.einsum("ij,ij->i", apart, apart)), 0.95)) if len(vertices) else 0.0


def _run(subject: CheckSubject) -> Iterator[Finding]:
    limits, facts = subject.limits, subject.facts
    linear = subject.recipe is not None and subject.recipe.join == "linear"
    for region in subject.regions:
        if region not in subject.masks:
            yield Finding(
                "seam.mask", "note", f"the border of {region} was not looked at: its mask is not there",
                hint="check the document that holds the region", where=region,
            )  # fmt: skip
            continue
        ramp, width = _ramp(subject, region)
        if not len(ramp):
            continue
        excess = subject.excess[ramp]
        worst = float(np.quantile(excess, 0.95))
        if worst <= limits.seam_warning:
            continue
        severity: Severity = "error" if worst > limits.seam_error else "warning"
        apart = mismatch_mm(subject, region, np.unique(facts.triangles[ramp]))
        wider = apart / limits.seam_slope if apart > limits.seam_slope * width > 0.0 else 0.0
        over = ramp[excess > limits.seam_warning]
        vertices, amounts = subject.at_vertices(over, subject.excess[over])
        yield Finding(
            code="seam.ramp",
            severity=severity,
            words=f"the border of {region} is stretched or pressed {times(1.0 + worst, 'much')} its shapes do alone: "
            f"{apart:.1f} mm have to meet within {width:.1f} mm",
            hint=_advice(wider, linear),
            vertices=vertices,
            amounts=amounts * 100.0,
            value=worst * 100.0,
            unit="percent more",
            where=region,
            ramp_mm=wider,
        )


def _ramp(subject: CheckSubject, region: str) -> tuple[NDArray[np.int64], float]:
    """The triangles of a region's ramp and its width in mm, found once for each mask."""
    facts, mask = subject.facts, subject.masks[region]

    def make() -> tuple[NDArray[np.int64], float]:
        ramp = ramp_triangles(mask, facts.triangles)
        return ramp, ramp_width_mm(mask, facts.triangles[ramp], facts.rest_metric[:, ramp])

    return facts.kept(("ramp", region), mask, make)


def _advice(wider_mm: float, linear: bool) -> str:
    seamless = "join the recipe seamlessly, " if linear else ""
    if wider_mm > 0.0:
        return f"{seamless}widen the ramp to about {wider_mm:.0f} mm, or lower the cell"
    return f"{seamless}soften the mask there, or lower the cell"


SEAM = Check("seam", "borders that tear", "movements that disagree meet on a ramp", _run)
