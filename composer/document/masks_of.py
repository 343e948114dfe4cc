"""The raw mask of a region, made from its source in the document."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from composer.document.project import Project, Region
from composer.document.region_sources import DISPLACEMENT, LANDMARKS, RAMP, SOURCES, SPOT, source_of
from composer.document.stored import file_of
from composer.document.values import Values
from composer.errors import MoueError
from composer.geometry.polygons import read_only
from composer.head.coarse_head import CoarseHead, coarse_head
from composer.head.head import Head, Shape
from composer.head.presets import lay_regions, region_preset
from composer.head.soft_borders import soft_border
from composer.head.symmetry import pairs_of
from masks.from_displacement import MovingRegions, from_displacement
from masks.mask import checked_values
from masks.soft_border import WIDEST_MM

Floats = NDArray[np.float64]


def whole_source(region: Region) -> dict[str, Any]:
    """A region's source with its default filled in: the region's name as the preset or the moving region."""
    source = SOURCES.get(str(region.source.get("from")))
    named_by = source.named_by if source is not None else ""
    return {named_by: region.name, **region.source} if named_by else dict(region.source)


@dataclass(frozen=True, eq=False)
class _Made:
    """A raw mask (n,), the source it was made from, and the stored array behind it where there is one."""

    source: dict[str, Any]
    stored: NDArray | None
    mask: Floats


class MaskSources:
    """Raw masks (n,) for the regions of one project on one head; presets and moving regions are computed once.

    `before` holds the sources of an earlier state of the same document on the same library; unchanged arrays are
    reused.
    """

    def __init__(self, project: Project, head: Head, before: MaskSources | None = None) -> None:
        self.project, self.head = project, head
        self._laid: dict[tuple[str, bool], dict[str, Floats]] = {}
        self._left_out: dict[str, dict[str, str]] = {}
        self._preset_of: dict[str, str] = {}
        self._moving: dict[tuple[int, float, bool], MovingRegions] = {}
        self._unplaced: dict[str, str] = {}
        self._made: list[_Made] = []
        if before is not None:
            self._take_over(before)

    def _take_over(self, before: MaskSources) -> None:
        known = set(SOURCES)
        same_skin = self.head.parts is before.head.parts
        if same_skin and self.head.landmarks == before.head.landmarks:
            self._laid, self._left_out = before._laid, before._left_out
        else:
            known -= {LANDMARKS.name, SPOT.name}
        if same_skin and _same(self._library_shapes, before._library_shapes):
            self._moving = before._moving
        else:
            known.discard(DISPLACEMENT.name)
        moved = self.project.path.parent != before.project.path.parent
        wanted = [(whole_source(region), self.stored(region)) for region in self.project.regions]
        self._made = [
            made for made in before._made
            if made.source["from"] in known and not (moved and made.stored is None and "file" in made.source)
            and any(made.stored is stored and made.source in (source, _plain(source)) for source, stored in wanted)
        ]  # fmt: skip
        self._unplaced, self._preset_of = before._unplaced, before._preset_of

    @cached_property
    def _library_shapes(self) -> list[Shape]:
        """The head's shapes without those that the document keeps: a kept pose never moves a region."""
        kept = {name for name, said in self.project.shapes.items() if "delta" in said and not said.get("replaces")}
        return [shape for shape in self.head.expressions if shape.name not in kept]

    @property
    def notes(self) -> list[str]:
        """Sentences on what is missing from the document's regions."""
        used = [whole_source(region).get("preset", "") for region in self.project.regions]
        presets = {self._preset_of[name] for name in used if name in self._preset_of}
        left_out = [f"Left out: {why}." for name in sorted(presets) for why in self._left_out.get(name, {}).values()]
        return left_out + [self._unplaced[r.name] for r in self.project.regions
                           if r.name in self._unplaced and r.source["from"] == "image"]  # fmt: skip

    def of(self, region: Region) -> Floats:
        """The raw mask (n,) of a region, read-only. Raises MoueError, with the region's name, for a faulty source."""
        source, stored = whole_source(region), self.stored(region)
        for made in self._made:
            if made.stored is stored and made.source == source:
                return made.mask
        mask = read_only(self._softened(region) if self.is_softened(region) else self._new(region))
        self._made.append(_Made(source, stored, mask))
        return mask

    def plain(self, region: Region) -> Floats:
        """The raw mask (n,) of a region without its softness. Raises MoueError as `of`."""
        if RAMP not in region.source:
            return self.of(region)
        return self.of(replace(region, source=_plain(dict(region.source))))

    def is_softened(self, region: Region) -> bool:
        """Whether the ramp of a region is made on its mask, not by its source."""
        return RAMP in region.source and RAMP not in source_of(region, self.project.path).keys

    def _softened(self, region: Region) -> Floats:
        said = Values(region.source, self.project.path, f"region {region.name!r}")
        ramp_mm = said.number(RAMP, None, 0.0, WIDEST_MM)
        return soft_border(self.head, self.plain(region)).mask(ramp_mm)

    def stored(self, region: Region) -> NDArray | None:
        """The array that the document stores for a region's mask, or None."""
        return self.project.stored.get(str(region.source.get("file")))

    def _new(self, region: Region) -> Floats:
        source = source_of(region, self.project.path)
        said = Values(region.source, self.project.path, f"region {region.name!r}").only(("from", *source.keys))
        try:
            made = source.mask(self, region, said)
            return checked_values(made, self.head.n_vertices, f"mask of region {region.name!r}")
        except MoueError as error:
            about_document = error.where is None or str(error.where) == str(self.project.path)
            what = error.what if about_document else str(MoueError(error.what, error.where, error.line))
            raise MoueError(f"region {region.name!r}: {what}", self.project.path, hint=error.hint) from None

    def laid(self, region: str, coarse: bool = False) -> tuple[dict[str, Floats], str]:
        """The masks of the first preset that has a region of this name, and the region's name in it; `coarse` as
        `lay_regions`."""
        preset, name = region_preset(region)
        self._preset_of[name] = preset.name
        if (preset.name, coarse) not in self._laid:
            laid = lay_regions(self.head, preset, coarse=coarse)
            self._left_out[preset.name] = dict(laid.left_out)
            self._laid[preset.name, coarse] = dict(laid.masks)
        return self._laid[preset.name, coarse], name

    def why_left_out(self, name: str) -> str:
        """What a region of a preset that was laid lacks, in words."""
        laid = self._left_out.get(self._preset_of.get(name, ""), {})
        return laid.get(name, "its landmarks are missing")

    def take_moving(self, count: int, found: MovingRegions, coarse: bool = False) -> None:
        """Take regions, at most `count`, that are already found from this library's displacement."""
        self._moving[count, 1.0, coarse] = found

    def moving(self, count: int, softness: float = 1.0, coarse: bool = False) -> MovingRegions:
        """The regions, at most `count`, found from displacement as in `moving_regions`; they are computed once."""
        key = count, softness, coarse
        if key not in self._moving:
            self._moving[key] = moving_regions(self.head, count, self._library_shapes, softness, coarse=coarse)
        return self._moving[key]

    def unplaced(self, region: Region, vertices: int) -> None:
        """Record the number of vertices without a place on a region's picture."""
        if vertices:
            self._unplaced[region.name] = f"Region {region.name!r}: {vertices} vertices have no place on the picture."

    def beside(self, said: Values) -> Path:
        """The file that a source names, relative to the document. Raises MoueError where it names none."""
        place = said.text("file")
        if place is None:
            raise said.error("names no file", 'add file = "..."')
        return file_of(self.project, place)


