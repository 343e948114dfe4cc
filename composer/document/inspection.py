"""The inspection of a folder of targets: the faults of each file, and its vertices after repair.

Every file is read and brought to the unit and order of most of the folder. As a shape it is then checked for head
motion, for having no movement, and for being a duplicate. Nothing is written here.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.document.shape_faults import Fault, shape_faults
from composer.errors import MoueError
from composer.formats.library import targets_in
from composer.formats.library_file import read_settled
from composer.formats.mend import Likeness, likeness
from composer.formats.mesh import Mesh
from composer.formats.nearest_to_all import nearest_to_all
from composer.formats.neutral_choice import NEAREST, NeutralChoice, chosen_neutral
from composer.formats.read_ahead import read_ahead
from composer.formats.registry import read_mesh
from composer.formats.target import Target, TargetReader
from composer.geometry.polygons import Polygons
from composer.head.cage import coarser
from composer.head.fingerprint import fingerprint
from composer.head.head import Head, Shape
from composer.head.landmarks import Landmarks, read_landmarks
from composer.head.levels import vertex_count
from composer.head.order import OrderMismatch
from composer.head.reading import reading
from composer.head.stabilise import HeadMotion
from composer.progress import Progress
from composer.units import guess_unit, mm_per

RATIOS = (1000.0, 304.8, 100.0, 30.48, 25.4, 12.0, 10.0, 2.54)
"""Ratios between the units in use: m, dm, cm, mm, ft, in."""
NEAR_RATIO = 1.25
"""A size counts as a ratio of units if it is within this factor of it. An expression changes the size of a head by
less: a dropped jaw lengthens it by a tenth (common practice, no source).
"""
HIGHEST = 4
"""The highest subdivision level that is recognised. A design choice, no source."""
CAGE_ERROR = 0.02
"""The most detail that a subdivided file may lose on its way back to the cage, as a fraction of the head's diagonal. A
design choice, no source.
"""


@dataclass
class Looked:
    """One file: its faults, and its `positions` (n, 3) in the library's order and unit, None if unusable."""

    path: Path
    faults: list[Fault] = field(default_factory=list)
    positions: NDArray[np.float64] | None = None
    changed: bool = False
    motion: HeadMotion | None = None


@dataclass(frozen=True, eq=False)
class Inspection:
    """An inspected folder. `reference` gives the topology, in the folder's own unit; `head` the shapes in mm."""

    folder: Path
    reference: Mesh
    unit: str
    neutral: str
    files: tuple[Looked, ...]
    head: Head
    notes: tuple[str, ...]

    @property
    def faults(self) -> list[Fault]:
        """The faults of all files."""
        return [fault for file in self.files for fault in file.faults]


def inspect_folder(
    folder: Path, neutral: str | None = None, unit: str | None = None, progress: Progress | None = None
) -> Inspection:  # fmt: skip
    """Inspect a folder of targets. `neutral` names its neutral, `unit` is the unit of most of its files.

    Raises MoueError where no target can be read, or `neutral` is not among them.
    """
    say = progress or (lambda _fraction, _words: None)
    files = [Looked(path) for path in targets_in(folder)]
    meshes: dict[str, Mesh] = {}
    base: list[Target] = []
    meshes_read = read_ahead(lambda file: _read(file.path, base), files)
    for place, (file, mesh) in enumerate(zip(files, meshes_read, strict=True)):
        say(0.4 * place / len(files), file.path.name)
        try:
            if isinstance(mesh, MoueError):
                raise mesh
            if not np.isfinite(mesh.positions).all() or not mesh.diagonal > 0:
                raise MoueError("has no size, or positions that are not finite", file.path)
            if not mesh.polygons.n_faces:
                raise MoueError("holds no polygons: is the file whole?", file.path)
            meshes[file.path.stem] = mesh
        except MoueError as error:
            line = f" (line {error.line})" if error.line is not None else ""
            file.faults.append(Fault("file.broken", "error", f"{error.what}{line}"))
    if not meshes:
        raise MoueError("holds no target that can be read", folder)
    settled = read_settled(folder)
    unit = unit or settled.unit
    choice = chosen_neutral(list(meshes), neutral, settled.neutral, folder)
    named = choice.name if choice is not None else None
    name_of_reference = _reference(meshes, named)
    reference = meshes[name_of_reference] = read_mesh(_file_of(files, name_of_reference))  # with its own coordinates
    for file, ratio in zip(files, _scales(files, meshes), strict=True):
        if ratio != 1.0:
            words = f"is {ratio:g} times as large as the others" if ratio > 1 else f"is {1 / ratio:g} times smaller"
            file.faults.append(Fault("scale.mixed", "error", words, mended=True))
            file.changed = True
            name = file.path.stem
            meshes[name] = replace(meshes[name], positions=meshes[name].positions / ratio)
            reference = meshes[name] if reference.path == file.path else reference
    _put_in_order(files, meshes, reference, say)
    usable = {file.path.stem: file for file in files if file.positions is not None}
    file_unit = unit or guess_unit(reference.diagonal) or "mm"
    first = next(file.positions for file in usable.values() if file.positions is not None)
    placed = {name: file.positions - first for name, file in usable.items() if file.positions is not None}
    if choice is None or choice.name not in placed:
        choice = NeutralChoice(nearest_to_all(placed), NEAREST)
    chosen = choice.name
    doubt = choice.doubt(placed)
    if doubt:
        usable[chosen].faults.append(Fault("neutral.doubt", "warning", f"was taken for the neutral: {doubt}"))
    head = _head_of(folder, reference, usable, chosen, file_unit)
    motions, faults = shape_faults(head, lambda fraction, words: say(0.7 + 0.3 * fraction, words))
    for name, fault in faults:
        usable[name].faults.append(fault)
    for name, motion in motions.items():
        usable[name].motion = motion
    for name in [name for name, fault in faults if fault.code == "shape.mirrored"]:
        usable[name].positions = None
    neutral_note = choice.words(placed)
    notes = ((neutral_note,) if neutral_note else ()) + _unit_note(head, unit) + _cage_note(head)
    say(1.0, folder.name)
    return Inspection(folder, reference, file_unit, chosen, tuple(files), head, notes)


