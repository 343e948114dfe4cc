"""Documents on disk: a bare `document.toml`, or a `.moue` file, a zip with the same text, `masks/NAME.npy` and
`shapes/NAME.npy`.

A save is whole or none (`composer.document.one_save`). A zip is not trusted: only the kinds of entries above are
opened, names that point outside and sizes beyond the limits are refused before anything is unpacked, and nothing is
unpickled. No dates are written, so the same document gives the same bytes.
"""

from __future__ import annotations

import hashlib
import io
import zipfile
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import replace
from pathlib import Path, PurePosixPath

import numpy as np
from numpy.typing import NDArray

from composer.document.array_places import holds, with_new_places
from composer.document.mask_file import load_delta, load_mask, mask_bytes, read_delta, read_mask
from composer.document.one_save import arrays_of, finish_saves, hash_of, save_as_one, text_at
from composer.document.project import OnDisk, Project
from composer.document.read import parse_document, read_document
from composer.document.stored import (
    Folder,
    beside_files,
    file_of,
    free_place,
    is_inside,
    kept_places,
    pictures_of,
    stored_places,
    with_beside_files,
    with_places,
)
from composer.document.text import document_text, relative_place
from composer.errors import MoueError
from composer.geometry.polygons import read_only
from composer.head.atomic import write_whole
from composer.head.folders import is_folder, make_folder
from composer.head.lock import alone_with
from composer.head.reading import open_regular, reading
from composer.head.references import check_inside, stays_allowed

TEXT = "document.toml"
MOST_TEXT, MOST_MASK, MOST_ENTRIES = 16 << 20, 128 << 20, 10_000
"""Safety limits: bytes of the text and of one array, and number of entries."""
_STAMP = (1980, 1, 1, 0, 0, 0)


def open_document(path: Path | str) -> Project:
    """The project in a `.moue` file or a bare document, with the arrays in files beside it.

    Raises MoueError for any other file, or a damaged one. An array that cannot be read is an error only when it is
    used.
    """
    path = Path(path)
    if is_folder(path):
        raise MoueError("is a folder, not a document", path, hint=f"give its {TEXT} or a .moue file")
    with reading(path, "a document"):
        on_disk = OnDisk({path.resolve(): hash_of(path)})  # before it is read: what comes later is told as a change
    if path.suffix.lower() != ".moue":
        return replace(_with_files(read_document(path)), on_disk=on_disk)
    with reading(path, "a document"), io.BufferedReader(open_regular(path)) as file:
        try:
            archive = zipfile.ZipFile(file)
        except zipfile.BadZipFile:
            raise MoueError("is no .moue file, or damaged", path) from None
        with archive:
            return replace(_with_files(_unpacked(archive, path)), on_disk=on_disk)


def _unpacked(archive: zipfile.ZipFile, path: Path) -> Project:
    entries = archive.infolist()
    if len(entries) > MOST_ENTRIES:
        raise MoueError(f"holds {len(entries)} entries, more than any document has", path)
    names = archive.namelist()
    if len(set(names)) < len(names):
        raise MoueError("holds two entries of one name", path, hint="do not trust it")
    for entry in entries:
        place = PurePosixPath(entry.filename.replace("\\", "/"))
        if place.is_absolute() or ".." in place.parts or ":" in entry.filename:
            raise MoueError(f"holds an entry that points outside: {entry.filename!r}", path, hint="do not trust it")
        if entry.file_size > (MOST_TEXT if entry.filename == TEXT else MOST_MASK):
            raise MoueError(f"holds an entry of {entry.file_size} bytes, more than any document has", path)
    if TEXT not in archive.namelist():
        raise MoueError(f"holds no {TEXT}", path)
    project = parse_document(_entry(archive, TEXT, MOST_TEXT, path), path)
    stored: dict[str, NDArray] = {}
    shapes = kept_places(project)
    for name in stored_places(project):
        if name in names:
            data, where = io.BytesIO(_entry(archive, name, MOST_MASK, path)), f"{path} {name}"
            stored[name] = load_delta(data, where) if name in shapes else read_only(load_mask(data, where))
    return replace(project, stored=stored)


def _entry(archive: zipfile.ZipFile, name: str, most: int, path: Path) -> bytes:
    """The bytes of an entry, unpacked no further than it said it would be."""
    claimed = archive.getinfo(name).file_size
    with archive.open(name) as entry:
        data = bytearray()
        while len(data) <= min(most, claimed) and (piece := entry.read(1 << 20)):
            data += piece
    if len(data) != claimed:
        raise MoueError(f"holds an entry that is not the {claimed} bytes that it claims: {name[:40]!r}", path)
    return bytes(data)


def _with_files(project: Project) -> Project:
    """The project with all arrays that it names read into memory, so that it no longer depends on their files."""
    read: dict[str, NDArray] = {}
    shapes = kept_places(project)
    for place in stored_places(project):
        if place not in project.stored:
            with suppress(MoueError):
                file = file_of(project, place)
                read[place] = read_delta(file) if place in shapes else read_only(read_mask(file))
    return replace(project, stored={**project.stored, **read}) if read else project


