"""Moue from Python: the calls that a technical artist scripts with, the same that the command and the window make.

`import composer` offers them by name and loads nothing until one is used. Names and arguments here are stable: they
change only with a word in the changelog. Lengths are millimetres, x is the subject's left, y up, z forward. A mistake
in what is given is a `MoueError` of one line. A long call takes `progress`, called with a fraction from 0 to 1 and a
few words.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, overload

import numpy as np
from numpy.typing import NDArray

from composer.checks import clip_check as clip_checks
from composer.checks.checked import Checked
from composer.checks.clip_check import ClipChecked
from composer.checks.every_check import check_all
from composer.document import bake as baking
from composer.document import bake_clip as clips
from composer.document import store
from composer.document import tables_out as tables
from composer.document.carried import carry_document, carry_library
from composer.document.clip_against import ClipAgainst, clip_against
from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_clip import evaluated_clip
from composer.edits import recipes as recipe_edits
from composer.edits import take_tables as table_edits
from composer.edits.head_frames import HeadFrames
from composer.edits.lay_regions import laid_regions
from composer.edits.match_file import match_file
from composer.edits.match_frames import MatchedFrames, match_frames
from composer.edits.neutral_of_recipe import neutral_of_recipe
from composer.edits.swap_head import swap_head
from composer.errors import MoueError
from composer.fitting.amplitude import Amplitude
from composer.fitting.carry import Way
from composer.fitting.chain import FittedHead
from composer.fitting.fit_files import FitFiles
from composer.fitting.fit_state import FitOptions
from composer.formats import library as libraries
from composer.formats.frame_sequence import read_sequence
from composer.formats.mesh import Mesh
from composer.head.file_names import file_names
from composer.head.folders import make_folder
from composer.head.head import Head
from composer.mixing.match import Bounds
from composer.mixing.recipe import Cell, Recipe, Row
from composer.picture.png import write_png
from composer.picture.render import Studio
from composer.picture.sheet import Entry, contact_sheet, shapes_of
from composer.picture.views import view_named
from composer.progress import Progress

Recipes = Sequence[Recipe | str]
"""Recipes themselves, or names of the document's."""


def open_library(
    path: Path | str, neutral: str | None = None, unit: str | None = None, progress: Progress | None = None
) -> Head:
    """The library in `path`: a folder of OBJ or PLY targets, or one .glb, .gltf, .npz or USD file.

    `neutral` names a folder's neutral, `unit` (mm, cm, dm, m, in, ft) is what its files are in; both are found where
    they are not said, and `.notes` tells how. `.neutral` is (n, 3) mm, `.shape(name).delta` (n, 3) mm.

    Raises MoueError where there is nothing to read, or a target is of another topology.
    """
    return libraries.open_library(path, neutral, unit, progress=progress)


def open_document(path: Path | str, progress: Progress | None = None) -> EvaluatedDocument:
    """The document in `path`, .moue or .toml, with its head open, its masks made and its recipes ready.

    `.head` is the head, `.effective` the masks (n,) by region, `.project.recipes` the recipes. Raises MoueError,
    naming the file and the line, for whatever does not fit together.
    """
    return EvaluatedDocument.open(store.open_document(path), progress)


def save_document(document: EvaluatedDocument, path: Path | str | None = None) -> Path:
    """Write a document to its own path or another, whole or not at all; the path. Raises MoueError where it cannot."""
    path = Path(path or document.project.path)
    make_folder(path.parent)
    store.save_document(document.project, path)
    return path


def make_regions(
    library: Head, path: Path | str, source: Literal["landmarks", "displacement", "groups"] = "landmarks", *,
    preset: str = "face", count: int = 16, ramp_mm: float = 8.0,
) -> EvaluatedDocument:  # fmt: skip
    """A new document on a library, with regions. Nothing is written: `path` is where `save_document` will put it.

    `source` landmarks takes a `preset` (face, eight, coarse), displacement finds at most `count` regions that move
    together, groups takes face groups with borders `ramp_mm` wide. Raises MoueError where the library has none.
    """
    project, notes = laid_regions(library, Path(path), source, preset, count, ramp_mm)
    document = EvaluatedDocument(project, library)
    document.notes += [note for note in notes if note not in document.notes]
    return document