def _read(path: Path, base: list[Target]) -> Mesh | MoueError:
    """The mesh of a file. Where its polygons are, byte for byte, those of the first file that was read whole, which is
    kept in `base`, only its vertices are read, and all else is taken from that.
    """
    try:
        with reading(path):
            reader = TargetReader(path)
            if base and reader.is_text and reader.polygon_text() is not None and reader.same_polygons_as(base[0]):
                return replace(base[0].mesh, positions=reader.positions, path=path, name=path.stem, colours=None)
            mesh = read_mesh(path)
            if not base and reader.is_text:
                base.append(reader.target())
            return mesh
    except MoueError as error:
        return error


def _file_of(files: Sequence[Looked], name: str) -> Path:
    return next(file.path for file in files if file.path.stem == name)


def _unit_note(head: Head, unit: str | None) -> tuple[str, ...]:
    if unit is not None:
        return ()
    if guess_unit(head.diagonal / mm_per(head.unit)) is None:
        return (f"No unit gives a human size to a head with a diagonal of {head.diagonal:.4g}, so mm was taken.",)
    return (f"The unit was taken to be {head.unit}: the head's diagonal is then {head.diagonal:.0f} mm.",)


def _cage_note(head: Head) -> tuple[str, ...]:
    """A sentence where the whole library is subdivided: its cage, and how much detail it has beyond the cage."""
    cages = coarser(head.polygons, head.neutral, HIGHEST, CAGE_ERROR)
    if not cages:
        return ()
    cage, error = cages[-1].polygons, max(each.error for each in cages)
    return (f"It is at level {len(cages)} of a cage of {cage.n_vertices:,} vertices, {error:.2g} mm off at most.",)


def _reference(meshes: dict[str, Mesh], named: str | None) -> str:
    """The neutral, or a file of the topology of more than half of all files where the neutral has another."""
    prints = {name: fingerprint(mesh.polygons) for name, mesh in meshes.items()}
    common, many = Counter(prints.values()).most_common(1)[0]
    if named is not None and (2 * many <= len(meshes) or prints[named] == common):
        return named
    return next(name for name, each in prints.items() if each == common)


def _scales(files: Sequence[Looked], meshes: dict[str, Mesh]) -> list[float]:
    """For each file the ratio of units by which it is larger than most files, 1 where none fits."""
    sizes = [meshes[f.path.stem].diagonal if f.path.stem in meshes else np.nan for f in files]
    known = np.array([size for size in sizes if np.isfinite(size)])
    near = (np.abs(np.log(known[:, None] / known[None])) < np.log(NEAR_RATIO)).sum(axis=0)
    usual = float(np.median(known[near == near.max()]))
    out = []
    for size in sizes:
        best = 1.0
        for ratio in (r for each in RATIOS for r in (each, 1 / each)):
            if np.isfinite(size) and abs(np.log(size / usual / ratio)) < abs(np.log(size / usual / best)):
                best = ratio
        fits = np.isfinite(size) and abs(np.log(size / usual / best)) < np.log(NEAR_RATIO)
        out.append(best if fits else 1.0)
    return out


