"""Opening a document, or a library that has no document yet."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from composer.document.evaluated import EvaluatedDocument
from composer.document.mask_file import read_mask
from composer.document.masks_of import moving_regions
from composer.document.project import Project
from composer.document.region_sources import MOVING_REGIONS
from composer.document.store import open_document
from composer.document.stored import file_of
from composer.edits.lay_regions import laid_regions
from composer.errors import MoueError
from composer.formats.arrival import HeadArrival
from composer.formats.library import open_library
from composer.formats.mesh_head import head_of
from composer.formats.sculpt_mesh import read_sculpt_mesh
from composer.head.coarse_head import coarse_head
from composer.head.fingerprint import fingerprint
from composer.head.head import Head, Shape
from composer.head.landmark_file import read_landmark_pairs, read_zones
from composer.head.understand.anatomy import with_anatomy_of
from composer.progress import Progress
from composer.viewer.new_head.new_head import NewHead
from masks.from_displacement import MovingRegions

DOCUMENTS = (".moue", ".toml")
LOOK_FROM = 20_000
"""Vertices from which a head's neutral is shown before all else is read: smaller ones are open within two seconds."""
EVERY_SECONDS = 0.4
"""A head that is looked at while it is read gets its new shapes this often: our choice."""
LEAST_REGIONS = 8
"""A library whose found landmarks give fewer regions is better divided by what moves together (our choice)."""


@dataclass(frozen=True)
class Opened:
    """What was opened: `evaluated`, `file` the document it came from or None, `notes` to tell, and whether it was
    `recovered` from a copy that no file holds yet."""

    evaluated: EvaluatedDocument
    file: Path | None
    notes: tuple[str, ...]
    recovered: bool = False


def nobody_looks(_: Opened) -> None:
    """For who opens a head only when it is whole."""


def open_path(path: Path, progress: Progress, first: Callable[[Opened], None] = nobody_looks) -> Opened:
    """The document, folder or file at `path`, ready to mix. The neutral of a head of many vertices goes to `first` as
    soon as it is read, as a head without shapes and a project without regions.

    A folder that holds a document is opened by it. A library without one gets regions from its landmarks, or from
    those that are found where nobody has marked it; from what moves together where few are found, and none at all
    where it has no shapes. Raises MoueError for what cannot be used.
    """
    if not path.exists():
        raise MoueError("is not there", path)
    if path.suffix.lower() in DOCUMENTS:
        return _document(path, progress, first)
    inside = path / "document.toml"
    if path.is_dir() and inside.is_file():
        return _document(inside, progress, first)
    place = path.parent / f"{path.stem}.moue"
    head = open_library(
        path, None, None, progress=lambda f, words: progress(0.8 * f, words), recognise=True,
        told=Arriving(place, first).told,
    )  # fmt: skip
    progress(0.82, "finding regions")
    found: MovingRegions | None = None
    if head.landmarks:
        project, notes = laid_regions(head, place, "landmarks")
    elif head.shapes:
        laid = _by_found_landmarks(head, place)
        if laid is None:
            found = moving_regions(head, MOVING_REGIONS, coarse=True)
            laid = laid_regions(head, place, "displacement", found=found)
        project, notes = laid
    else:
        project = _bare(head, place)
        notes = list(head.notes)
        notes.append("It holds no shapes: regions can be painted, and there is nothing to mix yet.")
    evaluated = EvaluatedDocument(project, head)
    if found is not None:
        evaluated.take_moving(MOVING_REGIONS, found, coarse_head(head) is not None)
    progress(0.9, "sharing regions")
    _ = evaluated.effective
    return Opened(evaluated, None, tuple(notes))


def _bare(head: Head, place: Path) -> Project:
    """A project of a head that says nothing but which head it is."""
    axes = None if head.axes.as_they_are else head.axes
    return Project(place, head.path or place, head.unit, head.neutral_name, fingerprint(head.polygons), axes=axes)