def make_recipe(
    name: str, cells: Mapping[tuple[str, str] | tuple[str, str, bool], float], *, replaces: Iterable[str] = (),
    strength: float = 1.0, join: Literal["linear", "seamless"] = "linear", note: str = "", contact: bool = False,
) -> Recipe:  # fmt: skip
    """A recipe: the weight, from -1 to 2, of each cell, which is a region and a shape, and True for its mirror image.

    `replaces` names regions whose row stands in the place of the row `all` instead of adding to it. With
    `contact` what goes through is parted. Raises MoueError
    for a weight out of range.

    >>> doubt = make_recipe("doubt", {("brow_left", "surprise"): 0.8, ("mouth", "joy", True): 0.6})
    >>> [(cell.region, cell.shape, cell.weight, cell.mirrored) for cell in doubt.cells]
    [('brow_left', 'surprise', 0.8, False), ('mouth', 'joy', 0.6, True)]
    """
    made = tuple(Cell(key[0], key[1], float(weight), len(key) > 2 and bool(key[2])) for key, weight in cells.items())
    return Recipe(name, made, {region: Row("replace") for region in replaces}, strength, join, note, contact=contact)


def add_recipe(document: EvaluatedDocument, recipe: Recipe) -> EvaluatedDocument:
    """The document with one more recipe, or with this one in the place of the one of its name; `document` stays.

    Raises MoueError for a region or a shape that is not there.
    """
    project, names = document.project, [each.name for each in document.project.recipes]
    if recipe.name in names:
        changed = document.again(recipe_edits.replace_recipe(project, recipe.name, recipe))
    else:
        changed = document.again(recipe_edits.add_recipe(project, recipe))
    changed.check(recipe)
    return changed


def evaluate(document: EvaluatedDocument, recipe: Recipe | str, strength: float | None = None) -> NDArray[np.float64]:
    """(n, 3) mm, the pose of a recipe, or of the document's recipe of this name, at its own strength or another.

    Raises MoueError for a region or a shape that is not there.
    """
    document, (chosen,) = _with(document, [recipe])
    return document.pose(chosen, strength)


def bake(
    document: EvaluatedDocument, folder: Path | str, recipes: Recipes | None = None, *, suffix: str = ".obj",
    unit: str | None = None, name: str = "{recipe}", level: int = 0, steps: int = 1, over: Sequence[str] = (),
    order_of: Path | str | None = None, progress: Progress | None = None,
) -> list[Path]:  # fmt: skip
    """Write recipes, all unless said, as new targets to `folder`, the neutral beside them; the files.

    `suffix` is the format's, `name` the files' from {document} and {recipe}, `level` 0 to 8 how often they are
    subdivided, `order_of` a neutral whose level and vertex order they get, `steps` at how many strengths each is baked.
    Raises MoueError for a file that was changed since the last bake, unless `over` names it.
    """
    document, chosen = _with(document, recipes)
    sample = None if order_of is None else Path(order_of)
    return baking.bake(
        document, folder, chosen, suffix=suffix, unit=unit, name=name, level=level, steps=steps, over=over,
        order_of=sample, progress=progress,
    )  # fmt: skip


def bake_clip(
    document: EvaluatedDocument, clip: str, folder: Path | str, *, suffix: str = ".npz", unit: str | None = None,
    level: int = 0, over: Sequence[str] = (), progress: Progress | None = None,
) -> list[Path]:  # fmt: skip
    """Write the frames of one of the document's clips to `folder`; the files.

    `suffix` is the format's: .npz, .glb or .usd for one file, .obj or .ply for a file a frame. Raises MoueError for an
    unknown clip, and for a file that was changed since the last bake, unless `over` names it.
    """
    made = evaluated_clip(document, clip)
    return clips.bake_clip(made, folder, suffix=suffix, unit=unit, level=level, over=over, progress=progress)


def check_clip(document: EvaluatedDocument, clip: str, progress: Progress | None = None) -> ClipChecked:
    """What the checks find in every frame of one of the document's clips, and where it pops.

    `.faults` has each fault once, worst first: its `.finding` at its `.worst` frame, and all `.frames` that have it;
    `.frames` has the findings of each frame. Raises MoueError for an unknown clip.
    """
    return clip_checks.check_clip(evaluated_clip(document, clip), progress)


def compare_clip(
    document: EvaluatedDocument, clip: str, frames: Path | str, *, unit: str | None = None,
    progress: Progress | None = None,
) -> ClipAgainst:  # fmt: skip
    """How far frames lie from one of the document's clips: a folder of OBJ or PLY files, or one .npz, .glb or USD file.

    `.frames` has the mean and the largest distance of each in mm, `.worst` the one furthest off. Raises MoueError for
    an unknown clip, a frame that is missing or damaged, and frames of another topology.
    """
    made = evaluated_clip(document, clip)
    stem = file_names([clip], ".obj")[clip]
    return clip_against(made, read_sequence(frames, stem), unit, progress)


