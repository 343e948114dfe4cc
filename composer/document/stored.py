"""Where a document's arrays lie: masks, rigidities and kept shapes, each at a place inside it, safe and its own."""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import PurePosixPath
from typing import Any, Literal

from composer.document.project import Project
from composer.document.values import RESERVED_FILES

Folder = Literal["masks", "shapes"]
LONGEST_STEM = 60


def stored_places(project: Project) -> list[str]:
    """Where a document's arrays lie, in order: masks of regions from files, rigidities of hinges, kept shapes."""
    places = [r.source.get("file") for r in project.regions if r.source.get("from") == "file"]
    hinges = [said.get("hinge") for said in project.shapes.values()]
    places += [hinge.get("rigidity") for hinge in hinges if isinstance(hinge, dict)]
    return list(dict.fromkeys([*(place for place in places if isinstance(place, str)), *kept_places(project)]))


def kept_places(project: Project) -> list[str]:
    """Where the deltas of a document's kept shapes lie, and their details at finer levels."""
    deltas = [str(said["delta"]) for said in project.shapes.values() if "delta" in said]
    return deltas + [place for said in project.shapes.values() for place in said.get("detail", {}).values()]


def free_place(name: str, folder: Folder, taken: Iterable[str]) -> str:
    """`FOLDER/NAME.npy` for a region or shape of any name, other than all of `taken` on every file system.

    Plain letters, digits, dots, dashes and underscores stay; a name with others, a long one, or one
    that some system keeps for itself, gets a mark of its own (8 hex digits of its SHA-256, normalised as NFC), so that
    two names never meet.
    """
    plain = re.sub(r"[^A-Za-z0-9._-]+", "_", name)[:LONGEST_STEM].strip("._ ")
    if plain != name or plain.split(".")[0].lower() in RESERVED_FILES:
        mark = hashlib.sha256(unicodedata.normalize("NFC", name).encode("utf-8", "surrogatepass")).hexdigest()[:8]
        plain = f"{plain.replace('.', '_')}_{mark}" if plain else mark
    known = {place.casefold() for place in taken}
    number, place = 1, f"{folder}/{plain}.npy"
    while place.casefold() in known:
        number += 1
        place = f"{folder}/{plain}_{number}.npy"
    return place


def is_inside(place: str) -> bool:
    """Whether a place lies inside a document: a plain path downwards, as every system reads it."""
    path = PurePosixPath(place)
    return bool(path.parts) and not (path.is_absolute() or ".." in path.parts or set(place) & set("\\:"))


def with_places(project: Project, arrays: Mapping[str, str], pictures: Mapping[str, str]) -> Project:
    """The project with its `arrays`, and the `pictures` that masks are drawn on, at other places, by the old ones."""
    regions = []
    for region in project.regions:
        moved = {"file": arrays, "image": pictures}.get(str(region.source.get("from")), {})
        place = str(region.source.get("file"))
        regions.append(replace(region, source={**region.source, "file": moved[place]}) if place in moved else region)
    shapes = {name: _shape_at(said, arrays) for name, said in project.shapes.items()}
    return project.with_(regions=tuple(regions), shapes=shapes)


def _shape_at(said: Mapping[str, Any], arrays: Mapping[str, str]) -> dict[str, Any]:
    made = dict(said)
    if "delta" in said:
        made["delta"] = arrays.get(said["delta"], said["delta"])
    if "detail" in said:
        made["detail"] = {level: arrays.get(place, place) for level, place in said["detail"].items()}
    hinge = said.get("hinge")
    if isinstance(hinge, dict):
        made["hinge"] = {**hinge, "rigidity": arrays.get(hinge["rigidity"], hinge["rigidity"])}
    return made
