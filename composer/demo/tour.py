"""The demo on disk: keeper's library, a document with regions, recipes and a clip, and pictures of both."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from composer.checks.of_document import check_recipes
from composer.demo.anatomy import anatomy_of
from composer.demo.character import character
from composer.demo.expressions import EXPRESSIONS
from composer.demo.library import library_of
from composer.demo.neutral import build_neutral
from composer.demo.posing import Posing
from composer.demo.write import inbetween_name, write_library
from composer.document.bake import bake
from composer.document.evaluated import EvaluatedDocument
from composer.document.store import open_document
from composer.errors import MoueError, cannot
from composer.head.atomic import write_whole
from composer.head.fingerprint import fingerprint
from composer.head.head import Head
from composer.head.new_folder import filled_whole
from composer.head.presets import region_set
from composer.picture.png import write_png
from composer.picture.render import Studio
from composer.picture.sheet import Entry, Sheet, contact_sheet, shapes_of
from composer.progress import Progress

PLANTED = ("half_believed", "brow_inner_left")
"""The recipe and the region of the one seam that the check is to find: the brow's inner end is left a little too steep
on purpose, so that there is something to mend."""
RECIPES = """
[recipes.half_believed]
note = "one brow surprised, the other side glad"
join = "seamless"
cells = [
  { region = "brow_inner_left", shape = "surprise", weight = 0.6 },
  { region = "brow_outer_left", shape = "surprise", weight = 0.6 },
  { region = "forehead_left", shape = "surprise", weight = 0.6 },
  { region = "mouth_corner_right", shape = "joy", weight = 0.6 },
  { region = "upper_lip_right", shape = "joy", weight = 0.6 },
  { region = "lower_lip_right", shape = "joy", weight = 0.6 },
  { region = "cheek_right", shape = "joy", weight = 0.6 },
  { region = "nostril_right", shape = "joy", weight = 0.6 },
  { region = "cheek_lower_right", shape = "joy", weight = 0.6 },
]

[recipes.wink]
note = "the left eye shut, a smile, the whole face a little glad"
join = "seamless"
halo = 0.15
cells = [
  { region = "all", shape = "joy", weight = 0.5 },
  { region = "upper_lid_left", shape = "au43_left", weight = 1.0 },
  { region = "lower_lid_left", shape = "au43_left", weight = 1.0 },
  { region = "eye_corner_left", shape = "au43_left", weight = 1.0 },
]
rows.upper_lid_left = { kind = "replace" }
rows.lower_lid_left = { kind = "replace" }
rows.eye_corner_left = { kind = "replace" }

[recipes.call]
note = "a shout below fear's brow"
join = "seamless"
cells = [
  { region = "all", shape = "shout", weight = 0.8 },
  { region = "brow_inner_left", shape = "fear", weight = 0.55 },
  { region = "brow_inner_right", shape = "fear", weight = 0.55 },
]

