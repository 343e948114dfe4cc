"""A document for a head that has none, with regions from landmarks, from what moves together, or from groups."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from composer.document.masks_of import moving_regions
from composer.document.part_table import part_table
from composer.document.project import Project, Region
from composer.errors import MoueError
from composer.head.find_landmarks.found import find_landmarks
from composer.head.fingerprint import fingerprint
from composer.head.head import Head
from composer.head.places import Landmarks
from composer.head.presets import lay_regions, region_set
from composer.head.region_names import region_names
from composer.head.understand.anatomy import with_anatomy_of
from masks.from_displacement import MovingRegions

MOVING = 16
"""How many regions are looked for in what moves together, unless said."""


def laid_regions(
    head: Head, path: Path, source: str, preset: str = "face", count: int = MOVING, ramp_mm: float = 8.0,
    found: MovingRegions | None = None,
) -> tuple[Project, list[str]]:  # fmt: skip
    """A project for `head` that is to lie at `path`, and notes of what was left out.

    `source` is landmarks, displacement or groups; `found` is what moves together, where that is known. A head that
    nobody has marked has its landmarks found, and the document holds them, to be looked at and corrected. Raises
    MoueError where the head has nothing to make them from.
    """
    notes = list(head.notes)
    marks = Landmarks()
    if source != "groups" and not head.landmarks:
        marked = find_landmarks(head)
        head = with_anatomy_of(head.with_(landmarks=marked.landmarks or None), head)
        if source == "landmarks":
            marks = marked.landmarks
            notes += [marked.words, *(f"No landmarks of the {what}: {why}." for what, why in marked.missing.items())]
    if source == "landmarks":
        laid = lay_regions(head, region_set(preset))
        notes += [*laid.notes, *(f"Region {name!r} was left out: {why}" for name, why in laid.left_out.items())]
        sources: dict[str, dict[str, Any]] = {name: {"from": source, "preset": name} for name in laid.masks}
    elif source == "displacement":
        found = found or moving_regions(head, count)
        notes.append(f"The regions hold {100 * found.held:.0f} percent of the library's motion.")
        names = region_names(head, found.masks)
        sources = {names[name]: {"from": source, "moves": name, "regions": count} for name in found.masks}
    else:
        sources = {}
        for key, faces in (("group", head.groups), ("material", head.materials)):
            for name in faces:
                sources.setdefault(_plain(str(name)), {"from": "group", key: str(name), "ramp_mm": ramp_mm})
    if not sources:
        what = "groups or materials" if source == "groups" else source
        raise MoueError(f"has no {what} to make regions from", head.path, hint="try --from displacement")
    parts = {part.name: part_table(part, head) for part in head.parts}
    return Project(
        path, head.path or path.parent, head.unit, head.neutral_name, fingerprint(head.polygons),
        tuple(Region(name, table) for name, table in sources.items()), parts=parts,
        landmarks={name: place for name, place in marks.points.items() if not isinstance(place, tuple)},
        curves={name: tuple(int(v) for v in curve) for name, curve in marks.curves.items()},  # type: ignore[arg-type]
    ), notes  # fmt: skip


def _plain(name: str) -> str:
    """A group's or material's name as a region may bear it: without what no file's name holds."""
    return re.sub(r'[/\\:*?"<>|]+', "_", name).strip(" .") or "group"
