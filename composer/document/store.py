"""Documents on disk: a bare `document.toml`, or a `.moue` file, a zip with the same text, `masks/NAME.npy` and
`shapes/NAME.npy`.

A save writes beside the file, flushes, and renames over it: a crash at any instant leaves the old file or the new.
Zips are read with suspicion: only the kinds of entries above are opened, names that point outside and sizes
that no document has are refused before anything is unpacked, and nothing is ever unpickled. No dates are written:
the same document gives the same bytes.
"""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import replace
from pathlib import Path, PurePosixPath

import numpy as np
from numpy.typing import NDArray

from composer.document.mask_file import load_delta, load_mask, mask_bytes, read_delta, read_mask
from composer.document.project import Project
from composer.document.read import parse_document, read_document
from composer.document.stored import free_place, is_inside, kept_places, stored_places, with_places
from composer.document.text import document_text, relative_place
from composer.errors import MoueError, cannot
from composer.head.atomic import write_whole
from composer.head.folders import is_folder, make_folder
from masks.polygons import read_only

TEXT = "document.toml"
MOST_TEXT, MOST_MASK, MOST_ENTRIES = 16 << 20, 128 << 20, 10_000
_STAMP = (1980, 1, 1, 0, 0, 0)


def open_document(path: Path | str) -> Project:
    """The project in a `.moue` file or a bare document. Raises MoueError for what is neither, or is damaged."""
    path = Path(path)
    if is_folder(path):
        raise MoueError("is a folder, not a document", path, mend=f"give its {TEXT} or a .moue file")
    if path.suffix.lower() != ".moue":
        return read_document(path)
    try:
        with zipfile.ZipFile(path) as archive:
            return _unpacked(archive, path)
    except zipfile.BadZipFile:
        raise MoueError("is no .moue file, or damaged", path) from None
    except (zlib.error, EOFError, NotImplementedError, RuntimeError):
        raise MoueError("is damaged", path) from None
    except OSError as error:
        raise cannot("read", path, error) from None


def _unpacked(archive: zipfile.ZipFile, path: Path) -> Project:
    entries = archive.infolist()
    if len(entries) > MOST_ENTRIES:
        raise MoueError(f"holds {len(entries)} entries, more than any document has", path)
    names = archive.namelist()
    if len(set(names)) < len(names):
        raise MoueError("holds two entries of one name", path, mend="do not trust it")
    for entry in entries:
        place = PurePosixPath(entry.filename.replace("\\", "/"))
        if place.is_absolute() or ".." in place.parts or ":" in entry.filename:
            raise MoueError(f"holds an entry that points outside: {entry.filename!r}", path, mend="do not trust it")
        if entry.file_size > (MOST_TEXT if entry.filename == TEXT else MOST_MASK):
            raise MoueError(f"holds an entry of {entry.file_size} bytes, more than any document has", path)
    if TEXT not in archive.namelist():
        raise MoueError(f"holds no {TEXT}", path)
    project = parse_document(archive.read(TEXT), path)
    stored: dict[str, NDArray] = {}
    shapes = kept_places(project)
    for name in stored_places(project):
        if name in names:
            data, where = io.BytesIO(archive.read(name)), f"{path} {name}"
            stored[name] = load_delta(data, where) if name in shapes else read_only(load_mask(data, where))
    return replace(project, stored=stored)


def save_document(project: Project, path: Path | str, masks: Mapping[str, NDArray] | None = None) -> Project:
    """Write a project to `path`, `.moue` or a bare document; the project as it then lies there.

    `masks` (n,) by their place in the file join `project.stored`; a bare document gets them as files beside it.
    Raises MoueError where it cannot be written; the old file is then still whole.
    """
    path = Path(path)
    project, stored = _gathered(project, path, {**project.stored, **(masks or {})})
    text = document_text(project, path.parent)
    if path.suffix.lower() == ".moue":
        write_whole(path, lambda file: file.write(_packed(text, stored)))
    else:
        for place, values in stored.items():
            target = path.parent / place
            make_folder(target.parent)
            write_whole(target, lambda file, values=values: file.write(mask_bytes(values)))  # type: ignore[misc]
        write_whole(path, lambda file: file.write(text.encode()))
    return replace(project, path=path, text=text, stored={k: np.asarray(v) for k, v in stored.items()})


def _gathered(project: Project, path: Path, held: Mapping[str, NDArray]) -> tuple[Project, dict[str, NDArray]]:
    """The project as it is to lie at `path`, and the arrays to write with it: those that are `held`, and where it
    goes elsewhere or is packed also those that so far lie in files beside it. Pictures stay where they are.
    """
    stored = {place: held[place] for place in stored_places(project) if place in held}
    elsewhere = project.path.parent.resolve() != path.parent.resolve()
    if not elsewhere and path.suffix.lower() != ".moue":
        return project, stored
    moved, shapes = {}, kept_places(project)
    for place in stored_places(project):
        file = project.path.parent / place
        if place not in stored:
            with suppress(MoueError):  # a file that cannot be read is not taken along, and stays named
                stored[place] = read_delta(file) if place in shapes else read_mask(file)
        if place not in stored:
            moved[place] = relative_place(file, path.parent)
        elif not is_inside(place):
            taken = [*held, *stored_places(project), *moved.values()]
            moved[place] = free_place(file.stem, "shapes" if place in shapes else "masks", taken)
            stored[moved[place]] = stored.pop(place)
    drawn = [str(r.source["file"]) for r in project.regions if r.source["from"] == "image" and "file" in r.source]
    pictures = {place: relative_place(project.path.parent / place, path.parent) for place in drawn}
    return with_places(project, moved, pictures if elsewhere else {}), stored


def _packed(text: str, stored: Mapping[str, NDArray]) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in [(TEXT, text.encode()), *((k, mask_bytes(v)) for k, v in sorted(stored.items()))]:
            archive.writestr(zipfile.ZipInfo(name, _STAMP), data, zipfile.ZIP_DEFLATED)
    return held.getvalue()
