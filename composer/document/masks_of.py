"""The raw mask of a region, made from what the document says it comes from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from composer.document.project import Project, Region
from composer.document.region_sources import DISPLACEMENT, LANDMARKS, SOURCES, source_of
from composer.document.stored import file_of
from composer.document.values import Values
from composer.errors import MoueError
from composer.geometry.polygons import read_only
from composer.head.head import Head, Shape
from composer.head.presets import lay_regions, region_preset
from composer.head.symmetry import pairs_of
from masks.from_displacement import MovingRegions, from_displacement
from masks.mask import checked_values

Floats = NDArray[np.float64]
def whole_source(region: Region) -> dict[str, Any]:
    """A region's source with what its name says where the source does not: which preset, which moving region."""
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
    """Raw masks (n,) for the regions of one project on one head; presets and moving regions are laid once.

    With `before`, the sources of an earlier state of the same document on the same library, whatever did not
    change is taken over, the very arrays of it.
    """

    def __init__(self, project: Project, head: Head, before: MaskSources | None = None) -> None:
        self.project, self.head = project, head
        self._laid: dict[str, dict[str, Floats]] = {}
        self._left_out: dict[str, list[str]] = {}
        self._preset_of: dict[str, str] = {}
        self._moving: dict[int, MovingRegions] = {}
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
            known.discard(LANDMARKS.name)
        if same_skin and _same(self._library_shapes, before._library_shapes):
            self._moving = before._moving
        else:
            known.discard(DISPLACEMENT.name)
        moved = self.project.path.parent != before.project.path.parent
        wanted = [(whole_source(region), self.stored(region)) for region in self.project.regions]
        self._made = [
            made for made in before._made
            if made.source["from"] in known and not (moved and made.stored is None and "file" in made.source)
            and any(made.stored is stored and made.source == source for source, stored in wanted)
        ]  # fmt: skip
        self._unplaced, self._preset_of = before._unplaced, before._preset_of

    @cached_property
    def _library_shapes(self) -> list[Shape]:
        """The head's shapes without those that the document keeps: a kept pose never moves a region."""
        kept = {name for name, said in self.project.shapes.items() if "delta" in said and not said.get("replaces")}
        return [shape for shape in self.head.shapes if shape.name not in kept]

    @property
    def notes(self) -> list[str]:
        """Sentences on what was left out of the regions that the document has."""
        used = [whole_source(region).get("preset", "") for region in self.project.regions]
        presets = {self._preset_of[name] for name in used if name in self._preset_of}
        left_out = [note for name in sorted(presets) for note in self._left_out.get(name, [])]
        return left_out + [self._unplaced[r.name] for r in self.project.regions
                           if r.name in self._unplaced and r.source["from"] == "image"]  # fmt: skip

    def of(self, region: Region) -> Floats:
        """The raw mask (n,) of a region, read-only. Raises MoueError naming the region for what cannot be used."""
        source, stored = whole_source(region), self.stored(region)
        for made in self._made:
            if made.stored is stored and made.source == source:
                return made.mask
        mask = read_only(self._new(region))
        self._made.append(_Made(source, stored, mask))
        return mask

    def stored(self, region: Region) -> NDArray | None:
        """The array that the document itself holds for a region's mask, where it does."""
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

    def laid(self, region: str) -> tuple[dict[str, Floats], str]:
        """The masks of the first preset that makes a region of this name, and the region's name in it."""
        preset, name = region_preset(region)
        self._preset_of[name] = preset.name
        if preset.name not in self._laid:
            laid = lay_regions(self.head, preset)
            notes = [f"The region {key} was left out: {why}." for key, why in laid.left_out.items()]
            self._left_out[preset.name] = notes
            self._laid[preset.name] = dict(laid.masks)
        return self._laid[preset.name], name

    def take_moving(self, count: int, found: MovingRegions) -> None:
        """What moves together in at most `count` regions of this head's library, where it has been found already."""
        self._moving[count] = found

    def moving(self, count: int) -> MovingRegions:
        """What moves together in at most `count` regions of this head's library, found once."""
        if count not in self._moving:
            self._moving[count] = moving_regions(self.head, count, self._library_shapes)
        return self._moving[count]

    def unplaced(self, region: Region, vertices: int) -> None:
        """Take note of so many vertices that have no place on a region's picture."""
        if vertices:
            self._unplaced[region.name] = f"Region {region.name!r}: {vertices} vertices have no place on the picture."

    def beside(self, said: Values) -> Path:
        """The file that a source names, beside the document. Raises MoueError where it names none."""
        place = said.text("file")
        if place is None:
            raise said.error("names no file", 'add file = "..."')
        return file_of(self.project, place)


def moving_regions(head: Head, count: int, shapes: Sequence[Shape] | None = None) -> MovingRegions:
    """What moves together in a head's library (or in `shapes` of it), at most `count` regions, in pairs where the
    two sides of the head are alike. Raises MoueError where nothing moves.
    """
    try:
        deltas = [shape.delta for shape in (head.shapes if shapes is None else shapes)]
        return from_displacement(head.surface, deltas, count, skin=head.skin, partner=pairs_of(head))
    except MoueError as error:
        raise MoueError(str(error), head.path) from None


def _same(one: Sequence[Shape], other: Sequence[Shape]) -> bool:
    return len(one) == len(other) and all(a.delta is b.delta for a, b in zip(one, other, strict=True))
