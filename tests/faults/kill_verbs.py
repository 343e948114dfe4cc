"""What writes, each on a small document or library of its own, for the campaign of kills."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import chdir
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from composer.bench.cube_sphere import cube_sphere
from composer.cli.main import main
from composer.document.autosave import autosave_place, keep
from composer.document.project import Project
from composer.document.store import open_document, save_document
from composer.document.stored import stored_places
from composer.edits import regions
from composer.edits.recipes import set_note
from composer.edits.regions import delete_region
from composer.formats.mesh import Mesh
from composer.formats.registry import read_mesh, write_mesh
from tests.composer.document.carried_document import document_on_disk, fitted_head
from tests.composer.document.small_document import N, painted
from tests.faults.killed import contents

DOCUMENT = "old/clock.toml"


@dataclass(frozen=True)
class Verb:
    """A thing that writes: `make` what is there before, `run` it, and what the folder then `says`.

    `left` tells what a kill left: "old", "new", or for files that stand each for itself "both known".
    """

    name: str
    make: Callable[[Path], object]
    run: Callable[[Path], object]
    says: Callable[[Path], Any]
    left: Callable[[Path, Any, Any], str]
    following: Callable[[Path], object] | None = None

    def again(self, folder: Path) -> object:
        """The next thing that a person does after a kill: the same, unless something else is `following`."""
        return (self.following or self.run)(folder)


def whole(says: Callable[[Path], Any], of: Callable[[Any], Any] = lambda said: said
           ) -> Callable[[Path, Any, Any], str]:  # fmt: skip
    """What was left is all old or all new; of what is said only `of` counts."""

    def left(folder: Path, old: Any, new: Any) -> str:
        now, old, new = of(says(folder)), of(old), of(new)
        return "old" if now == old else "new" if now == new else "a mixture"

    return left


def _each(says: Callable[[Path], dict[str, bytes]], *but: str) -> Callable[[Path, Any, Any], str]:
    """Every file that was left is whole, old or new; those named `but` may say more."""

    def left(folder: Path, old: dict[str, bytes], new: dict[str, bytes]) -> str:
        now = says(folder)
        if now == old:
            return "old"
        torn = [name for name, held in now.items()
                if not name.endswith(but) and held not in (old.get(name), new.get(name))]  # fmt: skip
        gone = [name for name in old if name not in now and name in new]
        return f"{[*torn, *gone]} torn or gone" if torn or gone else "both known"

    return left


def _said(folder: Path) -> tuple[Any, list[str]]:
    """What the document says, and the files that it does not name."""
    project = open_document(folder / DOCUMENT)
    named = [(folder / "old" / place).resolve() for place in stored_places(project)]
    there = [file for kind in ("masks", "shapes") for file in (folder / "old" / kind).rglob("*.npy")]
    notes = [file.relative_to(folder).as_posix() for file in (folder / "old").glob("*_accepted/*")]
    return _says(project), sorted([*(str(file.name) for file in there if file.resolve() not in named), *notes])


def _says(project: Project) -> tuple[Any, ...]:
    places = stored_places(project)
    arrays = tuple(project.stored[place].astype(np.float32).tobytes() if place in project.stored else None
                   for place in places)  # fmt: skip
    notes = tuple((recipe.name, recipe.note) for recipe in project.recipes)
    return notes, tuple(region.name for region in project.regions), tuple(project.shapes), arrays


def _edited(project: Project) -> Project:
    """A painted mask, another painted one, a region gone, a note."""
    noted = set_note(project, "wait", "for the tide")
    first = regions.set_mask(noted, "brow_left", painted(20))
    second = regions.set_mask(first, "upper", painted(21))
    return delete_region(second, "brow_right") if any(r.name == "brow_right" for r in second.regions) else second


def _save(folder: Path) -> None:
    path = folder / DOCUMENT
    save_document(_edited(open_document(path)), path)


def _with_bake(folder: Path) -> None:
    document_on_disk(folder)
    _command(folder, "bake", DOCUMENT, "--to", "baked")
    path = folder / DOCUMENT
    project = open_document(path)
    save_document(regions.set_mask(project, "brow_left", painted(20)), path)


def _with_sculpt(folder: Path) -> None:
    document_on_disk(folder)
    _command(folder, "bake", DOCUMENT, "--to", "baked", "--recipe", "doubt")
    mesh = read_mesh(folder / "baked/doubt.obj")
    push = np.zeros((N, 3))
    push[: N // 3] = np.random.default_rng(1).normal(size=(N // 3, 3))
    write_mesh(folder / "sculpt.obj", Mesh(mesh.polygons, mesh.positions + push))


def _accept(folder: Path) -> None:
    _command(folder, "accept", DOCUMENT, "sculpt.obj", "--recipe", "doubt")


def _accept_or_save(folder: Path) -> None:
    """What is accepted already would be refused: then the document is only saved."""
    project = open_document(folder / DOCUMENT)
    if "doubt_fix" in project.shapes:
        save_document(project, project.path)
    else:
        _accept(folder)


def _with_carry(folder: Path) -> None:
    document_on_disk(folder)
    fitted_head(folder)
    _command(folder, "carry", DOCUMENT, "fitted.obj", "--to", "carried", "--way", "delta", "--fitted-unit", "cm")
    path = folder / DOCUMENT
    save_document(_edited(open_document(path)), path)


def _with_library(folder: Path) -> None:
    document_on_disk(folder)
    grin = folder / "old/library/lift.obj"
    mesh = read_mesh(grin)
    write_mesh(grin, Mesh(mesh.polygons, mesh.positions + [30.0, 0.0, 0.0]))


def _fit_room(folder: Path) -> None:
    from tests.faults.test_faults_commands import AIMS, NAMES, SIZE, write_pairs

    polygons, points = cube_sphere(8)
    (folder / "library").mkdir()
    write_mesh(folder / "library/neutral.obj", Mesh(polygons, points * SIZE))
    moved = (points[:, 1:2] < -0.5) * [0.0, -6.0, 3.0]
    write_mesh(folder / "library/grin.obj", Mesh(polygons, points * SIZE + moved))
    write_mesh(folder / "sculpt.obj", Mesh(polygons, points * SIZE))
    at = (AIMS / np.linalg.norm(AIMS, axis=1, keepdims=True) @ points.T).argmax(axis=1).tolist()
    write_pairs(folder / "marks.toml", dict(zip(NAMES, at, strict=True)), at)
    _fit(folder)
    write_mesh(folder / "sculpt.obj", Mesh(polygons, points * SIZE * [1.0, 1.03, 1.0]))


def _fit(folder: Path) -> None:
    _command(folder, "fit", "library", "sculpt.obj", "--landmarks", "marks.toml", "--no-pictures", "--level", "0",
             "--to", "fitted")  # fmt: skip


def _mend(folder: Path) -> None:
    _command(folder, "inspect", "old/library", "--mend", "mended")


def _mend_where_there_is_none(folder: Path) -> None:
    if not (folder / "mended").exists():
        _mend(folder)


def _with_clip(folder: Path) -> None:
    document_on_disk(folder)
    _clip(folder)
    path = folder / DOCUMENT
    project = open_document(path)
    save_document(regions.set_mask(project, "brow_left", painted(20)), path)


def _clip(folder: Path) -> None:
    _command(folder, "clip", DOCUMENT, "talk", "--bake", "frames")


def _regions(folder: Path) -> None:
    _command(folder, "regions", "old/library", "--from", "displacement", "--count", "3", "--to", "new/clock.toml")


def _regions_or_save(folder: Path) -> None:
    """A document that is there would be refused: then it is only saved."""
    made = folder / "new/clock.toml"
    if made.exists():
        save_document(open_document(made), made)
    else:
        _regions(folder)


def _with_table(folder: Path) -> None:
    document_on_disk(folder)
    (folder / "more.csv").write_text("recipe,brow_left/lift,upper/drop\nhush,0.5,\nsing,0.2,0.4\n")


def _take(folder: Path) -> None:
    _command(folder, "table", DOCUMENT, "--take", "more.csv")


def _with_fitted(folder: Path) -> None:
    document_on_disk(folder)
    fitted_head(folder)


def _swap(folder: Path) -> None:
    _command(folder, "swap", DOCUMENT, "fitted.obj", "--fitted-unit", "cm", "--name", "ferrier", "--way", "delta")


def _swapped(folder: Path) -> Any:
    """What the document says, with the head that it names."""
    project = open_document(folder / DOCUMENT)
    return project.head_path.relative_to(folder).as_posix(), contents(project.head_path), _says(project)


def _swap_or_save(folder: Path) -> None:
    """Swapped again it would name the head before as an earlier one: then the document is only saved."""
    project = open_document(folder / DOCUMENT)
    if "ferrier" in project.head_path.parts:
        save_document(project, project.path)
    else:
        _swap(folder)


JOB = """moue_job = 1
library = "old/clock.toml"
steps = ["carry", "bake"]
to = "heads/{name}"
[defaults]
carry = { way = "delta", fitted_unit = "cm" }
[[head]]
name = "ferrier"
fitted = "fitted.obj"
[[head]]
name = "bellringer"
fitted = "other.obj"
"""


def _with_job(folder: Path) -> None:
    _with_fitted(folder)
    mesh = read_mesh(folder / "fitted.obj")
    write_mesh(folder / "other.obj", Mesh(mesh.polygons, mesh.positions * [1.0, 1.05, 1.0]))
    (folder / "job.toml").write_text(JOB)
    _run(folder)
    path = folder / DOCUMENT
    save_document(_edited(open_document(path)), path)


def _run(folder: Path) -> None:
    _command(folder, "run", "job.toml")


def _command(folder: Path, *words: str) -> None:
    """Run a command of Moue's in a folder. Raises AssertionError where it is refused."""
    try:
        with chdir(folder):
            main([*words])
    except SystemExit as ended:  # 1 is a finding in what was made
        if ended.code not in (None, 0, 1):
            raise AssertionError(f"moue {words[0]} ended with {ended.code}") from None