def write_tables(
    document: EvaluatedDocument, folder: Path | str, progress: Progress | None = None
) -> list[Path]:  # fmt: skip
    """Write a document's recipes, regions, masks and clips as CSV and JSON to a folder; the files.

    Raises MoueError where the folder holds anything but unchanged earlier tables.
    """
    return tables.write_tables(document, folder, progress)


def take_table(document: EvaluatedDocument, path: Path | str) -> EvaluatedDocument:
    """The document with what a table in `path`, .csv or .json, says of it; `document` stays, and nothing is saved.

    Raises MoueError, with row and column, for what the table cannot say.
    """
    return document.again(table_edits.take_table(document.project, Path(path), document))


def fit(
    library: Head, sculpt: Path | str, landmarks: Path | str, *, sculpt_unit: str | None = None,
    progress: Progress | None = None, **options: Any,
) -> FittedHead:  # fmt: skip
    """The library's topology on a sculpt of any topology, through the landmarks in a TOML or JSON file.

    `options` are the fields of `composer.FitOptions`, such as `up_to=1`. `.head` is the fitted head, `.report` says
    how good it is, `composer.fitting.fitted_files.write_fitted` writes it. Raises MoueError, naming the file.
    """
    return FitFiles.read(library, sculpt, landmarks, sculpt_unit).fit(FitOptions(**options), progress)


@overload
def carry(
    source: EvaluatedDocument, fitted: FittedHead | Head | Path | str, folder: Path | str, *, way: Way = ...,
    contact: bool = ..., amplitude: Amplitude = ..., progress: Progress | None = ...,
) -> EvaluatedDocument: ...  # fmt: skip


@overload
def carry(
    source: Head, fitted: FittedHead | Head | Path | str, folder: Path | str, *, way: Way = ..., contact: bool = ...,
    amplitude: Amplitude = ..., progress: Progress | None = ...,
) -> Head: ...  # fmt: skip


def carry(
    source: EvaluatedDocument | Head, fitted: FittedHead | Head | Path | str, folder: Path | str, *,
    way: Way = "gradient", contact: bool = True, amplitude: Amplitude = "auto", progress: Progress | None = None,
) -> EvaluatedDocument | Head:  # fmt: skip
    """Carry a document with all that hangs on it, or a library, onto a fitted head; `folder` gets it. It comes open.

    `fitted` is what `fit` gives, a head, or a mesh file of the library's topology; `way` is gradient, frame or delta;
    `contact` keeps lids and lips together; `amplitude` is library (shapes move as far in mm as on the library), head
    (they grow with the head) or auto (as on the library between heads of alike size, else with the head). Raises
    MoueError where the folder holds something already.
    """
    new, finer = _fitted(fitted)
    if isinstance(source, Head):
        return carry_library(
            source, new, folder, way=way, contact=contact, amplitude=amplitude, progress=progress
        )  # fmt: skip
    project = carry_document(
        source, new, folder, way=way, contact=contact, amplitude=amplitude, finer=finer, progress=progress
    )  # fmt: skip
    return EvaluatedDocument.open(project)


def swap(
    document: EvaluatedDocument, fitted: FittedHead | Head | Path | str | None = None, *, recipe: str | None = None,
    name: str | None = None, way: Way = "gradient", contact: bool = True, progress: Progress | None = None,
) -> EvaluatedDocument:  # fmt: skip
    """The document with another head in its head's place: `fitted`, as in `carry`, or the pose of a `recipe`.

    The library is carried onto it, into heads/NAME beside the document; masks, recipes, landmarks and correctives stay,
    and the head before stays known as an earlier one. `document` stays as it is, and nothing is saved. Raises MoueError
    where both or none of the two are given, and where the head has another topology.
    """
    if (fitted is None) == (recipe is None):
        raise MoueError("a fitted head is needed, or a recipe", hint="give one of the two")
    if fitted is not None:
        new, finer = _fitted(fitted)
    else:
        new, finer = neutral_of_recipe(document, str(recipe))
    return swap_head(document, new, name=name, finer=finer, way=way, contact=contact, progress=progress).evaluated


@dataclass(frozen=True)
class Match:
    """The recipe that comes nearest to a target; `explained`, up to 1, is the part of the target's squared movement
    that it reaches; then what is left in mm: median, 95th percentile, most."""

    recipe: Recipe
    explained: float
    median_mm: float
    p95_mm: float
    max_mm: float


