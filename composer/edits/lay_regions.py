"""A new document for a head, with regions from a source that makes those of a whole head."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from composer.document.evaluated import EvaluatedDocument
from composer.document.part_table import part_table
from composer.document.project import Project, Region
from composer.document.region_sources import COARSE, LAYERS, MOVING_REGIONS, Laying
from composer.errors import MoueError, unknown
from composer.head.coarse_head import coarse_head, seen_coarse
from composer.head.find_landmarks.found import find_landmarks
from composer.head.fingerprint import fingerprint
from composer.head.head import Head
from composer.head.landmark_doubts import landmark_doubts
from composer.head.places import Landmarks
from composer.head.understand.anatomy import with_anatomy_of
from masks.from_displacement import MovingRegions


def laid_regions(
    head: Head, path: Path, source: str, preset: str = "face", count: int = MOVING_REGIONS, ramp_mm: float = 8.0,
    found: MovingRegions | None = None, softness: float = 1.0,
) -> tuple[Project, list[str]]:  # fmt: skip
    """A project for `head`, to be saved at `path`, and notes on what was left out.

    `source` is one of `composer.document.region_sources.LAYERS`; `found` are regions already found from displacement,
    and `softness` widens their borders. If the source needs landmarks and the head has none, they are found; the
    document stores them where its regions are made from them, so that a person can correct them. Raises MoueError for
    another source, and where the head has nothing to make regions from. On a large head all is found on its coarser
    level.
    """
    if source not in LAYERS:
        raise unknown("source of regions", source, LAYERS, path)
    layer, marks, notes, guesses = LAYERS[source], Landmarks(), list(head.notes), frozenset[str]()
    assert layer.lay is not None
    level = coarse_head(head)
    seen = head if level is None else level.head
    if found is not None and level is not None:
        found = replace(found, masks={name: level.level.down(mask) for name, mask in found.masks.items()})
    if layer.wants_marks and not head.landmarks:
        marked = find_landmarks(seen)
        found_marks = marked.landmarks if level is None else level.landmarks_up(marked.landmarks)
        seen = seen_coarse(with_anatomy_of(head.with_(landmarks=found_marks or None), head))
        if layer.keeps_marks:
            marks, guesses = found_marks, marked.guesses
            notes += [marked.words, *(f"No landmarks of the {what}: {why}." for what, why in marked.missing.items())]
    elif layer.keeps_marks:
        notes += landmark_doubts(seen)
    sources, left_out = layer.lay(seen, Laying(preset, count, ramp_mm, found, softness))
    notes += left_out
    if not sources:
        raise MoueError(f"has no {layer.needs} to make regions from", head.path, hint="try --from displacement")
    if level is not None and COARSE in layer.keys:
        sources = {name: {**said, COARSE: True} for name, said in sources.items()}
    parts = {part.name: part_table(part, head) for part in head.parts}
    return Project(
        path, head.path or path.parent, head.unit, head.neutral_name, fingerprint(head.polygons),
        tuple(Region(name, table) for name, table in sources.items()), parts=parts,
        landmarks={name: place for name, place in marks.points.items() if not isinstance(place, tuple)},
        curves={name: tuple(int(v) for v in curve) for name, curve in marks.curves.items()},  # type: ignore[arg-type]
        guesses=guesses & {*marks.points, *marks.curves},
        axes=None if head.axes.as_they_are else head.axes,
    ), notes  # fmt: skip


def laid_regions_in(
    evaluated: EvaluatedDocument, source: str, preset: str = "face", count: int = MOVING_REGIONS, ramp_mm: float = 8.0,
    softness: float = 1.0,
) -> tuple[Project, list[str]]:  # fmt: skip
    """The project of a document that has no regions, with regions as `laid_regions`, and notes; all else stays.

    Raises MoueError as `laid_regions`, and for a document that has regions.
    """
    project = evaluated.project
    if project.regions:
        raise MoueError(f"has {len(project.regions)} regions already", project.path, hint="give its library instead")
    laid, notes = laid_regions(evaluated.head, project.path, source, preset, count, ramp_mm, softness=softness)
    return project.with_(
        regions=laid.regions, parts=project.parts or laid.parts, topology=laid.topology,
        landmarks={**project.landmarks, **laid.landmarks}, curves={**project.curves, **laid.curves},
        guesses=project.guesses | laid.guesses,
    ), notes  # fmt: skip