class Arriving:
    """A head of many vertices while it is read, to be looked at: `first` gets its neutral, bare skin, and then it with
    the shapes that are read so far, at most once in EVERY_SECONDS."""

    def __init__(self, place: Path, first: Callable[[Opened], None]) -> None:
        self.told = HeadArrival(self._neutral, self._shape)
        self._place, self._first = place, first
        self._head: Head | None = None
        self._shapes: list[Shape] = []
        self._next = 0.0

    def _neutral(self, neutral: Head) -> None:
        if neutral.n_vertices < LOOK_FROM:
            return
        bare = neutral.with_(shapes=(), groups={}, materials={}, uv=None, landmarks=None)
        vars(bare)["surface"] = neutral.surface
        self._head, self._shapes = bare, []
        self._show()

    def _shape(self, shape: Shape) -> None:
        if self._head is None:
            return
        self._shapes.append(shape)
        if time.monotonic() >= self._next:
            self._show()

    def _show(self) -> None:
        assert self._head is not None
        self._head = with_anatomy_of(self._head.with_(shapes=tuple(self._shapes)), self._head)
        vars(self._head).pop("anatomy", None)
        self._first(Opened(EvaluatedDocument(_bare(self._head, self._place), self._head), None, ()))
        self._next = time.monotonic() + EVERY_SECONDS


def _by_found_landmarks(head: Head, place: Path) -> tuple[Project, list[str]] | None:
    """The head with regions by landmarks that are found on it; None where that gives but a few."""
    try:
        project, notes = laid_regions(head, place, "landmarks")
    except MoueError:
        return None
    return (project, notes) if len(project.regions) >= LEAST_REGIONS else None


def open_recovered(project: Project, file: Path | None, progress: Progress) -> Opened:
    """A project from a copy that was kept, in the place of its document. Raises MoueError as `open_path`."""
    evaluated = EvaluatedDocument.open(project, lambda f, words: progress(0.9 * f, words))
    _ = evaluated.effective
    return Opened(evaluated, file, tuple(evaluated.notes), True)


def _document(path: Path, progress: Progress, first: Callable[[Opened], None]) -> Opened:
    project = open_document(path)
    evaluated = EvaluatedDocument.open(
        _with_files(project), lambda f, words: progress(0.85 * f, words), Arriving(path, first).told
    )
    progress(0.9, "sharing regions")
    _ = evaluated.effective
    return Opened(evaluated, path, tuple(evaluated.notes))


def _with_files(project: Project) -> Project:
    """The project holding the masks that lie as files beside it, so that it can be saved anywhere."""
    stored = dict(project.stored)
    for region in project.regions:
        place = region.source.get("file")
        if region.source.get("from") == "file" and isinstance(place, str) and place not in stored:
            mask = read_mask(file_of(project, place))
            mask.setflags(write=False)
            stored[place] = mask
    return project.with_(stored=stored) if len(stored) > len(project.stored) else project


def open_new_head(library: Head, path: Path, progress: Progress) -> NewHead:
    """A sculpt to bring `library` onto, with the landmarks that lie beside it as NAME.landmarks.toml.

    Raises MoueError for what is no mesh, and for a library without landmarks.
    """
    if not library.landmarks:
        raise MoueError("this library has no landmarks", library.path, hint="place them first, under Landmarks")
    progress(0.1, "reading")
    new = NewHead(library, head_of(read_sculpt_mesh(path)))
    beside, kept = new.landmark_place, new.copy_place
    if beside.is_file():
        new.read_landmarks(read_landmark_pairs(beside)[1], zones=read_zones(beside, library.polygons))
    if kept.is_file() and not (beside.is_file() and beside.stat().st_mtime > kept.stat().st_mtime):
        zones = read_zones(kept, library.polygons)
        new.read_landmarks(read_landmark_pairs(kept)[1], saved=False, zones=zones)
        new.notes.append("The landmarks come from a copy that was not saved; undo goes back to the saved ones.")
    return new