def _kept(folder: Path) -> Any:
    """What the copy beside the document says, and the document."""
    place = autosave_place(folder / DOCUMENT)
    return _said(folder), _says(open_document(place)) if place.exists() else None


def _files(*names: str) -> Callable[[Path], dict[str, bytes]]:
    return lambda folder: {
        f"{name}/{file}": held for name in names for file, held in contents(folder / name).items()
    }


def _keep(folder: Path) -> None:
    keep(_edited(open_document(folder / DOCUMENT)), autosave_place(folder / DOCUMENT))


BAKED, CARRIED, FITTED, MENDED = _files("baked"), _files("carried"), _files("fitted"), _files("mended")
FRAMES, MADE, HEADS = _files("frames"), _files("new"), _files("heads")
VERBS = {verb.name: verb for verb in (
    Verb("save", document_on_disk, _save, _said, whole(_said, lambda said: said[0])),
    Verb("autosave", document_on_disk, _keep, _kept, whole(_kept)),
    Verb("bake", _with_bake, lambda f: _command(f, "bake", DOCUMENT, "--to", "baked"), BAKED,
         _each(BAKED, "moue-bake.json")),
    Verb("accept", _with_sculpt, _accept, _said, whole(_said, lambda said: said[0]), _accept_or_save),
    Verb("carry", _with_carry,
         lambda f: _command(f, "carry", DOCUMENT, "fitted.obj", "--to", "carried", "--way", "delta",
                            "--fitted-unit", "cm"), CARRIED, whole(CARRIED)),
    Verb("fit", _fit_room, _fit, FITTED, whole(FITTED)),
    Verb("mend", _with_library, _mend, MENDED, whole(MENDED), _mend_where_there_is_none),
    Verb("clip", _with_clip, _clip, FRAMES, _each(FRAMES, ".json")),
    Verb("regions", document_on_disk, _regions, MADE, whole(MADE), _regions_or_save),
    Verb("table", _with_table, _take, _said, whole(_said, lambda said: said[0])),
    Verb("swap", _with_fitted, _swap, _swapped, whole(_swapped), _swap_or_save),
    Verb("run", _with_job, _run, HEADS, _each(HEADS, "moue-job.json", "moue-bake.json")),
)}  # fmt: skip
