"""The whole chain on the demo, from keeper's library and ferrier's sculpt to ferrier's own baked targets.

The sculpt has another topology; its landmarks are those that a person would place. The library is fitted onto it,
carried over with regions and recipes, and three recipes are baked at level 3 in the vertex order of a sample, as
another program's subdivision would have exported it: the fitted cage subdivided, its vertices in an order of their own.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from composer.checks.checked import Checked
from composer.checks.of_document import check_recipes
from composer.demo.character import character
from composer.demo.sculpt import build_sculpt
from composer.demo.tour import found_words, whole_folder, write_library_and_document
from composer.document.bake import bake
from composer.document.carried import carry_document
from composer.document.evaluated import EvaluatedDocument
from composer.document.store import open_document
from composer.fitting.chain import FittedHead, fit_head
from composer.fitting.fit_state import FitOptions
from composer.fitting.fitted_files import write_fitted
from composer.formats.mesh import Mesh, mesh_of
from composer.formats.obj import write
from composer.geometry.polygons import Polygons
from composer.head.atomic import write_whole
from composer.head.head import Head
from composer.head.landmarks import Landmarks, write_landmarks
from composer.head.levels import levels as levels_of
from composer.head.levels import refine
from composer.picture.png import write_png
from composer.picture.render import BACKGROUND, Studio
from composer.picture.report import html_report
from composer.picture.sheet import Entry, contact_sheet
from composer.progress import Progress

PLACED = (
    "pronasale", "gnathion", "sellion", "subnasale", "stomion", "labiale_superius", "labiale_inferius",
    "exocanthion_left", "exocanthion_right", "endocanthion_left", "endocanthion_right", "cheilion_left",
    "cheilion_right", "tragion_left", "tragion_right", "superaurale_left", "superaurale_right", "subaurale_left",
    "subaurale_right", "gonion_left", "gonion_right", "vertex",
)  # fmt: skip
"""Landmarks that are placed by hand."""
RECIPES = ("half_believed", "wink", "call")
LEVEL, ORDER_SEED = 3, 5


def chain(folder: Path | str, progress: Progress) -> list[str]:
    """Write the chain to `folder`, completely or not at all; return lines on the results and their quality.

    Raises MoueError where the folder is not empty or cannot be written.
    """
    return whole_folder(Path(folder), lambda new_folder: _write(new_folder, progress))


def _write(folder: Path, progress: Progress) -> list[str]:
    """All steps of the chain in a new folder, and the lines about them."""
    keeper, _ = write_library_and_document(folder / "keeper_library", lambda f, words: progress(0.2 * f, words))
    progress(0.2, "sculpting ferrier")
    sculpt = build_sculpt(character("ferrier"))
    shown = sculpt.head()
    write(folder / "ferrier.obj", mesh_of(shown, unit="mm"))
    placed = Landmarks({name: sculpt.landmarks.points[name] for name in PLACED})
    ours = keeper.head.landmarks or Landmarks()
    write_landmarks(folder / "ferrier.landmarks.toml", ours, placed)
    fitted = _fit(keeper.head, shown, placed, lambda f, words: progress(0.25 + 0.2 * f, words))
    write_fitted(fitted, folder / "fit", "mm")
    finer = {level.k: level.positions for level in fitted.levels if level.k > 0}
    project = carry_document(
        keeper, fitted.head, folder / "ferrier", finer=finer, progress=lambda f, words: progress(0.45 + 0.2 * f, words)
    )
    progress(0.65, "exporting a sample")
    sample = folder / "ferrier_level3.obj"
    _write_sample(fitted, sample)
    evaluated = EvaluatedDocument.open(open_document(project.path))
    recipes = [evaluated.project.recipe(name) for name in RECIPES]
    baked = bake(evaluated, folder / "baked", recipes, order_of=sample,
                 progress=lambda f, words: progress(0.7 + 0.1 * f, words))  # fmt: skip
    return [*_results(folder, keeper, evaluated, fitted, baked, progress)]


def _fit(head: Head, sculpt: Head, placed: Landmarks, progress: Progress) -> FittedHead:
    marks = head.landmarks or Landmarks()
    return fit_head(head, sculpt.neutral, sculpt.polygons, marks, placed, FitOptions(name="ferrier"), progress)


def _write_sample(fitted: FittedHead, path: Path) -> None:
    """The fitted cage at level 3, as another program exports it: with its own order of vertices and polygons."""
    steps = levels_of(fitted.head.polygons, LEVEL)
    positions, polygons = refine(fitted.head.neutral, steps), steps[-1].polygons
    rng = np.random.default_rng(ORDER_SEED)
    order = rng.permutation(len(positions))
    new_index = np.empty_like(order)
    new_index[order] = np.arange(len(order))
    faces = rng.permutation(polygons.n_faces)
    indices = new_index[polygons.indices].reshape(-1, 4)[faces].reshape(-1)
    write(path, Mesh(Polygons(polygons.counts[faces], indices, len(positions)), positions[order], unit="mm"))


def _results(
    folder: Path,
    keeper: EvaluatedDocument,
    evaluated: EvaluatedDocument,
    fitted: FittedHead,
    baked: list[Path],
    progress: Progress,
) -> list[str]:
    """Write the pictures and the report; return the lines about all results."""
    from PIL import Image as Images

    progress(0.82, "checking")
    recipes = [evaluated.project.recipe(name) for name in RECIPES]
    checked = list(check_recipes(evaluated, recipes))
    progress(0.88, "picturing")
    studio = Studio.of(evaluated.head)
    entries = [Entry(name, keeper.pose(keeper.project.recipe(name)), "keeper") for name in RECIPES]
    old = contact_sheet(Studio.of(keeper.head), entries, title="keeper", columns=3, cell_width=300)
    new = contact_sheet(
        studio, [Entry(r.name, pose, "ferrier") for r, pose, _ in checked], title="ferrier, carried",
        columns=3, cell_width=300,
    )  # fmt: skip
    size = (max(old.image.width, new.image.width), old.image.height + new.image.height)
    both = Images.new("RGB", size, BACKGROUND)
    both.paste(old.image, (0, 0))
    both.paste(new.image, (0, old.image.height))
    write_png(folder / "chain.png", both)
    all_checked = [Checked(recipe.name, pose, found, recipe=recipe) for recipe, pose, found in checked]
    page = html_report(studio, all_checked, title="ferrier")
    write_whole(folder / "report.html", lambda file: file.write(page.encode()))
    report = fitted.report
    counts = {recipe.name: sum(f.severity != "note" for f in found) for recipe, _, found in checked}
    return [
        f"{folder / 'keeper_library'}: keeper's library and document",
        f"{folder / 'ferrier.obj'}: a sculpt of {len(fitted.sculpt.surface.triangles):,} triangles, "
        f"{len(PLACED)} landmarks placed",
        f"{folder / 'fit'}: fitted, median {report.distance.median:.2f} mm and at most {report.distance.max:.1f} mm "
        f"from the sculpt, {report.reversed_faces + report.folded_faces} faces reversed or folded",
        f"{folder / 'ferrier'}: the library carried, {len(evaluated.head.shapes)} shapes, "
        f"{len(evaluated.project.regions)} regions, {len(evaluated.project.recipes)} recipes",
        f"{folder / 'baked'}: {len(baked)} targets at level {LEVEL} in the order of {folder / 'ferrier_level3.obj'}",
        f"checked: {', '.join(f'{name} {found_words(n)}' for name, n in counts.items())}",
        f"{folder / 'chain.png'}, {folder / 'report.html'}: pictures and report",
    ]
