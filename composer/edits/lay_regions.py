"""A document for a head that has none, with regions from landmarks, from what moves together, or from groups."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from composer.document.project import Project, Region
from composer.edits.region_sources import MOVING, Asked, region_source
from composer.errors import MoueError
from composer.head.fingerprint import fingerprint
from composer.head.head import Head
from masks.from_displacement import MovingRegions


def laid_regions(
    head: Head, path: Path, source: str, preset: str = "face", count: int = MOVING, ramp_mm: float = 8.0,
    found: MovingRegions | None = None,
) -> tuple[Project, list[str]]:  # fmt: skip
    """A project for `head` that is to lie at `path`, and notes of what was left out.

    `source` is one of `composer.edits.region_sources`; `found` is what moves together, where that is known. Raises
    MoueError for another source, and where the head has nothing to make regions from.
    """
    sources, laid_notes = region_source(source).lay(head, Asked(preset, count, ramp_mm, found))
    if not sources:
        raise MoueError(f"has no {source} to make regions from", head.path, hint="try --from displacement")
    notes = [*head.notes, *laid_notes]
    parts = {part.name: _part(part.vertices.tolist(), part.name, head, part.follows) for part in head.parts}
    return Project(
        path, head.path or path.parent, head.unit, head.neutral_name, fingerprint(head.polygons),
        tuple(Region(name, table) for name, table in sources.items()), parts=parts,
    ), notes  # fmt: skip


def _part(vertices: list[int], name: str, head: Head, follows: str) -> dict[str, Any]:
    where: dict[str, Any] = {"group": name} if name in head.groups else {"vertices": vertices}
    return where | {"follows": follows}
