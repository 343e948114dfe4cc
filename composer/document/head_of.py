"""The head of a document: the library with the document's parts, in-betweens, kept shapes, landmarks, earlier heads.

Shapes, parts and data derived from the neutral are shared with the library, and with the head of the document's earlier
state, wherever nothing changed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from composer.document.earlier_heads import files_of, with_earlier
from composer.document.mask_file import checked_delta, read_delta
from composer.document.part_table import part_of
from composer.document.project import EarlierFile, Project
from composer.document.stored import file_of
from composer.document.values import Values
from composer.errors import MoueError, unknown
from composer.head.head import Head, InBetween, Part, Shape
from composer.head.landmarks import Landmarks
from composer.head.understand.anatomy import with_anatomy_of

SHOWN = ("label", "group", "marked", "hidden")
"""Keys of a shape that change only how it is shown."""


@dataclass(frozen=True, eq=False)
class DocumentHead:
    """A state of a document: its project, its head, the files of its earlier heads by name, and sentences on those
    that were left out.
    """

    project: Project
    head: Head
    earlier: Mapping[str, EarlierFile] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


def head_of(project: Project, library: Head, before: DocumentHead | None = None) -> DocumentHead:
    """The library's head with the document's changes; the library itself where there are none.

    With `before`, of the same library, everything that did not change is shared: the whole head if nothing did.
    Raises MoueError for parts, shapes or landmarks that do not fit the library.
    """
    if before is not None and _says_the_same(project, before.project):
        return DocumentHead(project, before.head, before.earlier, before.notes)
    parts, shapes, landmarks = _parts(project, library, before), _shapes(project, library, before), library.landmarks
    if project.landmarks or project.curves:
        points = {**(landmarks.points if landmarks else {}), **project.landmarks}
        curves = {**(landmarks.curves if landmarks else {}), **project.curves}
        landmarks = Landmarks(points, curves).check(library.n_vertices, project.path)
    same = len(shapes) == len(library.shapes) and all(a is b for a, b in zip(shapes, library.shapes, strict=True))
    head = library
    if not same or parts is not library.parts or landmarks is not library.landmarks:
        head = library.with_(parts=parts, shapes=shapes, landmarks=landmarks)
        if same:
            with_anatomy_of(head, library)
        vars(head)["surface"] = library.surface  # it depends on the neutral alone
        if before is not None and parts is before.head.parts:
            vars(head)["skin"] = before.head.skin
    known = {}
    if before is not None and parts is before.head.parts:
        known = {
            shape.name: (before.earlier[shape.name], shape) for shape in before.head.shapes if shape.is_head
        }
    files = files_of(project)
    head, notes = with_earlier(head, project.path, files, known)
    return DocumentHead(project, head, files, tuple(notes))


def unknown_shown(project: Project, head: Head) -> list[str]:
    """A sentence on each shape that the document marks or labels and the head does not have."""
    return [
        f"The document mentions a shape {name!r} that the head does not have." for name, said in project.shapes.items()
        if name not in head.shape_index and said and set(said) <= set(SHOWN)
    ]  # fmt: skip


def _says_the_same(project: Project, before: Project) -> bool:
    if project.parts is not before.parts and project.parts != before.parts:
        return False
    for now, earlier in ((project.landmarks, before.landmarks), (project.curves, before.curves)):
        if now is not earlier and now != earlier:
            return False
    if project.earlier is not before.earlier and project.earlier != before.earlier:
        return False
    if project.shapes is before.shapes and project.stored is before.stored:
        return True
    said, said_before = _of_head(project), _of_head(before)
    return list(said) == list(said_before) and all(
        keys == said_before[name][0] and held is said_before[name][1] for name, (keys, held) in said.items()
    )


def _of_head(project: Project) -> dict[str, tuple[dict[str, Any], Any]]:
    """By shape, what the document says that changes the head, and the stored array of a kept shape."""
    said = {name: {key: own[key] for key in ("inbetweens", "delta", "replaces") if key in own}
            for name, own in project.shapes.items()}  # fmt: skip
    return {name: (own, project.stored.get(own.get("delta", ""))) for name, own in said.items() if own}


def _parts(project: Project, library: Head, before: DocumentHead | None) -> tuple[Part, ...]:
    if not project.parts:
        return library.parts
    if before is not None and project.parts == before.project.parts:
        return before.head.parts
    tables = {name: Values(table, project.path, f"part {name!r}") for name, table in project.parts.items()}
    return tuple(part_of(table, name, library) for name, table in tables.items())


def _shapes(project: Project, library: Head, before: DocumentHead | None) -> tuple[Shape, ...]:
    """The library's shapes, then the kept ones; in-betweens become part of the shapes that pass through them."""
    known = {shape.name: shape for shape in before.head.shapes} if before is not None else {}
    held = {shape.name: shape for shape in library.shapes}
    for name, said in project.shapes.items():
        if "delta" in said:
            own = held.get(name)
            if (own is not None and not said.get("replaces")) or name == library.neutral_name:
                what = f"shape {name!r} is kept in the document, and the head has one too"
                raise MoueError(what, project.path, hint="rename the kept one, or say replaces = true")
            held[name] = Shape(
                name, _kept(project, library, str(said["delta"]), before), () if own is None else own.inbetweens
            )
    used: set[str] = set()
    for name, said in project.shapes.items():
        if name not in held:
            if said and set(said) <= set(SHOWN):
                continue
            raise unknown("shape", name, held, project.path)
        between = _between(name, said, held, project.path)
        if between:
            used.update(str(entry["target"]) for entry in said["inbetweens"])
            held[name] = Shape(name, held[name].delta, between)
    return tuple(_shared(shape, known) for shape in held.values() if shape.name not in used)


def _between(name: str, said: Mapping[str, Any], held: Mapping[str, Shape], path: Path) -> tuple[InBetween, ...]:
    entries = sorted(said.get("inbetweens", []), key=lambda entry: float(entry["at"]))
    for entry in entries:
        if entry["target"] not in held:
            raise unknown("shape", entry["target"], held, path)
    places = [float(entry["at"]) for entry in entries]
    if len(set(places)) < len(places) or any(at in (0.0, 1.0) for at in places):
        raise MoueError(f"in-betweens of {name!r} need different weights, none of them 0 or 1", path)
    return tuple(InBetween(at, held[entry["target"]].delta) for at, entry in zip(places, entries, strict=True))


def _kept(project: Project, library: Head, place: str, before: DocumentHead | None) -> NDArray[np.float32]:
    """(n, 3) float32 mm, the delta of a kept shape, as stored or from its file beside the document."""
    stored = project.stored.get(place)
    if stored is not None:
        return checked_delta(stored, f"{project.path} {place}", library.n_vertices)
    if before is not None and before.project.path.parent == project.path.parent:
        for name, said in before.project.shapes.items():
            unstored = said.get("delta") == place and before.project.stored.get(place) is None
            if unstored and name in before.head.shape_index:
                return before.head.shape(name).delta
    file = file_of(project, place)
    return checked_delta(read_delta(file), file, library.n_vertices)


def _shared(shape: Shape, known: Mapping[str, Shape]) -> Shape:
    """The earlier head's shape where it is equal, else the shape itself."""
    other = known.get(shape.name)
    if other is None or other.delta is not shape.delta or len(other.inbetweens) != len(shape.inbetweens):
        return shape
    pairs = zip(other.inbetweens, shape.inbetweens, strict=True)
    return other if all(a.at == b.at and a.delta is b.delta for a, b in pairs) else shape