def match(
    document: EvaluatedDocument, target: Path | str, *, regions: Sequence[str] | None = None,
    shapes: Sequence[str] | None = None, low: float = 0.0, high: float = 1.0, sparse: float = 0.01,
    whole: bool = True, symmetric: bool = False, unit: str | None = None,
) -> Match:  # fmt: skip
    """The recipe, named as the file, whose pose comes nearest to a face in a file of the head's own topology.

    `regions` and `shapes` may be used, all unless said; weights go from `low` to `high`; `sparse` says how few
    cells (0 as many as help, 0.01 few, 0.1 very few); `whole` tries the whole face first, then regions; `symmetric`
    gives both sides one weight. The recipe keeps contact; distances are of its weights, before that. Raises
    MoueError, naming the file.
    """
    path = Path(target)
    found = match_file(
        document, path, regions, shapes, bounds=Bounds(low, high, sparse), symmetric=symmetric, whole=whole, unit=unit
    ).few.matched
    return Match(Recipe(path.stem, found.cells, contact=True), found.explained, *found.p50_p95_most)


def match_clip(
    document: EvaluatedDocument, frames: Path | str, clip: str, *, regions: Sequence[str] | None = None,
    shapes: Sequence[str] | None = None, low: float = 0.0, high: float = 1.0, sparse: float = 0.01,
    whole: bool = True, unit: str | None = None, fps: float | None = None, progress: Progress | None = None,
) -> MatchedFrames:  # fmt: skip
    """The weights over time that reproduce frames of the head's own topology, a folder or a file as `compare_clip`.
    `.weights` (f, c) are of `.cells` at `.times` (f,) s, `.motions` the head's own, `.left` what is left in mm. Options
    as `match`; `fps` is of files without times, else 24. Raises MoueError for a frame that cannot be used.
    """
    face = Mesh(document.head.polygons, document.head.neutral)
    held = HeadFrames(document.head, read_sequence(frames, file_names([clip])[clip], face), unit, fps)
    return match_frames(document, held, regions, shapes, bounds=Bounds(low, high, sparse), whole=whole,
                        progress=progress)  # fmt: skip


def check(
    document: EvaluatedDocument, recipes: Recipes | None = None, progress: Progress | None = None
) -> list[Checked]:
    """What the checks find: first on the document itself, then on each recipe, all unless said.

    Each has a `.name` and `.findings`, worst first, with `.severity` (error, warning, note), `.words` and `.hint`.
    """
    document, chosen = _with(document, recipes)
    return check_all(document, chosen, progress=progress)


def draw_sheet(
    source: EvaluatedDocument | Head, path: Path | str, recipes: Recipes | None = None, *,
    view: str = "three_quarter", columns: int | None = None, progress: Progress | None = None,
) -> Path:  # fmt: skip
    """Picture recipes of a document, all unless said, or a library's shapes, lit and labelled, as one PNG; its path.

    `view` is front, three_quarter, profile, profile_right, below, back, or one that the document keeps. Raises
    MoueError where there is nothing to picture, for an unknown view, and for a path that does not end in .png.
    """
    path = Path(path)
    if path.suffix.lower() != ".png":
        raise MoueError("is not named as a picture", path, hint="give a name that ends in .png")
    if isinstance(source, Head):
        head, title, entries, seen = source, source.name, shapes_of(source), view_named(view)
    else:
        source, chosen = _with(source, recipes)
        head, title, seen = source.head, source.project.path.stem, view_named(view, source.project.views)
        entries = [Entry(each.name, source.pose(each), each.note) for each in chosen]
    sheet = contact_sheet(Studio.of(head), entries, title=title, view=seen, columns=columns, progress=progress)
    write_png(path, sheet.image)
    return path


def _with(document: EvaluatedDocument, recipes: Recipes | None) -> tuple[EvaluatedDocument, list[Recipe]]:
    """The document with these recipes in it, and the recipes; those it holds where none are said."""
    if recipes is None:
        return document, list(document.project.recipes)
    chosen = []
    for each in recipes:
        recipe = document.project.recipe(each) if isinstance(each, str) else each
        if recipe not in document.project.recipes:
            document = add_recipe(document, recipe)
        chosen.append(recipe)
    return document, chosen


def _fitted(fitted: FittedHead | Head | Path | str) -> tuple[Head, dict[int, NDArray[np.float64]]]:
    """A fitted head, and its neutral (n_k, 3) mm at finer levels where the fit has them."""
    if isinstance(fitted, FittedHead):
        return fitted.head, {level.k: level.positions for level in fitted.levels if level.k > 0}
    if isinstance(fitted, Head):
        return fitted, {}
    return libraries.open_library(fitted, recognise=False), {}


__all__ = [
    "Cell", "FitOptions", "Head", "Match", "MoueError", "Recipe", "Row", "add_recipe", "bake", "bake_clip", "carry",
    "check", "check_clip", "compare_clip", "draw_sheet", "evaluate", "fit", "make_recipe", "make_regions", "match",
    "match_clip", "open_document", "open_library", "save_document", "swap", "take_table", "write_tables",
]  # fmt: skip
