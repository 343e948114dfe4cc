"""Recipes as new targets on disk: one file a recipe, named after it, the neutral beside them."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_level import EvaluatedLevel
from composer.document.evaluated_recipe import EvaluatedRecipe
from composer.document.sample import InSampleOrder
from composer.errors import MoueError, cannot, unknown
from composer.formats.mesh import mesh_of
from composer.formats.obj_text import ObjText
from composer.formats.registry import format_of, write_mesh
from composer.head.atomic import write_whole
from composer.head.file_names import check_name, file_names, same_file
from composer.head.folders import make_folder
from composer.head.head import Head, Shape
from composer.head.new_folder import MOST_BYTES
from composer.head.reading import DAMAGE, bytes_of
from composer.mixing.recipe import Recipe
from composer.progress import Progress
from composer.units import mm_per

MANIFEST = "moue-bake.json"


def bake(
    evaluated: EvaluatedDocument, folder: Path | str, recipes: Sequence[Recipe], *, suffix: str = ".obj", unit: str |
    None = None,
    name: str = "{recipe}", level: int = 0, steps: int = 1, over: Sequence[str] = (),
    order_of: Path | None = None, progress: Progress | None = None,
) -> list[Path]:  # fmt: skip
    """Write the neutral and each recipe's pose to `folder`, in the head's own unit or `unit`; the files' paths.

    `name` makes a file's name of `{document}` and `{recipe}`. With `level` above 0 (at most 8) the poses are
    subdivided, vertices in Moue's own order. With `order_of`, a neutral that the sculptor's own program has written,
    level, order, unit and border rule are that file's (`composer.document.sample`), and what was found of it is added
    to the document's notes; `level` must then be 0 or the same. With `steps` n each recipe is baked on its way from the
    neutral, at n equal shares of its weights (`Recipe.scaled`), the last the whole, at the recipe's own strength:
    NAME_25, NAME_50, NAME_75 and NAME for four. Formats that hold many shapes get one
    file, named after the document.
    Refused with MoueError as `write_targets`, and for a template that makes no file names, or one name twice.
    """
    there = _names_in(folder) if over else set()
    missing = next((file for file in over if file not in there), None)
    if missing is not None:
        raise unknown("file to write over", missing, sorted(name for name in there if "." in name), folder)
    laid_out = _laid_out(evaluated, level, order_of)
    files = _files(evaluated, folder, recipes, name, steps)
    names = [each for each, _, _ in files]
    for recipe in recipes:
        evaluated.check(recipe)  # what cannot be mixed is told before the first file is written
    poses = ((each, EvaluatedRecipe(laid_out, recipe).on_the_way(share).pose) for each, recipe, share in files)
    if format_of(Path("x" + suffix), writing=True).many_shapes:
        return write_in_one(laid_out.head, Path(folder), _name_of_all(evaluated, suffix), poses, unit, over)
    return write_targets(
        laid_out.head, folder, poses, suffix=suffix, unit=unit, over=over, progress=progress, names=names
    )  # fmt: skip


def _laid_out(evaluated: EvaluatedDocument, level: int, order_of: Path | None) -> EvaluatedLevel | InSampleOrder:
    if order_of is None:
        return EvaluatedLevel(evaluated, level)
    over = InSampleOrder(evaluated, order_of)
    if level not in (0, over.sample.level):
        raise MoueError(f"is level {over.sample.level}, not {level}", order_of, hint="leave --level out")
    evaluated.notes += over.notes
    return over


@dataclass(frozen=True)
class Planned:
    """A file that a bake would write: its name, and how it stands there: "new", "baked" (from the last bake, to be
    written again) or "changed" (somebody has worked on it since: refused unless it is named)."""

    name: str
    stands: str


def planned(
    evaluated: EvaluatedDocument, folder: Path | str, recipes: Sequence[Recipe], *, suffix: str = ".obj", name: str =
    "{recipe}",
    steps: int = 1,
) -> list[Planned]:  # fmt: skip
    """The files that `bake` would write with these arguments, the neutral first; nothing is written.

    Raises MoueError for a template that makes no file names, or one name twice, and for a folder that cannot be read.
    """
    folder = Path(folder)
    files = [each for each, _, _ in _files(evaluated, folder, recipes, name, steps)]
    if format_of(Path("x" + suffix), writing=True).many_shapes:
        names = [_name_of_all(evaluated, suffix)]
    else:
        names = [each + suffix for each in file_names([evaluated.head.neutral_name, *files], suffix).values()]
    known = _manifest(folder / MANIFEST)
    return [Planned(each, _stands(folder / each, known)) for each in names]


def _stands(file: Path, known: Mapping[str, str]) -> str:
    try:
        if not file.exists():
            return "new"
        return "baked" if file.is_file() and known.get(file.name) == _hash(file) else "changed"
    except OSError as error:
        raise cannot("read", file, error) from None


def _files(
    evaluated: EvaluatedDocument, folder: Path | str, recipes: Sequence[Recipe], name: str, steps: int
) -> list[tuple[str, Recipe, float]]:
    """Name, recipe and share of its weights of every target. Raises MoueError where two would be named alike."""
    if not 1 <= steps <= 100:
        raise MoueError(f"{steps} steps cannot be baked", hint="give 1 to 100")
    named = [(_named(name, evaluated, recipe), recipe) for recipe in recipes]
    files = [(f"{each}_{round(100 * i / steps)}" if i < steps else each, recipe, i / steps)
             for each, recipe in named for i in range(1, steps + 1)]  # fmt: skip
    names = [each for each, _, _ in files]
    compared = [same_file(each) for each in names]
    twice = next((each for i, each in enumerate(names) if compared[i] in compared[:i]), None)
    if twice is not None or same_file(evaluated.head.neutral_name) in compared:
        what = f"two files would be named {twice or evaluated.head.neutral_name!r}"
        raise MoueError(what, folder, hint="put {recipe} in the name, name each recipe once, and none as the neutral")
    return files


def _name_of_all(evaluated: EvaluatedDocument, suffix: str) -> str:
    """The name of the one file that holds all shapes."""
    stem = evaluated.project.path.stem
    return file_names([stem], suffix)[stem] + suffix


def write_in_one(
    head: Head, folder: Path, name: str, poses: Iterable[tuple[str, NDArray]], unit: str | None = None,
    over: Sequence[str] = (),
) -> list[Path]:  # fmt: skip
    """Write all poses (n, 3) in mm as the shapes of one file `name` in `folder`. Refused with MoueError as
    `write_targets`."""
    shapes = tuple(Shape(each, (pose - head.neutral).astype(np.float32)) for each, pose in poses)
    known = _prepared(head, folder)
    file = folder / name
    _may_write(file, known, over)
    write_mesh(file, mesh_of(head.with_(shapes=shapes), shapes=True, unit=unit))
    _remember(folder, known, [file])
    return [file]


def write_targets(
    head: Head, folder: Path | str, targets: Iterable[tuple[str, NDArray]], *, suffix: str = ".obj",
    names: Sequence[str], unit: str | None = None, over: Sequence[str] = (), progress: Progress | None = None,
) -> list[Path]:  # fmt: skip
    """Write the neutral and each named target (n, 3) in mm to `folder`; the files' paths.

    Refused with MoueError: the folder of the head's own files, and a file there that this folder's manifest does not
    know by its hash (somebody has worked on it since), unless its name is in `over`. Targets are made and written
    one at a time; `names` are theirs in order: what may not be overwritten is refused before the first is written.
    A name that no file may have (of a shape, from a file) is made safe, and no file lies outside the folder
    (`composer.head.file_names`).
    """
    folder = Path(folder)
    format_of(Path("x" + suffix), writing=True)
    mm_per(unit or head.unit)
    known = _prepared(head, folder)
    text = ObjText(head.neutral_file) if suffix == ".obj" and head.neutral_file is not None else None
    files: list[Path] = []
    stems = file_names([head.neutral_name, *names], suffix)
    for stem in stems.values():
        _may_write(folder / f"{stem}{suffix}", known, over)
    try:
        for i, (name, pose) in enumerate(chain([(head.neutral_name, head.neutral)], targets)):
            if progress is not None:
                progress(i / (len(names) + 1), f"writing {name}")
            file = folder / f"{stems[name]}{suffix}"
            if text is not None:
                _as_text(text, file, pose, head, unit or head.unit)
            else:
                write_mesh(file, mesh_of(head, pose, unit=unit))
            files.append(file)
    finally:  # stopped half way, what was written is still known as a bake
        _remember(folder, known, files)
    return files


def _prepared(head: Head, folder: Path) -> dict[str, str]:
    """The folder made where it is not there, and what its manifest knows."""
    own = head.path if head.path is None or head.path.is_dir() else head.path.parent
    if own is not None and folder.resolve() == own.resolve():
        raise MoueError("holds the head's own files, which a bake never overwrites", folder, hint="give another folder")
    make_folder(folder)
    if (folder / MANIFEST).exists() and not (folder / MANIFEST).is_file():
        raise MoueError("is there and is no file", folder / MANIFEST, hint="move it away")
    return _manifest(folder / MANIFEST)


def _remember(folder: Path, known: dict[str, str], files: Sequence[Path]) -> None:
    hashes = known | {file.name: _hash(file) for file in files}
    write_whole(folder / MANIFEST, lambda f: f.write(json.dumps(hashes, indent=1, sort_keys=True).encode()))


def _as_text(text: ObjText, file: Path, pose: NDArray, head: Head, unit: str) -> None:
    still = np.all(pose == head.neutral, axis=1)
    points = np.where(still[:, None], text.positions, pose / mm_per(head.unit)) * (mm_per(head.unit) / mm_per(unit))
    text.write(file, points, moved=~still if unit == head.unit else None)


def _may_write(file: Path, known: dict[str, str], over: Sequence[str]) -> None:
    try:
        there = file.exists()
        if there and not file.is_file():
            raise MoueError("is there and is no file", file, hint="move it away")
        mine = not there or known.get(file.name) == _hash(file)
    except OSError as error:
        raise cannot("written", file, error) from None
    if not mine and file.name not in over and file.stem not in over:
        what = "has been changed since the last bake, or is not a bake"
        raise MoueError(what, file, hint="move it, or name it with --over")


def _names_in(folder: Path | str) -> set[str]:
    try:
        files = list(Path(folder).iterdir())
    except OSError:
        return set()
    return {file.name for file in files} | {file.stem for file in files}


def _named(template: str, evaluated: EvaluatedDocument, recipe: Recipe) -> str:
    """The template with its two fields filled, and nothing else done to it."""
    made = template.replace("{document}", evaluated.project.path.stem).replace("{recipe}", recipe.name)
    check_name(made, "file", evaluated.project.path)
    return made


def _manifest(path: Path) -> dict[str, str]:
    try:
        held = json.loads(bytes_of(path, MOST_BYTES, "a manifest"))
    except (MoueError, *DAMAGE):
        return {}
    return {str(k): str(v) for k, v in held.items()} if isinstance(held, dict) else {}


def _hash(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
