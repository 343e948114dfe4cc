"""Baking: recipes written as new targets, one file a recipe, with the neutral beside them."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager, suppress
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
from composer.formats.registry import axes_in, format_of, write_mesh
from composer.head.atomic import Ready, together, write_whole
from composer.head.file_hash import file_hash
from composer.head.file_names import check_name, file_names, same_file
from composer.head.folders import make_folder
from composer.head.head import Head, Shape
from composer.head.lock import lock, unlock
from composer.head.new_folder import MOST_BYTES
from composer.head.reading import DAMAGE, bytes_of
from composer.mixing.recipe import Recipe
from composer.progress import Progress
from composer.units import mm_per

MANIFEST = "moue-bake.json"
Known = Mapping[str, tuple[str, ...]]
"""By a file's name the hashes that it may have where nobody has edited it."""


def bake(
    evaluated: EvaluatedDocument, folder: Path | str, recipes: Sequence[Recipe], *, suffix: str = ".obj", unit: str |
    None = None,
    name: str = "{recipe}", level: int = 0, steps: int = 1, over: Sequence[str] = (),
    order_of: Path | None = None, progress: Progress | None = None,
) -> list[Path]:  # fmt: skip
    """Write the neutral and each recipe's pose to `folder`, in `unit` or the head's own unit. Returns the files' paths.

    `name` is a template for file names with the fields `{document}` and `{recipe}`. With `level` above 0 (at most 8)
    the poses are subdivided, with vertices in Moue's own order. With `order_of`, a neutral from another program's
    subdivision, level, order, unit and border rule are taken from that file (`composer.document.sample`), and the
    findings are added to the document's notes; `level` must then be 0 or the level of the file. With `steps` n each
    recipe is baked n times, at equal shares of its weights (`Recipe.scaled`) and at its own strength: NAME_25, NAME_50,
    NAME_75 and NAME for four. A format that holds many shapes gets one file, named after the document.

    Raises MoueError as `write_targets`, and for a template that gives a name that no file may have, or one name twice.
    """
    existing = _names_in(folder) if over else set()
    missing = next((file for file in over if file not in existing), None)
    if missing is not None:
        raise unknown("file to write over", missing, sorted(name for name in existing if "." in name), folder)
    laid_out = _laid_out(evaluated, level, order_of)
    files = _files(evaluated, folder, recipes, name, steps)
    names = [each for each, _, _ in files]
    for recipe in recipes:
        evaluated.check(recipe)  # errors come before the first file is written
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
    """A file that a bake would write: its `name`, and its state `stands`. That is "new", "baked" (unchanged since the
    last bake, to be overwritten) or "changed" (edited since: refused unless it is named)."""

    name: str
    stands: str


def planned(
    evaluated: EvaluatedDocument, folder: Path | str, recipes: Sequence[Recipe], *, suffix: str = ".obj", name: str =
    "{recipe}",
    steps: int = 1,
) -> list[Planned]:  # fmt: skip
    """The files that `bake` would write with these arguments, the neutral first; nothing is written.

    Raises MoueError as `bake` for the template, and for a folder that cannot be read.
    """
    folder = Path(folder)
    files = [each for each, _, _ in _files(evaluated, folder, recipes, name, steps)]
    if format_of(Path("x" + suffix), writing=True).many_shapes:
        names = [_name_of_all(evaluated, suffix)]
    else:
        names = [each + suffix for each in file_names([evaluated.head.neutral_name, *files], suffix).values()]
    known = _manifest(folder / MANIFEST)
    return [Planned(each, _stands(folder / each, known)) for each in names]


def _stands(file: Path, known: Known) -> str:
    try:
        if not file.exists():
            return "new"
        return "baked" if file.is_file() and file_hash(file) in known.get(file.name, ()) else "changed"
    except OSError as error:
        raise cannot("read", file, error) from None


def _files(
    evaluated: EvaluatedDocument, folder: Path | str, recipes: Sequence[Recipe], name: str, steps: int
) -> list[tuple[str, Recipe, float]]:
    """Name, recipe and share of its weights of every target. Raises MoueError where two get one name."""
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
        hint = "put {recipe} in the template, list each recipe once, and rename one that is named as the neutral"
        raise MoueError(what, folder, hint=hint)
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

    def write(file: Path) -> None:
        write_mesh(file, mesh_of(head.with_(shapes=shapes, axes=axes_in(head, file)), shapes=True, unit=unit))

    return [write_one(head, folder, name, write, over)]


def write_one(
    head: Head, folder: Path, name: str, write: Callable[[Path], object], over: Sequence[str] = ()
) -> Path:  # fmt: skip
    """Let `write` write one file `name` of a head in `folder`, and remember its hash. Refused with MoueError as
    `write_targets`."""
    known = _prepared(head, folder)
    file = folder / name
    _may_write(file, known, over)
    with _baking(folder, over):
        write(file)
    return file


def forget_files(folder: Path, which: Callable[[str], bool]) -> None:
    """Remove the baked files of a folder whose names `which` chooses, where they are as the bake left them."""
    known = _manifest(folder / MANIFEST)
    gone = [name for name in known if which(name) and _stands(folder / name, known) != "changed"]
    for name in gone:
        with suppress(OSError):
            (folder / name).unlink(missing_ok=True)
    if gone:
        _write_manifest(folder, {name: held for name, held in known.items() if name not in gone})


