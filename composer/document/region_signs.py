"""The signs of regions: the number and the colour by which each is known on screen and in pictures.

A document keeps them once its regions are edited, so that a region which goes, comes or is painted changes the sign of
no other. Until then they follow from the order of the regions and from which of them lie over each other.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from numpy.typing import NDArray

from composer.document.project import Project, Region
from masks.hues import hues_apart


@dataclass(frozen=True)
class Sign:
    """A region's `number`, from 1, and its `hue`, the number of its colour from 0. It is not `settled` while the region
    has no mask that could tell which colours lie beside it."""

    number: int
    hue: int
    settled: bool = True


def signs_of(project: Project, masks: Mapping[str, NDArray]) -> dict[str, Sign]:
    """The sign of every region by name: what the document says, else the next numbers above those that it says, and
    colours apart from their neighbours'. `masks` (n,) in [0, 1] by name are the effective ones."""
    regions = project.regions
    held = [None if r.colour is None else r.colour - 1 for r in regions]
    hues = hues_apart([masks[r.name] for r in regions], held)
    following = max((r.number for r in regions if r.number is not None), default=0) + 1
    found: dict[str, Sign] = {}
    for region, hue in zip(regions, hues, strict=True):
        number, following = (following, following + 1) if region.number is None else (region.number, following)
        settled = region.colour is not None or bool(masks[region.name].any())
        found[region.name] = Sign(number, hue, settled)
    return found


def with_signs(project: Project, signs: Mapping[str, Sign]) -> Project:
    """The project with the settled signs of its regions written to those that have none."""

    def signed(region: Region) -> Region:
        sign = signs.get(region.name)
        if sign is None:
            return region
        colour = sign.hue + 1 if region.colour is None and sign.settled else region.colour
        return replace(region, number=region.number or sign.number, colour=colour)

    regions = tuple(signed(region) for region in project.regions)
    return project if regions == project.regions else project.with_(regions=regions)


def with_signs_kept(project: Project, edit: Callable[[Project], Project], signs: Mapping[str, Sign]) -> Project:
    """The project edited; where that changes its regions, `signs`, theirs before, are written first, so that they go
    along with them. New regions get theirs by `signs_of`."""
    edited = edit(project)
    signed = with_signs(project, signs)
    return edited if edited.regions is project.regions or signed is project else edit(signed)
