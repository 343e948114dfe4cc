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
UNCERTAIN_TOLD = 5
"""Shapes named in a note; more are counted."""


def laid_regions(
    head: Head, path: Path, source: str, preset: str = "face", count: int = MOVING, ramp_mm: float = 8.0,
    found: MovingRegions | None = None, softness: float = 1.0,
) -> tuple[Project, list[str]]:  # fmt: skip
    """A project for `head` that is to lie at `path`, and notes of what was left out.

    `source` is landmarks, displacement or groups; `found` is what moves together, where that is known; `softness`
    widens the borders of what moves together. A head that nobody has marked has its landmarks found, and the document
    holds them, to be looked at and corrected. Raises MoueError where the head has nothing to make them from.
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
        notes += [*laid.notes, *(f"Left out: {why}." for why in laid.left_out.values())]
        sources: dict[str, dict[str, Any]] = {name: {"from": source, "preset": name} for name in laid.masks}
    elif source == "displacement":
        found = found or moving_regions(head, count, softness=softness)
        notes += _moving_notes(head, found)
        names = region_names(head, found.masks)
        said = {"from": source, "regions": count} | ({"softness": softness} if softness != 1.0 else {})
        sources = {names[name]: {**said, "moves": name} for name in found.masks}
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


def _moving_notes(head: Head, found: MovingRegions) -> list[str]:
    """What there is to say of regions from displacement."""
    notes = [f"The regions hold {100 * found.held:.0f} percent of what the library moves on the skin."]
    if found.uncertain:
        names = [head.shapes[i].name for i in found.uncertain]
        told = ", ".join(names[:UNCERTAIN_TOLD]) + (", ..." if len(names) > UNCERTAIN_TOLD else "")
        which = f"{len(names)} of {len(head.shapes)} shapes ({told})"
        notes.append(f"Hardly any skin keeps still in {which}: how far the head itself moved in them is a guess.")
    return notes