def write_targets(
    head: Head, folder: Path | str, targets: Iterable[tuple[str, NDArray]], *, suffix: str = ".obj",
    names: Sequence[str], unit: str | None = None, over: Sequence[str] = (), progress: Progress | None = None,
    with_neutral: bool = True,
) -> list[Path]:  # fmt: skip
    """Write each named target (n, 3) in mm to `folder`, after the neutral unless told otherwise. Returns the files'
    paths.

    Raises MoueError for the folder of the head's own files, and for an existing file whose hash is not in the
    folder's manifest (it was edited since the last bake), unless its name is in `over`. Targets are evaluated and
    written one at a time, and put in their places when all are complete; `names` lists their names in order.
    A name that no file may have is made safe, and no file lies outside the folder (`composer.head.file_names`).
    """
    folder = Path(folder)
    format_of(Path("x" + suffix), writing=True)
    mm_per(unit or head.unit)
    known = _prepared(head, folder)
    text = ObjText(head.neutral_file) if suffix == ".obj" and head.neutral_file is not None else None
    files: list[Path] = []
    first = [(head.neutral_name, head.neutral)] if with_neutral else []
    stems = file_names([*(name for name, _ in first), *names], suffix)
    for stem in stems.values():
        _may_write(folder / f"{stem}{suffix}", known, over)
    with _baking(folder, over):
        for name, pose in chain(first, targets):
            if progress is not None:
                progress(len(files) / (len(names) + len(first)), f"writing {name}")
            file = folder / f"{stems[name]}{suffix}"
            if text is not None:
                _as_text(text, file, pose, head, unit or head.unit)
            else:
                write_mesh(file, mesh_of(head, pose, unit=unit))
            files.append(file)
            del pose  # a large one is gone before the next is made
    return files


def _prepared(head: Head, folder: Path) -> Known:
    """Make the folder if needed, and read its manifest: the hashes that each file may have, by its name."""
    library_folder = head.path if head.path is None or head.path.is_dir() else head.path.parent
    if library_folder is not None and folder.resolve() == library_folder.resolve():
        raise MoueError("holds the head's own files, which a bake never overwrites", folder, hint="give another folder")
    make_folder(folder)
    if (folder / MANIFEST).exists() and not (folder / MANIFEST).is_file():
        raise MoueError("is there and is no file", folder / MANIFEST, hint="move it away")
    return _manifest(folder / MANIFEST)


@contextmanager
def _baking(folder: Path, over: Sequence[str]) -> Iterator[None]:
    """What is written inside is put in its place when all of it is complete, and remembered.

    The manifest names the new hashes beside the old ones before the first file takes its place, so that a bake that is
    killed at any instant leaves only files that the next one knows. A file that was edited meanwhile is refused.
    """
    with ExitStack() as held:

        def before(ready: Ready) -> None:
            held.callback(unlock, lock(folder, wait=True))  # another bake into the same folder waits here
            known, own = _manifest(folder / MANIFEST), [file for file in ready.files if file.given.parent == folder]
            for file in own:
                _may_write(file.given, known, over)
            told.update(known)
            told.update({f.given.name: (*known.get(f.given.name, ()), file_hash(f.ready)) for f in own})
            _write_manifest(folder, told)

        told: dict[str, tuple[str, ...]] = {}
        with together(before):
            yield
        _write_manifest(folder, {name: hashes[-1:] for name, hashes in told.items()})


def _write_manifest(folder: Path, known: Known) -> None:
    held = {name: hashes[0] if len(hashes) == 1 else list(hashes) for name, hashes in known.items()}
    write_whole(folder / MANIFEST, lambda f: f.write(json.dumps(held, indent=1, sort_keys=True).encode()))


def _as_text(text: ObjText, file: Path, pose: NDArray, head: Head, unit: str) -> None:
    unmoved = np.all(pose == head.neutral, axis=1)
    placed = head.axes.to_files(pose) / mm_per(head.unit)
    points = np.where(unmoved[:, None], text.positions, placed) * (mm_per(head.unit) / mm_per(unit))
    text.write(file, points, moved=~unmoved if unit == head.unit else None)


def _may_write(file: Path, known: Known, over: Sequence[str]) -> None:
    try:
        exists = file.exists()
        if exists and not file.is_file():
            raise MoueError("is there and is no file", file, hint="move it away")
        unchanged = not exists or file_hash(file) in known.get(file.name, ())
    except OSError as error:
        raise cannot("written", file, error) from None
    if not unchanged and file.name not in over and file.stem not in over:
        what = "has been changed since the last bake, or is not a bake"
        raise MoueError(what, file, hint="move it, or name it with --over")


def _names_in(folder: Path | str) -> set[str]:
    try:
        files = list(Path(folder).iterdir())
    except OSError:
        return set()
    return {file.name for file in files} | {file.stem for file in files}


def _named(template: str, evaluated: EvaluatedDocument, recipe: Recipe) -> str:
    """The template with its two fields filled; other braces stay as they are."""
    filled = template.replace("{document}", evaluated.project.path.stem).replace("{recipe}", recipe.name)
    check_name(filled, "file", evaluated.project.path)
    return filled


def _manifest(path: Path) -> dict[str, tuple[str, ...]]:
    """The hashes that each file may have: one, or also that of a bake that was under way."""
    try:
        held = json.loads(bytes_of(path, MOST_BYTES, "a manifest"))
    except (MoueError, *DAMAGE):
        return {}
    if not isinstance(held, dict):
        return {}
    return {str(k): tuple(map(str, v)) if isinstance(v, list) else (str(v),) for k, v in held.items()}
