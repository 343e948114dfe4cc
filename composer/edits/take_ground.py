"""Ground taken from neighbours: what was painted on one region is taken from the others of its set."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from composer.document.project import Project
from composer.edits.regions import set_mask
from composer.errors import MoueError
from masks.take import take

Masks = Mapping[str, NDArray]
LEAST = 1e-6
"""Changes of a mask below this are rounding."""


def given_up(project: Project, raw: Masks, painted: Masks, grown: bool = True) -> dict[str, NDArray[np.float64]]:
    """The masks of the other regions, by name, that change where they give way to `painted` ones. All masks are (n,),
    or alike at some vertices; `raw` are those of all regions before. With `grown` only where the painted masks have
    grown. Locked regions, and other painted ones, give nothing."""
    now = {**raw, **painted}
    changed: dict[str, NDArray[np.float64]] = {}
    for name, mask in painted.items():
        region = project.region(name)
        others = [r for r in project.regions if r.set == region.set and r.name != name]
        if not others:
            continue
        over = mask > raw[name] + LEAST if grown else np.ones(len(mask), dtype=bool)
        held = [r.locked or r.name in painted for r in others]
        given = take(mask, [now[r.name] for r in others], held, over)
        for other, values in zip(others, given, strict=True):
            if np.abs(values - now[other.name]).max(initial=0.0) > LEAST:
                changed[other.name] = now[other.name] = values
    return changed


def take_ground(project: Project, name: str, raw: Masks) -> Project:
    """The project with the other regions of a region's set giving way wherever it was painted; `raw` are the raw masks
    (n,) by name. Raises MoueError for an unknown region, one that is locked, and where there is nothing to take."""
    region = project.region(name)
    if region.locked:
        raise MoueError(f"region {name!r} is locked", project.path, hint="unlock it first")
    changed = given_up(project, raw, {name: raw[name]}, grown=False)
    if not changed:
        raise MoueError(f"region {name!r} has all that was painted, or the others are locked", project.path)
    for other, values in changed.items():
        project = set_mask(project, other, values)
    return project
