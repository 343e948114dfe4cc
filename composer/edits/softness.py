"""The softness of a region: the width of the ramp at its border, whatever its mask is made from."""

from __future__ import annotations

from dataclasses import replace

from composer.document.project import Project
from composer.document.region_sources import RAMP
from composer.errors import MoueError
from masks.soft_border import WIDEST_MM

DIGITS = 2
"""Digits of a ramp's width in the document, mm."""


def set_softness(project: Project, name: str, ramp_mm: float | None) -> Project:
    """The region with a ramp of this width in mm, from 0 (a hard edge) to WIDEST_MM; with None as its source makes it.

    Raises MoueError for an unknown region, one that is locked, or another width.
    """
    region = project.region(name)
    if ramp_mm is not None and not 0.0 <= ramp_mm <= WIDEST_MM:
        raise MoueError(f"a ramp of {ramp_mm:g} mm is not in 0 to {WIDEST_MM:g}", project.path)
    source = {key: said for key, said in region.source.items() if key != RAMP}
    if ramp_mm is not None:
        source[RAMP] = round(float(ramp_mm), DIGITS)
    if source == dict(region.source):
        return project
    if region.locked:
        raise MoueError(f"region {name!r} is locked", project.path, hint="unlock it to change its softness")
    softened = replace(region, source=source)
    return project.with_(regions=tuple(softened if old is region else old for old in project.regions))


def softness_of(project: Project, name: str) -> float | None:
    """The width in mm of the ramp that the document gives a region; None where its source makes it. Raises MoueError
    for an unknown region."""
    said = project.region(name).source.get(RAMP)
    return None if said is None else float(said)
