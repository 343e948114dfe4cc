"""A library of shapes as a head: a folder of targets, or one file that holds them all.

A folder's topology is parsed once, from the neutral. The polygons of the other targets are compared as bytes where the
text is the same, and only their vertices are parsed. They become float32 displacements at once, so that a library takes
little more memory than its float32 arrays.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError, cannot
from composer.formats.arrival import UNSEEN, Arrival, HeadArrival
from composer.formats.library_file import read_settled
from composer.formats.mesh_head import Teller, guessed, head_of
from composer.formats.nearest_to_all import nearest_to_all
from composer.formats.neutral_choice import NEAREST, NeutralChoice, chosen_neutral
from composer.formats.read_ahead import read_ahead
from composer.formats.registry import format_of, read_mesh, suffixes
from composer.formats.target import Target, TargetReader
from composer.head.aside import aside
from composer.head.axes import FileAxes
from composer.head.folders import is_folder, is_there
from composer.head.head import Head, Shape
from composer.head.landmarks import Landmarks, read_landmarks
from composer.head.order_difference import OrderDifference, order_difference
from composer.head.parts import with_recognised_parts
from composer.head.reading import reading
from composer.head.turning import turned
from composer.head.understand.own_axes import found_axes
from composer.progress import Progress
from composer.units import mm_per

REORDER = "moue inspect FOLDER --mend DIR puts it in order"
MENDS = {
    "shuffled": REORDER,
    "scrambled": "export it again: its polygons do not tell the order",
    "polygon order": REORDER,
    "corner order": REORDER,
    "triangulated": "moue inspect FOLDER --mend DIR joins its triangles",
    "seam-split": "moue inspect FOLDER --mend DIR welds it",
    "turned over": "moue inspect FOLDER --mend DIR turns them round",
}
LANDMARKS = ("landmarks.toml", "landmarks.json")


def open_library(
    path: Path | str,
    neutral: str | None = None,
    unit: str | None = None,
    skip_broken: bool = False,
    progress: Progress | None = None,
    recognise: bool = True,
    axes: FileAxes | None = None,
    told: HeadArrival | None = None,
) -> Head:
    """The head in `path`: a folder of OBJ or PLY targets, or a .glb, .gltf or .npz file.

    `neutral` is the file name, without suffix, of a folder's neutral. By default it is the one in the folder's
    `library.toml`, the one that has a word for neutral in its name, or the target with the smallest mean distance from
    all others. `unit` is the unit of the files, by default that of `library.toml` or of a file, or a guess from the
    size of a head. `axes` say how the head stands in the files, by default as `library.toml` says, or else as is found
    where parts are recognised; the head itself stands upright. The head's notes say what was guessed. A target of
    another topology is refused, with its name and the difference. With `skip_broken` such targets, and files that
    cannot be read, are left out and named in the notes.
    `landmarks.toml` beside the files is read too. Eyes, teeth, tongue and lashes that are separate pieces become parts,
    unless `recognise` is False. `progress` is called with a fraction and the name of the present file; the neutral
    is `told` as soon as it is read, and shapes where they are read one by one.

    Raises MoueError where there is nothing to read, something cannot be used, or two targets have the same name.
    """
    path = Path(path)
    say = progress or (lambda _fraction, _words: None)
    if not is_there(path):
        raise MoueError("is not there", path)
    if is_folder(path):
        stands = axes or read_settled(path).axes or FileAxes()
        teller = Teller(told, unit or read_settled(path).unit, stands, path)
        head = _folder(path, neutral, unit, skip_broken, say, teller.arrival)
    elif neutral is not None and not format_of(path).many_shapes:
        raise MoueError("is one file, so it has no neutral to choose", path, hint="give its folder")
    else:
        say(0.0, path.name)
        teller = Teller(told, unit, axes or FileAxes())
        head = head_of(read_mesh(path, told=teller.arrival), unit)
        if format_of(path).suffixes == (".obj",):
            head = replace(head, neutral_file=path)
    head = upright(teller.known(_with_landmarks(head, path)), axes, recognise)
    if recognise:
        head = with_recognised_parts(head)
    say(1.0, path.name)
    return head


def upright(head: Head, axes: FileAxes | None = None, find: bool = True) -> Head:
    """A head, which stands as its files do, in its own axes: those given, or what the library settles, or with `find`
    what form and motion tell; a note says so where it was found.
    """
    folder = head.path if head.path is not None and is_folder(head.path) else None
    axes = axes or (read_settled(folder).axes if folder is not None else None)
    if axes is None and find:
        axes, words = found_axes(head)
        head = head.with_(notes=(*head.notes, words)) if words else head
    return turned(head, axes or FileAxes())


def _with_landmarks(head: Head, path: Path) -> Head:
    folder = path if path.is_dir() else path.parent
    for name in LANDMARKS:
        place = folder / name
        if place.is_file():
            marks: Landmarks = read_landmarks(place, mm_per(head.unit)).check(head.n_vertices, place)
            return replace(head, landmarks=marks)
    return head


@dataclass
class _Targets:
    """The targets of a folder: displacements from the reference's positions, by name, in order, and the errors of those
    that are left out."""

    reference: Target
    deltas: dict[str, NDArray[np.float32]]
    broken: list[MoueError]


def targets_in(folder: Path) -> list[Path]:
    """The target files of a folder, sorted by name; numbers in names are sorted by value.

    Raises MoueError where there is none, or two have the same name.
    """
    known = suffixes(many_shapes=False)
    try:
        entries = list(folder.iterdir())
    except OSError as error:
        raise cannot("read", folder, error) from None
    files = [entry for entry in entries if entry.suffix.lower() in known and not entry.name.startswith(".")]
    try:
        files = sorted((entry for entry in files if entry.is_file()), key=lambda entry: _natural(entry.name))
    except OSError as error:
        raise cannot("read", folder, error) from None
    if not files:
        single = [entry.name for entry in entries if entry.suffix.lower() in suffixes(many_shapes=True)]
        hint = f"give {single[0]} itself" if single else "a library is a folder of OBJ or PLY files"
        raise MoueError("holds no targets", folder, hint=hint)
    seen: dict[str, Path] = {}
    for file in files:
        if file.stem in seen:
            raise MoueError(f"{seen[file.stem].name} and {file.name} have the same name", folder, hint="move one away")
        seen[file.stem] = file
    return files


def _natural(name: str) -> list[tuple[int, int | str]]:
    pieces = re.findall(r"[0-9]+|[^0-9]+", name.lower())
    return [(0, int(piece)) if piece.isascii() and piece.isdigit() else (1, piece) for piece in pieces]


def _folder(
    folder: Path, neutral: str | None, unit: str | None, skip_broken: bool, say: Progress, told: Arrival
) -> Head:  # fmt: skip
    files = targets_in(folder)
    settled = read_settled(folder)
    unit = unit or settled.unit
    choice = chosen_neutral([file.stem for file in files], neutral, settled.neutral, folder)
    if choice is not None:
        targets = _read_all(files, _file_of(files, choice.name), unit, skip_broken, say, told)
    else:
        targets = _read_with_any(files, unit, skip_broken, say)
        choice = NeutralChoice(nearest_to_all(targets.deltas), NEAREST)
    chosen = choice.name
    notes = [words] if (words := choice.words(targets.deltas)) else []
    unit, guesses = (unit, []) if unit else guessed(targets.reference.diagonal)
    notes += guesses + [_left_out(error, folder) for error in targets.broken]
    scale = mm_per(unit)
    base = targets.reference.path if targets.reference.path.stem == chosen else _file_of(files, chosen)
    mesh = targets.reference.mesh if base == targets.reference.path else TargetReader(base).mesh
    rest = targets.deltas.pop(chosen)
    shapes = []
    for name in list(targets.deltas):
        delta = targets.deltas.pop(name)
        if base != targets.reference.path:
            delta = delta - rest
        if scale != 1.0:
            delta = delta * np.float32(scale)
        shapes.append(Shape(name, aside(delta)))
    return Head(
        folder.name, mesh.polygons, mesh.positions * scale, tuple(shapes),
        groups={**mesh.objects, **mesh.groups}, materials=mesh.materials, uv=mesh.uv, colours=mesh.colours,
        unit=unit, neutral_name=chosen, neutral_file=base if base.suffix.lower() == ".obj" else None,
        path=folder, notes=(*mesh.notes, *notes),
    )  # fmt: skip


def _left_out(error: MoueError, folder: Path) -> str:
    where = Path(str(error.where)).name if error.where else folder.name
    line = f":{error.line}" if error.line is not None else ""
    return f"{where}{line} was left out: {error.what}."


def _file_of(files: list[Path], name: str) -> Path:
    return next(file for file in files if file.stem == name)


def _read_with_any(files: list[Path], unit: str | None, skip_broken: bool, say: Progress) -> _Targets:
    """The targets read with the first file as the reference; where most others differ from it, with another one."""
    best: _Targets | None = None
    tried: set[str] = set()
    for candidate in files:
        if candidate.stem in tried:
            continue
        try:
            targets = _read_all(files, candidate, unit, skip_broken, say)
        except MoueError as error:
            if not skip_broken or str(error.where) != str(candidate):
                raise
            tried.add(candidate.stem)
            continue
        tried |= set(targets.deltas)
        if best is None or len(targets.deltas) > len(best.deltas):
            best = targets
        if 2 * len(best.deltas) >= len(files) - len(tried - set(best.deltas)):
            break
    if best is None:
        raise MoueError("holds no target that can be read", files[0].parent)
    return best


def _read_all(
    files: list[Path], reference: Path, unit: str | None, skip_broken: bool, say: Progress,
    told: Arrival = UNSEEN,
) -> _Targets:  # fmt: skip
    """Every target of `files` as a displacement of `reference`, in the files' unit, `told` as they are read."""
    say(0.0, reference.name)
    with reading(reference):
        base = TargetReader(reference).target()
    told.neutral(base.mesh)
    n = len(base.mesh.positions)
    deltas: dict[str, NDArray[np.float32]] = {}
    broken: list[MoueError] = []
    others = (file for file in files if file != reference)
    read = read_ahead(lambda file: _delta_or_error(file, base), others)
    for place, file in enumerate(files):
        say(place / len(files), file.name)
        if file == reference:
            deltas[file.stem] = np.zeros((n, 3), dtype=np.float32)
            continue
        found = next(read)
        if not isinstance(found, MoueError):
            deltas[file.stem] = aside(found)
            told.shape(Shape(file.stem, found))
        elif skip_broken:
            broken.append(found)
        else:
            read.close()
            raise found
    return _Targets(base, deltas, broken)


def _delta_or_error(file: Path, base: Target) -> NDArray[np.float32] | MoueError:
    try:
        with reading(file):
            return _delta(file, base)
    except MoueError as error:
        return error


def _delta(file: Path, base: Target) -> NDArray[np.float32]:
    reader = TargetReader(file, base)
    positions = reader.positions
    if reader.same_polygons_as(base):
        difference = order_difference(base.mesh.polygons, base.mesh.polygons, base.mesh.positions, positions)
    else:
        mesh = reader.mesh
        difference = order_difference(base.mesh.polygons, mesh.polygons, base.mesh.positions, mesh.positions)
    if difference is not None:
        raise _refused(file, base, difference)
    out = np.empty(positions.shape, dtype=np.float32)
    np.subtract(positions, base.mesh.positions, out=out, casting="same_kind")
    return out


def _refused(file: Path, base: Target, difference: OrderDifference) -> MoueError:
    hint = MENDS.get(difference.kind, "does it belong to this library?")
    return MoueError(f"{difference.words} ({base.path.name} is the reference)", file, hint=hint)