[recipes.two_minds]
note = "glad on the left, pursed on the right"
join = "seamless"
cells = [
  { region = "mouth_corner_left", shape = "joy", weight = 0.6 },
  { region = "upper_lip_left", shape = "joy", weight = 0.6 },
  { region = "lower_lip_left", shape = "joy", weight = 0.6 },
  { region = "cheek_left", shape = "joy", weight = 0.6 },
  { region = "nostril_left", shape = "joy", weight = 0.6 },
  { region = "cheek_lower_left", shape = "joy", weight = 0.6 },
  { region = "chin_left", shape = "joy", weight = 0.6 },
  { region = "mouth_corner_right", shape = "pucker", weight = 0.6 },
  { region = "upper_lip_right", shape = "pucker", weight = 0.6 },
  { region = "lower_lip_right", shape = "pucker", weight = 0.6 },
  { region = "cheek_right", shape = "pucker", weight = 0.6 },
  { region = "nostril_right", shape = "pucker", weight = 0.6 },
  { region = "cheek_lower_right", shape = "pucker", weight = 0.6 },
  { region = "chin_right", shape = "pucker", weight = 0.6 },
]
"""
CLIP = """
[clips.tide]
note = "the tide turns: half believed, a blink, of two minds"
fps = 24
length = 3.0
join = "seamless"
keys = [
  { time = 0.0, recipe = "neutral", interpolation = "smooth" },
  { time = 0.6, recipe = "half_believed", interpolation = "smooth" },
  { time = 1.2, recipe = "half_believed", interpolation = "smooth" },
  { time = 1.9, recipe = "two_minds", interpolation = "smooth" },
  { time = 2.2, recipe = "two_minds", interpolation = "smooth" },
  { time = 3.0, recipe = "neutral" },
  { time = 0.75, region = "all", shape = "au43_left", weight = 0.0, interpolation = "smooth" },
  { time = 0.875, region = "all", shape = "au43_left", weight = 1.0, interpolation = "smooth" },
  { time = 1.125, region = "all", shape = "au43_left", weight = 0.0 },
  { time = 0.75, region = "all", shape = "au43_right", weight = 0.0, interpolation = "smooth" },
  { time = 0.875, region = "all", shape = "au43_right", weight = 1.0, interpolation = "smooth" },
  { time = 1.125, region = "all", shape = "au43_right", weight = 0.0 },
]
"""


def tour(folder: Path | str, progress: Progress) -> list[str]:
    """Write the demo to `folder`, completely or not at all; return lines on the results and on what to try next.

    Raises MoueError where the folder is not empty or cannot be written.
    """
    return whole_folder(Path(folder), lambda new_folder: _write(new_folder, progress))


def write_demo(folder: Path | str, progress: Progress) -> list[str]:
    """Write only the demo's library and document to `folder`, completely or not at all; return lines on the results.

    Raises MoueError as `tour`.
    """


    def make(new_folder: Path) -> list[str]:
        return write_library_and_document(new_folder, lambda done, words: progress(done / 0.65, words))[1]

    return whole_folder(Path(folder), make)


def whole_folder(folder: Path, make: Callable[[Path], list[str]]) -> list[str]:
    """Call `make` with a temporary folder, and rename it to `folder` in one step; return the lines of `make`."""
    try:
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise MoueError("is there already and not empty", folder, hint="give a new folder with --to")
        with filled_whole(folder, None, "demo") as folder_made:
            lines = make(folder_made)
    except OSError as error:
        raise cannot("made", folder, error) from None
    return [line.replace(str(folder_made), str(folder)) for line in lines]


def write_library_and_document(folder: Path, progress: Progress) -> tuple[EvaluatedDocument, list[str]]:
    """Write the library, its expressions at level 1 and the document to a new folder; return the document and lines."""
    neutral = build_neutral(character("keeper"))
    posing = Posing(anatomy_of(neutral))
    head = library_of(neutral, progress=lambda done, words: progress(0.4 * done, words), posing=posing)
    write_library(folder / "keeper", head, progress=lambda done, words: progress(0.4 + 0.1 * done, words))
    names = [expression.name for expression in EXPRESSIONS]
    fine = library_of(neutral, 1, lambda done, words: progress(0.5 + 0.1 * done, words), names, posing)
    fine = fine.with_(shapes=tuple(replace(shape, inbetweens=()) for shape in fine.shapes))
    write_library(folder / "keeper_level1", fine)
    _write_document(head, folder)
    evaluated = EvaluatedDocument.open(open_document(folder / "document.toml"))
    regions, recipes = evaluated.project.regions, evaluated.project.recipes
    return evaluated, [
        f"{folder / 'keeper'}: keeper's library, {head.n_vertices} vertices, {len(head.shapes)} shapes",
        f"{folder / 'keeper_level1'}: its expressions at level 1, {fine.n_vertices} vertices, with their wrinkles",
        f"{folder / 'document.toml'}: {len(regions)} regions from landmarks, {len(recipes)} recipes, a clip",
    ]


def _write(folder: Path, progress: Progress) -> list[str]:
    """Write the demo to a new folder; return the lines about it."""
    evaluated, lines = write_library_and_document(folder, progress)
    recipes, names = evaluated.project.recipes, [expression.name for expression in EXPRESSIONS]
    progress(0.65, "baking")
    baked = bake(evaluated, folder / "baked", recipes)
    checked = list(check_recipes(evaluated, recipes))
    studio = Studio.of(evaluated.head)
    entries = [Entry(recipe.name, pose, recipe.note) for recipe, pose, _ in checked]
    sheet = contact_sheet(studio, entries, title="Recipes on keeper", view="front", cell_width=420)
    _picture(sheet, folder / "recipes.png")
    sheet = contact_sheet(
        studio, shapes_of(evaluated.head, names), title="keeper: expressions", columns=6, cell_width=240,
        progress=lambda done, words: progress(0.7 + 0.3 * done, words),
    )  # fmt: skip
    _picture(sheet, folder / "expressions.png")
    counts = {recipe.name: sum(f.severity != "note" for f in found) for recipe, _, found in checked}
    return [
        *lines,
        f"{folder / 'baked'}: {len(baked)} targets",
        f"checked: {', '.join(f'{name} {found_words(n)}' for name, n in counts.items())}",
        f"{folder / 'recipes.png'}, {folder / 'expressions.png'}: pictures",
        "Try next:",
        f"  edit a weight in {folder / 'document.toml'}, then",
        f"  moue bake {folder / 'document.toml'} --to {folder / 'baked'}",
        f"  moue bake {folder / 'document.toml'} --to {folder / 'fine'} --level 2",
        f"  moue check {folder / 'document.toml'}",
        f"  moue sheet {folder / 'document.toml'} --to mine.png",
        f"  moue clip {folder / 'document.toml'} tide --report tide.html",
    ]


def found_words(count: int) -> str:
    """How many findings there are, in words."""
    return f"{count} finding{'s' * (count > 1)}" if count else "nothing found"


def _picture(sheet: Sheet, path: Path) -> None:
    write_png(path, sheet.image)


def _write_document(head: Head, folder: Path) -> None:
    lines = ["moue = 1", 'unit = "mm"', 'head = "keeper"', f'topology = "{fingerprint(head.polygons)}"', ""]
    for part in head.parts:
        lines += [f"[parts.{part.name}]", f'group = "{part.name}"', f'follows = "{part.follows}"', ""]
    for shape in head.shapes:
        if shape.inbetweens:
            named = [(b.at, inbetween_name(shape.name, b.at)) for b in shape.inbetweens]
            rows = ", ".join(f'{{ at = {at}, target = "{target}" }}' for at, target in named)
            lines += [f"[shapes.{shape.name}]", f"inbetweens = [ {rows} ]", ""]
    lines += ["[levels]", '1 = "keeper_level1"', ""]
    for name in region_set().names:
        lines += [f"[regions.{name}]", 'from = "landmarks"', f'preset = "{name}"', ""]
    text = "\n".join(lines) + RECIPES + CLIP
    write_whole(folder / "document.toml", lambda file: file.write(text.encode()))