def _plain(source: dict[str, Any]) -> dict[str, Any]:
    """A source without the softness of its region."""
    return {key: said for key, said in source.items() if key != RAMP}


def moving_regions(
    head: Head, count: int, shapes: Sequence[Shape] | None = None, softness: float = 1.0, ramp_mm: float | None = None,
    coarse: bool = False,
) -> MovingRegions:  # fmt: skip
    """Regions that move together in a head's library (or in `shapes` of it), at most `count`, in mirrored pairs where
    the head is symmetric. Each border is `softness` times as wide as the motion's own falloff, or with `ramp_mm` all
    are that wide from 1 to 0. With `coarse` a large head's are found on its coarser level and lifted. Raises MoueError
    where nothing moves.
    """
    level = coarse_head(head) if coarse else None
    try:
        if level is not None:
            down = [level.level.down(shape.delta) for shape in (head.expressions if shapes is None else shapes)]
            seen, skin = level.head, level.level.down(head.skin)
            found = from_displacement(seen.surface, down, count, ramp_mm, skin, pairs_of(seen), softness)
            return _lifted(found, level)
        deltas = [shape.delta for shape in (head.expressions if shapes is None else shapes)]
        return from_displacement(head.surface, deltas, count, ramp_mm, head.skin, pairs_of(head), softness)
    except MoueError as error:
        raise MoueError(str(error), head.path) from None


def _lifted(found: MovingRegions, level: CoarseHead) -> MovingRegions:
    """Regions found on the coarser level of a large head, on the head itself: they share to at most one as before."""
    masks = level.level.shares_up(list(found.masks.values()))
    seeds = {name: int(level.level.vertices[vertex]) for name, vertex in found.seeds.items()}
    return replace(found, masks=dict(zip(found.masks, masks, strict=True)), seeds=seeds)


def _same(one: Sequence[Shape], other: Sequence[Shape]) -> bool:
    return len(one) == len(other) and all(a.delta is b.delta for a, b in zip(one, other, strict=True))
