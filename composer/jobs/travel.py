"""Files of a job that go to a machine which does not share the asker's storage, and those that come back.

There they lie in a folder of their own, under the places that they have on the asker's machine, so that what names
another by a relative place still does.
"""

from __future__ import annotations

import dataclasses
import os
import shutil
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, TypeVar

from composer.document.store import open_document
from composer.errors import MoueError, cannot
from composer.fitting.fitted_files import MANIFEST, levels_beside
from composer.formats.named_files import named_files
from composer.head.atomic import write_whole
from composer.head.folders import make_folder
from composer.head.new_folder import put_whole
from composer.jobs.content import documents_files, files_in, written
from composer.jobs.errand import Answer, Files, Parcel
from composer.jobs.job import RECORD, Job, JobHead
from composer.jobs.settings import FILES

Moved = TypeVar("Moved", Job, JobHead)


def library_files(job: Job) -> Files:
    """What a job's library, or its document with all that it names, is read from. Raises MoueError."""
    if job.document:
        project = open_document(job.library)
        return _read([job.library, *documents_files(job.library, project.head_path, project.text)])
    return _read([job.mended if "mend" in job.steps else job.library])


def parcel(head: JobHead) -> Parcel:
    """What one head is made from, and what lies in its folder. Raises MoueError for what cannot be read."""
    named = [head.sculpt, head.fitted, head.landmarks, *head.like]
    places = [each for each in named if each is not None]
    if head.fitted is not None:
        places += [*levels_beside(head.fitted), *(each for each in (head.fitted.parent / MANIFEST,) if each.is_file())]
    places += [Path(str(value)) for step, key in FILES if (value := head.setting(step, key))]
    own = _own_files(head.folder)
    return Parcel(_read([*places, *own]), written(head.folder, tuple(own)))


def moved(thing: Moved, root: Path) -> Moved:
    """The same job or head, its absolute places under `root`. Relative places are from a folder under it."""
    fields = {each.name: getattr(thing, each.name) for each in dataclasses.fields(thing)}
    changed = {name: _moved(value, root) for name, value in fields.items() if name != "settings"}
    if isinstance(thing, JobHead):
        settings = {step: dict(values) for step, values in thing.settings.items()}
        for step, key in FILES:
            if value := thing.setting(step, key):
                settings[step][key] = str(_moved(Path(str(value)), root))
        changed["settings"] = settings
    return dataclasses.replace(thing, **changed)


def under(root: Path, place: str | Path) -> Path:
    """Where an absolute place of the asker's machine lies under `root`."""
    parts = Path(place).parts
    drive = parts[0].strip("\\/:")
    return root.joinpath(*([drive] if drive else []), *parts[1:])


def unpack(files: Files, root: Path) -> list[Path]:
    """Write the files under `root`; return their places there."""
    places = []
    for name, content in files.items():
        places.append(under(root, name))
        places[-1].parent.mkdir(parents=True, exist_ok=True)
        places[-1].write_bytes(content)
    return places


def brought_back(folder: Path, lay_there: Mapping[str, str]) -> tuple[dict[str, bytes], tuple[str, ...]]:
    """What a head's folder holds that `lay_there` does not tell of, by name, and what is gone from it."""
    now = written(folder, tuple(_own_files(folder)))
    new = {name: (folder / name).read_bytes() for name, value in now.items() if lay_there.get(name) != value}
    return new, tuple(sorted(lay_there.keys() - now.keys()))


def put(folder: Path, answer: Answer, lay_there: Mapping[str, str]) -> None:
    """Put what came back into a head's folder: each step's folder in one step, the record at the end.

    Raises MoueError where the folder has changed since `lay_there` was told, and where it cannot be written.
    """
    if written(folder, tuple(_own_files(folder))) != lay_there:
        raise MoueError("has been changed while another machine was at work on it", folder, hint="run the job again")
    touched = [*answer.files, *answer.gone]
    for top in sorted({name.partition("/")[0] for name in touched if "/" in name}):
        with put_whole(folder / top) as beside:
            _fill(beside, folder, top, answer, lay_there)
    for name in sorted((name for name in touched if "/" not in name), key=lambda name: name == RECORD):
        if name in answer.files:
            write_whole(folder / name, lambda file, name=name: file.write(answer.files[name]))  # type: ignore[misc]
        else:
            (folder / name).unlink(missing_ok=True)


def _fill(beside: Path, folder: Path, top: str, answer: Answer, lay_there: Mapping[str, str]) -> None:
    """Fill a step's new folder: with what stays of the old one, and what came back."""
    for name in sorted({*lay_there, *answer.files} - set(answer.gone)):
        if not name.startswith(top + "/"):
            continue
        place = beside / name.partition("/")[2]
        make_folder(place.parent)
        if name in answer.files:
            place.write_bytes(answer.files[name])
        else:
            shutil.copy2(folder / name, place)


def _own_files(folder: Path) -> list[Path]:
    return files_in(folder) if folder.is_dir() else []


def _read(places: Iterable[Path]) -> dict[str, bytes]:
    files: dict[str, bytes] = {}
    for file in _with_named(places):
        try:
            files[os.path.abspath(file)] = file.read_bytes()
        except OSError as error:
            raise cannot("read", file, error) from None
    return files


def _with_named(places: Iterable[Path]) -> Iterator[Path]:
    """The files at `places` and in them, and those that a file names."""
    for place in places:
        if place.is_dir():
            yield from files_in(place)
        else:
            yield from (place, *named_files(place))


def _moved(value: Any, root: Path) -> Any:
    if isinstance(value, Path):
        return under(root, value) if value.is_absolute() else value
    if isinstance(value, tuple):
        return tuple(_moved(each, root) for each in value)
    return value
