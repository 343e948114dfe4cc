"""A document for a head that has none, with regions from landmarks, from what moves together, or from groups."""

from __future__ import annotations

from pathlib import Path

from composer.document.part_table import part_table
from composer.document.project import Project, Region
from composer.edits.region_sources import MOVING, Asked, region_source
from composer.errors import MoueError
from composer.head.find_landmarks.found import find_landmarks
from composer.head.fingerprint import fingerprint
from composer.head.head import Head
from composer.head.places import Landmarks
from composer.head.understand.anatomy import with_anatomy_of
from masks.from_displacement import MovingRegions


def laid_regions(
    head: Head, path: Path, source: str, preset: str = "face", count: int = MOVING, ramp_mm: float = 8.0,
    found: MovingRegions | None = None,
) -> tuple[Project, list[str]]:  # fmt: skip
    """A project for `head` that is to lie at `path`, and notes of what was left out.

    `source` is one of `composer.edits.region_sources`; `found` is what moves together, where that is known. A head that
    nobody has marked has its landmarks found, and the document holds them, to be looked at and corrected. Raises
    MoueError for another source, and where the head has nothing to make regions from.
    """
    made_from = region_source(source)
    notes = list(head.notes)
    marks = Landmarks()
    if made_from.landmarks != "unused" and not head.landmarks:
        marked = find_landmarks(head)
        head = with_anatomy_of(head.with_(landmarks=marked.landmarks or None), head)
        if made_from.landmarks == "kept":
            marks = marked.landmarks
            notes += [marked.words, *(f"No landmarks of the {what}: {why}." for what, why in marked.missing.items())]
    sources, laid_notes = made_from.lay(head, Asked(preset, count, ramp_mm, found))
    notes += laid_notes
    if not sources:
        what = made_from.words if made_from.landmarks == "unused" else source
        raise MoueError(f"has no {what} to make regions from", head.path, hint="try --from displacement")
    parts = {part.name: part_table(part, head) for part in head.parts}
    return Project(
        path, head.path or path.parent, head.unit, head.neutral_name, fingerprint(head.polygons),
        tuple(Region(name, table) for name, table in sources.items()), parts=parts,
        landmarks={name: place for name, place in marks.points.items() if not isinstance(place, tuple)},
        curves={name: tuple(int(v) for v in curve) for name, curve in marks.curves.items()},  # type: ignore[arg-type]
    ), notes  # fmt: skip
