"""Spots in a document: the soft round regions about a place that a pull makes, uses again, and leaves behind.

A spot is a region like any other, with its place and radius for a source. Each has a set of its own, so it shares with
nobody: adding one changes no other mask, and deleting one takes away only its own cells.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from composer.document.project import RESERVED, Project, Region
from composer.document.region_sources import SPOT
from composer.edits.names import free_name
from composer.edits.recipes import replace_recipe
from composer.edits.regions import delete_region
from composer.head.places import SurfacePoint
from composer.mixing.recipe import Recipe

RADII_MM = (25.0, 40.0, 60.0, 90.0)
"""The radii of the spots that a pull may use, mm: from a corner of the mouth to half a face. A design choice, no
source."""
NEAR = 0.85
"""A spot of the document is used again where its mask at the place is at least this. A design choice, no source."""


def spots_about(project: Project, masks: Mapping[str, NDArray], place: SurfacePoint, label: str) -> list[Region]:
    """New spots about a place, one for each of RADII_MM that the document has none for: `masks` (n,) are its effective
    masks. `label` goes into their names, such as the region at the place."""
    known = {}
    for region in project.regions:
        if is_spot(region) and masks[region.name][list(place.triangle)] @ np.array(place.bary) >= NEAR:
            known[region.source.get("radius_mm")] = region.name
    taken = [*RESERVED, *(region.name for region in project.regions)]
    found: list[Region] = []
    for radius in RADII_MM:
        if radius not in known:
            name = f"spot_{radius:g}_{label}" if label else f"spot_{radius:g}"
            name = free_name(name, taken) if name in taken else name
            at = {"triangle": list(place.triangle), "bary": list(place.bary)}
            found.append(Region(name, {"from": SPOT.name, **at, "radius_mm": radius}, set=name))
            taken.append(name)
    return found


def with_spots(project: Project, spots: Iterable[Region], recipe: Recipe) -> Project:
    """The project with `recipe` in the place of the one of its name, and those of the new `spots` that it uses."""
    used = tuple(region for region in spots if region.name in recipe.regions)
    return replace_recipe(project.with_(regions=(*project.regions, *used)) if used else project, recipe.name, recipe)


def is_spot(region: Region) -> bool:
    """Whether a region is a spot."""
    return region.source.get("from") == SPOT.name


def unused_spots(project: Project) -> list[str]:
    """The names of spots that no recipe gives a weight to, and no clip keys."""
    used = {cell.region for recipe in project.recipes for cell in recipe.cells if cell.weight != 0.0}
    used |= {cell[0] for clip in project.clips for cell in clip.cells}
    used |= {trigger.region for corrective in project.correctives for trigger in corrective.triggers}
    return [region.name for region in project.regions if is_spot(region) and region.name not in used]


def without_unused_spots(project: Project) -> Project:
    """The project without the spots that no recipe gives a weight to."""
    for name in unused_spots(project):
        project = delete_region(project, name)
    return project