def _put_in_order(files: Sequence[Looked], meshes: dict[str, Mesh], reference: Mesh, say: Progress) -> None:
    """Set the positions of every file that can be brought to the reference's order, and record its faults."""
    known: list[tuple[Polygons, Likeness]] = []
    waiting = [file for file in files if file.path.stem in meshes]
    for last in (False, True):  # the order found for one file helps with another
        failed = []
        for place, file in enumerate(waiting):
            say(0.4 + 0.3 * place / max(1, len(waiting)), file.path.name)
            mesh = meshes[file.path.stem]
            level = _level(reference, mesh)
            try:
                if level:
                    _from_level(file, reference, mesh, level)
                    continue
                matched = likeness(reference, mesh, known=known)
            except MoueError as error:
                if last:
                    mismatch = isinstance(error, OrderMismatch)
                    code = "order.other" if mismatch else "order.ambiguous"
                    file.faults.append(Fault(code, "error", error.what))
                failed.append(file)
                continue
            file.positions = mesh.positions[matched.vertices]
            if matched.did:
                known.append((mesh.polygons, matched))
                file.changed = True
                file.faults.append(Fault(_code(matched), "error", _wrong(matched, mesh, reference), mended=True))
        waiting = failed


def _code(found: Likeness) -> str:
    said = " ".join(found.did)
    for words, code in (("seams", "order.seams"), ("triangles", "order.triangles"), ("vertices put", "order.shuffled"),
                        ("turned", "order.turned")):  # fmt: skip
        if words in said:
            return code
    return "order.polygons"


def _wrong(found: Likeness, mesh: Mesh, reference: Mesh) -> str:
    """The fault in words, from the repair that removes it."""
    said, words = " ".join(found.did), []
    if "welded" in said:
        words.append(f"split at seams ({mesh.n_vertices - reference.n_vertices} vertices more)")
    if "split at seams" in said:
        words.append(f"welded at seams ({reference.n_vertices - mesh.n_vertices} vertices fewer)")
    if "triangles" in said:
        words.append("cut into triangles")
    if "vertices put" in said:
        words.append("vertices in another order")
    if "polygons turned round" in found.did:
        words.append("turned inside out")
    elif "turned round" in said:
        words.append(said.replace("turned round", "turned over"))
    return ", ".join(words) or "polygons in another order"


def _level(reference: Mesh, mesh: Mesh) -> int:
    """The level of a mesh above the reference by its vertex count; 0 for none."""
    if mesh.n_vertices <= reference.n_vertices or not bool(np.all(mesh.polygons.counts == 4)):
        return 0
    counts = [vertex_count(reference.polygons, k) for k in range(HIGHEST + 1)]
    return counts.index(mesh.n_vertices) if mesh.n_vertices in counts else 0


def _from_level(file: Looked, reference: Mesh, mesh: Mesh, level: int) -> None:
    """Bring a subdivided file back to the cage."""
    cages = coarser(mesh.polygons, mesh.positions, level, CAGE_ERROR)
    if len(cages) < level:
        words = f"is at level {level} ({mesh.n_vertices:,} vertices) and is no subdivision of a cage"
        file.faults.append(Fault("level.finer", "error", words))
        return
    cage = Mesh(cages[-1].polygons, cages[-1].positions)
    file.positions = cage.positions[likeness(reference, cage).vertices]
    file.changed = True
    lost = max(each.error for each in cages) * mm_per(guess_unit(reference.diagonal) or "mm")
    words = f"is at level {level} ({mesh.n_vertices:,} vertices)"
    detail = f"; {lost:.2g} mm of detail stay behind" if lost > 1e-3 else ""
    file.faults.append(Fault("level.finer", "error", words + detail, mended=True))


def _head_of(folder: Path, reference: Mesh, usable: dict[str, Looked], chosen: str, unit: str) -> Head:
    scale = mm_per(unit)
    rest = usable[chosen].positions
    assert rest is not None
    shapes = tuple(
        Shape(name, ((file.positions - rest) * scale).astype(np.float32))
        for name, file in usable.items()
        if name != chosen and file.positions is not None
    )
    return Head(
        folder.name, reference.polygons, rest * scale, shapes, groups={**reference.objects, **reference.groups},
        materials=reference.materials, uv=reference.uv, unit=unit, neutral_name=chosen, path=folder,
        landmarks=_landmarks(folder, unit, reference.n_vertices),
    )  # fmt: skip


def _landmarks(folder: Path, unit: str, n: int) -> Landmarks | None:
    for name in ("landmarks.toml", "landmarks.json"):
        if (folder / name).is_file():
            try:
                return read_landmarks(folder / name, mm_per(unit)).check(n, folder / name)
            except MoueError:
                return None
    return None
