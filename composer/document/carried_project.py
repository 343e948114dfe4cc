"""The document of a carried head, not saved yet: what it says by vertices stays, the rest is carried or stored.

Recipes, correctives, landmarks, in-betweens, sets and locks, and masks from landmarks, loops, vertices and files stay
as they are. Masks made from the old head's shapes, groups or pictures are stored as arrays, so that no region changes.
Kept shapes and hinges are carried.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.document.part_table import part_table
from composer.document.project import Project, Region
from composer.document.stored import beside_files, free_place, stored_places, with_beside_files
from composer.document.text import relative_place
from composer.fitting.carry_head import HeadCarrier
from composer.head.fingerprint import fingerprint
from composer.head.head import Head, Part
from composer.head.parts import recognise_parts
from composer.units import mm_per


def carried_project(
    evaluated: EvaluatedDocument, carrier: HeadCarrier, made: Head, path: Path, head_path: Path,
    levels: Mapping[int, Path],
) -> Project:  # fmt: skip
    """The document of the carried head `made`, to be saved at `path`. Its library lies at `head_path`, in the folders
    of `levels` at finer levels; arrays that it names are in `stored`."""
    old = evaluated.project
    animated = {place: relative_place(old.path.parent / place, path.parent) for place in beside_files(old)}
    old = with_beside_files(old, animated)
    stored: dict[str, NDArray] = dict(old.stored)
    taken = [*stored_places(old), *stored]
    to_store = set(without_source(evaluated, carrier.fitted))
    regions = []
    for region in old.regions:
        if region.name in to_store:
            place = free_place(region.name, "masks", taken)
            taken.append(place)
            stored[place] = evaluated.raw[region.name].astype(np.float32)
            region = replace(region, source={"from": "file", "file": place})
        regions.append(region)
    shapes = {name: _shape(evaluated, carrier, made, name, said, stored) for name, said in old.shapes.items()}
    return old.with_(
        path=path, head_path=head_path, unit=made.unit, topology=fingerprint(made.polygons),
        neutral=made.neutral_name if old.neutral is not None or made.neutral_name != "neutral" else None,
        regions=tuple(regions), shapes=shapes, stored=stored, parts=_parts(evaluated, carrier.fitted, made),
        levels=dict(levels), axes=None if made.axes.as_they_are else made.axes,
    )  # fmt: skip


def without_source(evaluated: EvaluatedDocument, fitted: Head) -> list[str]:
    """Names of the regions whose masks come from what the fitted head does not have in the same way: the old shapes'
    displacement, a group or material, texture coordinates."""
    return [region.name for region in evaluated.project.regions if not _still_there(region, evaluated.head, fitted)]


def _still_there(region: Region, old: Head, fitted: Head) -> bool:
    """Whether the source of a region's mask is the same on the fitted head."""
    kind = region.source["from"]
    if kind == "group":
        return _same_faces(region.source, old, fitted)
    if kind == "image":
        a, b = old.uv, fitted.uv
        return bool(a and b and np.array_equal(a.uv, b.uv) and np.array_equal(a.indices, b.indices))
    return kind != "displacement"


def _same_faces(said: Mapping[str, Any], old: Head, fitted: Head) -> bool:
    """Whether the group or material that a table names has the same polygons on both heads; true if it names none."""
    for key, one, other in (("group", old.groups, fitted.groups), ("material", old.materials, fitted.materials)):
        if key in said:
            a, b = one.get(str(said[key])), other.get(str(said[key]))
            if a is None or b is None or not np.array_equal(np.sort(a), np.sort(b)):
                return False
    return True


def _shape(
    evaluated: EvaluatedDocument, carrier: HeadCarrier, made: Head, name: str, said: Mapping[str, Any],
    stored: dict[str, NDArray],
) -> dict[str, Any]:  # fmt: skip
    """A shape's table for the carried head; its arrays go to `stored`."""
    new = dict(said)
    delta = made.shape(name).delta if name in made.shape_index else None
    if "delta" in said:
        delta = carrier.carry(name, evaluated.head.shape(name).delta).astype(np.float32)
        stored[str(said["delta"])] = delta
    for place in said.get("detail", {}).values():
        if place in stored:
            stored[place] = (np.asarray(stored[place], dtype=np.float64) * carrier.scale).astype(np.float32)
    if isinstance(said.get("hinge"), Mapping) and delta is not None and name in evaluated.hinges:
        hinge = carrier.hinge(name, evaluated.hinges[name], delta)
        place = str(said["hinge"]["rigidity"])
        stored[place] = hinge.rigidity
        new["hinge"] = {
            "axis": [round(float(v), 9) for v in hinge.axis],
            "origin": [round(float(v) / mm_per(made.unit), 9) for v in hinge.origin],
            "angle_deg": round(hinge.angle_deg, 9), "explained": round(hinge.explained, 6), "rigidity": place,
        }  # fmt: skip
    return new


def _parts(evaluated: EvaluatedDocument, fitted: Head, made: Head) -> dict[str, Mapping[str, Any]]:
    """The document's tables of parts: its own where they name the same polygons, else lists of vertices.

    Empty where the document has none of its own and the same parts are recognised in the carried library.
    """
    if not evaluated.project.parts:
        groups = fitted.groups if fitted.neutral_file is not None else made.groups
        if _same_parts(recognise_parts(made.with_(parts=(), groups=groups)), evaluated.head.parts):
            return {}
    said: dict[str, Mapping[str, Any]] = dict(evaluated.project.parts)
    for part in evaluated.head.parts:
        table = said.get(part.name)
        if table is None or not _same_faces(table, evaluated.head, fitted):
            said[part.name] = part_table(part, fitted.with_(groups={}, materials={}))
    return said


def _same_parts(one: tuple[Part, ...], other: tuple[Part, ...]) -> bool:
    return len(one) == len(other) and all(
        a.name == b.name and a.follows == b.follows and np.array_equal(a.vertices, b.vertices)
        for a, b in zip(one, other, strict=True)
    )