def save_document(
    project: Project, path: Path | str, masks: Mapping[str, NDArray] | None = None, *,
    beside: Callable[[], object] | None = None, new: bool = False, over: bool = False,
) -> Project:  # fmt: skip
    """Write a project to `path`, `.moue` or a bare document. Returns the project as saved.

    `masks` (n,) by their place in the file are added to `project.stored`; a bare document gets them as files beside
    it, and one that has changed gets a new place. What `beside` writes with `write_whole` belongs to this save: it is
    there if and only if the document is the new one. Raises MoueError where it cannot be written; the old document is
    then intact, with its arrays. It also does where somebody else has written the file since this project was opened
    or saved there, unless it may be written `over`, and with `new` where it is there at all.
    """
    path = Path(path)
    with alone_with(path):
        return _saved(project, path, masks or {}, beside, lambda: None if over else _check(project, path, new))


def changed_outside(project: Project, path: Path) -> bool:
    """Whether somebody else has written or removed the document at `path` since this project was opened or saved
    there; False where it never was."""
    known = project.on_disk.hashes.get(path.resolve())
    return known is not None and hash_of(path) != known


def _check(project: Project, path: Path, new: bool) -> None:
    """Raises MoueError where a file at `path` is not what this project knows."""
    if new and path.exists():
        raise MoueError("is there already", path, hint="give another file")
    if path.exists() and changed_outside(project, path):
        what = "has been changed by somebody else since it was opened"
        raise MoueError(what, path, hint="open it again, or save under another name")


def _saved(
    project: Project, path: Path, masks: Mapping[str, NDArray], beside: Callable[[], object] | None,
    check: Callable[[], None],
) -> Project:  # fmt: skip
    check()
    finish_saves(path)
    project = _gathered(project, path, masks)
    if path.suffix.lower() == ".moue":
        text = document_text(project, path.parent)
        packed = _packed(text, project.stored)
        save_as_one(path, lambda file: file.write(packed), arrays=lambda: None, beside=beside, before=check)
    else:
        project = with_new_places(project, path)
        text = document_text(project, path.parent)
        named = arrays_of(text.encode())
        gone = [place for place in arrays_of(text_at(path)) if place not in named and is_inside(place)]
        save_as_one(
            path, lambda file: file.write(text.encode()), arrays=lambda: _write_arrays(project, path), gone=gone,
            beside=beside, before=check,
        )  # fmt: skip
        packed = text.encode()
    project.on_disk.hashes[path.resolve()] = hashlib.sha256(packed).hexdigest()
    return replace(project, text=text, stored={k: np.asarray(v) for k, v in project.stored.items()})


def _write_arrays(project: Project, path: Path) -> None:
    """Write the arrays of a bare document that their files do not hold yet."""
    for place, values in project.stored.items():
        target = path.parent / place
        if not holds(target, values):
            check_inside(target, path, "a file it names", also=project.head_path)
            make_folder(target.parent)
            write_whole(target, lambda file, values=values: file.write(mask_bytes(values)))  # type: ignore[misc]


def moved_to(project: Project, path: Path) -> Project:
    """The project as a document at another path. Pictures, files of clips and of references, and arrays that it
    does not hold, stay in place; their paths become relative to the new folder.
    """
    if project.path.parent.resolve() == path.parent.resolve():
        return replace(project, path=path)
    drawn = pictures_of(project)
    arrays = [place for place in stored_places(project) if place not in project.stored]
    animated = beside_files(project)
    for place in (*drawn, *arrays, *animated):
        stays_allowed(project.path.parent / place, project.path, path, project.head_path)
    new_places = {place: relative_place(project.path.parent / place, path.parent)
                  for place in (*drawn, *arrays, *animated)}  # fmt: skip
    animated_there = with_beside_files(project, new_places)
    return replace(with_places(animated_there, {place: new_places[place] for place in arrays}, new_places), path=path)


def _gathered(project: Project, path: Path, masks: Mapping[str, NDArray]) -> Project:
    """The project to be written at `path`, with `masks` and the arrays of files beside it. In a `.moue` file or another
    folder each array gets a place inside the document.
    """
    moved = moved_to(_with_files(replace(project, stored={**project.stored, **masks})), path)
    used = stored_places(moved)
    stored = {place: moved.stored[place] for place in used if place in moved.stored}
    if path.suffix.lower() == ".moue" or project.path.parent.resolve() != path.parent.resolve():
        inside: dict[str, str] = {}
        shapes = kept_places(moved)
        for place in [place for place in stored if not is_inside(place)]:
            folder: Folder = "shapes" if place in shapes else "masks"
            inside[place] = free_place(PurePosixPath(place).stem, folder, [*used, *inside.values()])
        moved = with_places(moved, inside, {}) if inside else moved
        stored = {inside.get(place, place): values for place, values in stored.items()}
    return replace(moved, stored=stored)


def _packed(text: str, stored: Mapping[str, NDArray]) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in [(TEXT, text.encode()), *((k, mask_bytes(v)) for k, v in sorted(stored.items()))]:
            archive.writestr(zipfile.ZipInfo(name, _STAMP), data, zipfile.ZIP_DEFLATED)
    return held.getvalue()
