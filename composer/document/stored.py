"""The places of a document's arrays: masks, rigidities and kept shapes, each at a safe and unique path inside it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path, PurePosixPath
from typing import Any, Literal

from composer.document.project import Project
from composer.head.file_names import file_fault, marked, same_file
from composer.head.references import referred

Folder = Literal["masks", "shapes"]
PLAIN = re.compile(r"[A-Za-z0-9._-]{1,60}")
"""Names that a document's own files may have: the same in every zip and on every file system."""


def stored_places(project: Project) -> list[str]:
    """The places of a document's arrays, in order: masks of regions from files, rigidities of hinges, kept shapes."""
    places = [r.source.get("file") for r in project.regions if r.source.get("from") == "file"]
    hinges = [said.get("hinge") for said in project.shapes.values()]
    places += [hinge.get("rigidity") for hinge in hinges if isinstance(hinge, dict)]
    return list(dict.fromkeys([*(place for place in places if isinstance(place, str)), *kept_places(project)]))


def kept_places(project: Project) -> list[str]:
    """The places of the deltas of a document's kept shapes, then of their details at finer levels."""
    deltas = [str(said["delta"]) for said in project.shapes.values() if "delta" in said]
    return deltas + [place for said in project.shapes.values() for place in said.get("detail", {}).values()]


def free_place(name: str, folder: Folder, taken: Iterable[str]) -> str:
    """`FOLDER/NAME.npy` for a region or shape of any name, other than all of `taken` on every file system.

    Plain letters, digits, dots, dashes and underscores stay. A name with other characters, a long one, or one that
    some system reserves gets a suffix (8 hex digits of its SHA-256, normalised as NFC), so that two names never
    collide.
    """
    plain = name if PLAIN.fullmatch(name) and file_fault(name) is None else marked(name)
    known = {same_file(place) for place in taken}
    number, place = 1, f"{folder}/{plain}.npy"
    while same_file(place) in known:
        number += 1
        place = f"{folder}/{plain}_{number}.npy"
    return place


def file_of(project: Project, place: str) -> Path:
    """The file beside a document that holds an array or a picture that it names as `place`.

    Raises MoueError where the document may not refer to it (`composer.head.references`), or it is no regular file.
    """
    return referred(place, project.path, "a file it names", also=project.head_path)


def beside_files(project: Project) -> list[str]:
    """The places of the files of clips and of reference pictures, in order."""
    clips = [clip.file for clip in project.clips if clip.file]
    return list(dict.fromkeys([*clips, *(held.file for held in project.references)]))


def pictures_of(project: Project) -> list[str]:
    """The places of the pictures that regions are read from, in order."""
    return [str(r.source["file"]) for r in project.regions if r.source["from"] == "image" and "file" in r.source]


def with_beside_files(project: Project, places: Mapping[str, str]) -> Project:
    """The project with other places for the files of its clips and reference pictures, {old place: new place}."""
    clips = tuple(clip.with_(file=places.get(clip.file, clip.file)) if clip.file else clip for clip in project.clips)
    references = tuple(replace(held, file=places.get(held.file, held.file)) for held in project.references)
    same = clips == project.clips and references == project.references
    return project if same else project.with_(clips=clips, references=references)


def is_inside(place: str) -> bool:
    """Whether a place lies inside a document: a relative path without `..`, on every system."""
    path = PurePosixPath(place)
    return bool(path.parts) and not (path.is_absolute() or ".." in path.parts or set(place) & set("\\:"))


def with_places(project: Project, arrays: Mapping[str, str], pictures: Mapping[str, str]) -> Project:
    """The project with other places for its `arrays` and for the `pictures` of masks, each {old place: new place}."""
    regions = []
    for region in project.regions:
        moved = {"file": arrays, "image": pictures}.get(str(region.source.get("from")), {})
        place = str(region.source.get("file"))
        regions.append(replace(region, source={**region.source, "file": moved[place]}) if place in moved else region)
    shapes = {name: _shape_at(said, arrays) for name, said in project.shapes.items()}
    return project.with_(regions=tuple(regions), shapes=shapes)


def _shape_at(said: Mapping[str, Any], arrays: Mapping[str, str]) -> dict[str, Any]:
    renamed = dict(said)
    if "delta" in said:
        renamed["delta"] = arrays.get(said["delta"], said["delta"])
    if "detail" in said:
        renamed["detail"] = {level: arrays.get(place, place) for level, place in said["detail"].items()}
    hinge = said.get("hinge")
    if isinstance(hinge, dict):
        renamed["hinge"] = {**hinge, "rigidity": arrays.get(hinge["rigidity"], hinge["rigidity"])}
    return renamed
