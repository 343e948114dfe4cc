"""A document carried from an old head to a new head of the same topology, with its library.

Everything stated by vertices or polygons stays the same: recipes, correctives, landmarks, in-betweens, sets and locks,
masks from landmarks, loops, vertices and files. Masks made from the old head's shapes, groups or pictures are stored as
arrays, so that no region changes. Kept shapes, hinges and levels are carried. The result is written to a temporary
folder and moved to its place in one step, or not at all.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_level import EvaluatedLevel
from composer.document.part_table import part_table
from composer.document.project import Project, Region
from composer.document.store import open_document, save_document
from composer.document.stored import free_place, stored_places
from composer.fitting.carry import Way
from composer.fitting.carry_head import HeadCarrier, carried_head
from composer.fitting.contact import Met
from composer.formats.mesh import mesh_of
from composer.formats.obj_text import ObjText
from composer.formats.registry import format_of, write_mesh
from composer.head.detail import Detail
from composer.head.file_names import check_file_names
from composer.head.fingerprint import fingerprint
from composer.head.folders import make_folder
from composer.head.head import Head, Part
from composer.head.landmarks import write_landmarks
from composer.head.levels import levels as levels_of
from composer.head.levels import refine
from composer.head.new_folder import filled_whole
from composer.head.parts import recognise_parts
from composer.progress import Progress
from composer.units import mm_per

MANIFEST = "moue-carry.json"
LIBRARY = "library"


def carry_library(
    head: Head, fitted: Head, folder: Path | str, *, way: Way = "gradient", ways: Mapping[str, Way] | None = None,
    contact: bool = True, met: dict[str, list[Met]] | None = None, progress: Progress | None = None,
) -> Head:  # fmt: skip
    """Carry a bare library to the fitted head and write it to `folder`, with its own file names and landmarks.

    `fitted` is a head of the same topology. If it was read from an OBJ, targets are that text with other vertices. All
    are in the fitted head's unit. `met`, if given, is filled with how lips and lids close in each shape. Returns the
    carried head. Raises MoueError as `HeadCarrier`, where `folder` holds anything but an unchanged earlier carry, and
    where it cannot be written; nothing is written then.
    """
    _check_names(head)
    carrier = HeadCarrier(head, fitted, way, ways, contact)
    made = carried_head(carrier, _part_of(progress, 0.0, 0.7))
    _tell(carrier, met)
    with filled_whole(folder, MANIFEST, "carry") as beside:
        _write_library(made, beside, head, _part_of(progress, 0.7, 1.0))
    return made.with_(path=Path(folder))


def carry_document(
    evaluated: EvaluatedDocument, fitted: Head, folder: Path | str, *, way: Way = "gradient",
    ways: Mapping[str, Way] | None = None,
    contact: bool = True, finer: Mapping[int, NDArray] | None = None, met: dict[str, list[Met]] | None = None,
    progress: Progress | None = None,
) -> Project:  # fmt: skip
    """Carry an open document to the fitted head: `folder` gets the document under its own name, its library in
    `library`, its levels in `levelK`. Returns the new document, read back.

    `finer` gives the fitted head's own neutral (n_k, 3) mm at some levels, vertices in Moue's order; `met` as
    `carry_library`.

    Raises MoueError as `carry_library`; nothing is written then.
    """
    _check_names(evaluated.library, bool(evaluated.project.levels or finer))
    carrier = HeadCarrier(whole_head(evaluated), fitted, way, ways, contact)
    made = carried_head(carrier, _part_of(progress, 0.0, 0.6))
    _tell(carrier, met)
    name = evaluated.project.path.name
    with filled_whole(folder, MANIFEST, "carry") as beside:
        _write_library(made, beside / LIBRARY, evaluated.library, _part_of(progress, 0.6, 0.75))
        levels = _write_levels(evaluated, made, beside, finer or {}, carrier.scale, _part_of(progress, 0.75, 0.95))
        project = _project(evaluated, carrier, made, beside, levels)
        save_document(project, beside / name)
        EvaluatedDocument.open(open_document(beside / name))  # an error here leaves nothing behind
    if progress is not None:
        progress(1.0, name)
    return open_document(Path(folder) / name)


def _tell(carrier: HeadCarrier, met: dict[str, list[Met]] | None) -> None:
    if met is not None:
        met.update(carrier.met)


def whole_head(evaluated: EvaluatedDocument) -> Head:
    """The head from which a document is carried: its library's own shapes, with the document's parts and landmarks."""
    return evaluated.library.with_(parts=evaluated.head.parts, landmarks=evaluated.head.landmarks)


def _project(
    evaluated: EvaluatedDocument, carrier: HeadCarrier, made: Head, folder: Path, levels: Mapping[int, Path]
) -> Project:
    """The document of the carried head."""
    old = evaluated.project
    stored: dict[str, NDArray] = dict(old.stored)
    taken = [*stored_places(old), *stored]
    regions = []
    for region in old.regions:
        if not _still_there(region, evaluated.head, carrier.fitted):
            place = free_place(region.name, "masks", taken)
            taken.append(place)
            stored[place] = evaluated.raw[region.name].astype(np.float32)
            region = Region(region.name, {"from": "file", "file": place}, region.set, region.locked)
        regions.append(region)
    shapes: dict[str, dict[str, Any]] = {}
    for name, said in old.shapes.items():
        shapes[name] = _shape(evaluated, carrier, made, name, said, stored, taken)
    return old.with_(
        path=folder / old.path.name, head_path=_library_path(evaluated.library, folder), unit=made.unit,
        topology=fingerprint(made.polygons),
        neutral=made.neutral_name if old.neutral is not None or made.neutral_name != "neutral" else None,
        regions=tuple(regions), shapes=shapes, stored=stored, parts=_parts(evaluated, carrier.fitted, made),
        levels=dict(levels),
    )  # fmt: skip


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
    evaluated: EvaluatedDocument, carrier: HeadCarrier, made: Head, name: str, said: Mapping[str, Any], stored:
    dict[str, NDArray],
    taken: list[str],
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


def _write_levels(
    evaluated: EvaluatedDocument,
    made: Head,
    folder: Path,
    finer: Mapping[int, NDArray],
    scale: float,
    progress: Progress | None,
) -> dict[int, Path]:
    """Write the library at finer levels, one target at a time: the document's levels, and those of `finer` neutrals.

    A shape's detail is that of the old shape beyond the old neutral, times `scale`, added to the new neutral's own in
    the local frames of the carried pose. A neutral that is not among `finer` is the fitted one, subdivided.
    """
    levels: dict[int, Path] = {}
    for level in sorted({*evaluated.project.levels, *finer}):
        levels[level] = folder / f"level{level}"
        make_folder(levels[level])
        old = EvaluatedLevel(evaluated, level).detail if level in evaluated.project.levels else None
        rest = finer.get(level)
        new = Detail(
            made, level, refine(made.neutral, levels_of(made.polygons, level)) if rest is None else rest, _none
        )
        finest = Head(made.name, new.steps[-1].polygons, new.add(made.neutral, new.neutral), unit=made.unit)
        write_mesh(levels[level] / f"{made.neutral_name}.obj", mesh_of(finest))
        for done, shape in enumerate(made.shapes if old is not None else ()):
            local = old.of(shape.name) if old is not None and shape.name in evaluated.head.shape_index else None
            if progress is not None:
                progress(done / len(made.shapes), f"level {level}: {shape.name}")
            if local is not None:
                points = new.add(made.neutral + shape.delta, new.neutral + scale * local)
                write_mesh(levels[level] / f"{shape.name}.obj", mesh_of(finest, points))
    return levels


def _none(_name: str) -> None:
    """No target at this level, for any shape."""


def _holds_all(head: Head) -> bool:
    """Whether a library is one file that holds all its shapes."""
    return head.path is not None and head.path.is_file() and format_of(head.path).many_shapes


def _check_names(library: Head, levels: bool = False) -> None:
    """Raises MoueError for names that no file may have, where each shape becomes a file of its name."""
    if levels or not _holds_all(library):
        check_file_names([library.neutral_name, *library.shape_names], ".obj", "shape", library.path)


def _library_path(old: Head, folder: Path) -> Path:
    return folder / LIBRARY / old.path.name if old.path is not None and _holds_all(old) else folder / LIBRARY


def _write_library(made: Head, folder: Path, old: Head, progress: Progress | None) -> None:
    """Write the carried library in the layout of the old one: a folder of targets, or one file that holds them all."""
    make_folder(folder)
    if old.path is not None and _holds_all(old):
        write_mesh(folder / old.path.name, mesh_of(made, shapes=True))
    else:
        text = ObjText(made.neutral_file) if made.neutral_file is not None else None
        targets: list[tuple[str, NDArray]] = [(made.neutral_name, made.neutral)]
        targets += [(shape.name, made.neutral + shape.delta) for shape in made.shapes]
        for done, (name, points) in enumerate(targets):
            if progress is not None:
                progress(done / len(targets), f"writing {name}")
            if text is not None:
                unmoved = np.all(points == made.neutral, axis=1)
                positions = np.where(unmoved[:, None], text.positions, points / mm_per(made.unit))
                text.write(folder / f"{name}.obj", positions, moved=~unmoved)
            else:
                write_mesh(folder / f"{name}.obj", mesh_of(made, points))
    if made.landmarks is not None:
        write_landmarks(folder / "landmarks.toml", made.landmarks)


def _part_of(progress: Progress | None, low: float, high: float) -> Callable[[float, str], None] | None:
    """Progress that runs from `low` to `high` of the whole."""
    if progress is None:
        return None
    return lambda fraction, words: progress(low + (high - low) * fraction, words)
