"""The steps that a job can take a head through: what each is made from, and what it does.

`STEPS` is the list. A new step is a function `(work, progress) -> findings`, its settings in `settings.py`, and a line
here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any, cast

from composer.checks.checked import Checked
from composer.checks.every_check import check_all
from composer.checks.of_carried import carried_json, check_carried
from composer.checks.subject import HeadFacts
from composer.document.bake import bake
from composer.document.bake_clip import bake_clip
from composer.document.carried import bare_document, carry_document, part_of, whole_head
from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_clip import evaluated_clip
from composer.document.evaluated_recipe import EvaluatedRecipe
from composer.document.mask_file import read_mask
from composer.document.store import open_document
from composer.errors import MoueError
from composer.fitting.fit_files import FitFiles
from composer.fitting.fit_state import FitOptions
from composer.fitting.fit_words import fit_lines, fit_warnings
from composer.fitting.fitted_files import FITTED, levels_beside, read_levels, write_fitted
from composer.fitting.met import Met
from composer.fitting.prior.earlier_files import read_earlier
from composer.formats.library import open_library
from composer.head.atomic import write_whole
from composer.head.folders import make_folder
from composer.head.head import Head
from composer.jobs.job import Job, JobHead
from composer.jobs.json_text import json_text
from composer.jobs.record import Found
from composer.picture.face import face_points
from composer.picture.fit_picture import write_fit_pictures
from composer.picture.png import write_png
from composer.picture.render import Studio
from composer.picture.report import html_report
from composer.picture.sheet import Entry, contact_sheet, shapes_of
from composer.progress import Progress

FIT, CARRY, BAKE, CLIPS = "fit", "carry", "bake", "clips"
"""The folders of steps in a head's folder."""
CHECK, PAGE, SHEET, CARRIED, FACE = "check.json", "check.html", "sheet.png", "carried.json", "face.png"
FACE_SIZE = (360, 420)
"""Pixels of the picture of the carried head."""
DOCUMENT = "document.toml"
"""The document that a bare library gets when it is carried."""


@dataclass(eq=False)
class Shared:
    """What all heads of a job begin with, opened when it is first asked for."""

    job: Job

    @cached_property
    def library(self) -> Head:
        """The library's head."""
        return self.document.library if self.document is not None else self._bare

    @cached_property
    def document(self) -> EvaluatedDocument | None:
        """The document, open; None where the job has a bare library."""
        return EvaluatedDocument.open(open_document(self.job.library)) if self.job.document else None

    @cached_property
    def fitted_library(self) -> Head:
        """The head that is fitted: the document's, with its own landmarks, or the library's."""
        return self.document.head if self.document is not None else self._bare

    @cached_property
    def _bare(self) -> Head:
        mended = "mend" in self.job.steps
        return open_library(self.job.mended if mended else self.job.library,
                            None if mended else self.job.neutral, None if mended else self.job.unit)  # fmt: skip


@dataclass(eq=False)
class Work:
    """One head under way: what the steps share while they run in one process."""

    shared: Shared
    head: JobHead
    kept: dict[str, Any] = field(default_factory=dict)

    def said(self, step: str, key: str, otherwise: Any) -> Any:
        """A setting, or what the command has without it."""
        value = self.head.setting(step, key)
        return otherwise if value is None else value

    @property
    def fitted_file(self) -> Path:
        """The mesh that the library is carried onto."""
        return self.head.folder / FIT / FITTED if self.head.fitted is None else self.head.fitted

    @property
    def document_file(self) -> Path:
        """The document of the carried head."""
        job = self.shared.job
        return self.head.folder / CARRY / (job.library.name if job.document else DOCUMENT)

    @property
    def carried(self) -> EvaluatedDocument:
        """The carried head's document, open."""
        if "carried" not in self.kept:
            self.kept["carried"] = EvaluatedDocument.open(open_document(self.document_file))
        return cast(EvaluatedDocument, self.kept["carried"])

    @property
    def facts(self) -> HeadFacts:
        """What checks ask of the carried head."""
        if "facts" not in self.kept:
            self.kept["facts"] = HeadFacts(self.carried.head)
        return cast(HeadFacts, self.kept["facts"])


def fit(work: Work, progress: Progress) -> list[Found]:
    """The library's topology on the sculpt."""
    head, library = work.head, work.shared.fitted_library
    assert head.sculpt is not None
    files = FitFiles.read(library, head.sculpt, head.landmarks, work.said("fit", "sculpt_unit", None))
    protect = work.said("fit", "protect", None)
    options = FitOptions(
        like=tuple(read_earlier(library, head.like, work.said("fit", "like_unit", None))),
        pinned=tuple(work.said("fit", "pin", ())), click_mm=work.said("fit", "click_mm", None),
        groups=work.said("fit", "free", None), relaxed=work.said("fit", "relax", True),
        reach_mm=work.said("fit", "reach_mm", None), up_to=work.said("fit", "level", None),
        any_size=work.said("fit", "any_size", False), protect=None if protect is None else read_mask(Path(protect)),
        turn_over=work.said("fit", "turn_over", False), follow_all=work.said("fit", "follow_all", False),
    )  # fmt: skip
    fitted = files.fit(options, progress)

    def more(folder: Path) -> list[Path]:
        close_ups = bool(work.said("fit", "close_ups", False))
        return write_fit_pictures(files.library, fitted, files.sculpt, folder, close_ups)

    write_fitted(fitted, head.folder / FIT, files.sculpt.unit, more)
    report = fitted.report
    grave = [*fit_warnings(report)]
    if fitted.turned:
        grave.append(f"{fitted.turned} faces are turned over or folded")
    broken = report.sound.broken or fitted.turned
    found = [Found("error" if broken else "warning", "fit", words) for words in grave]
    return [*found, *(Found("note", "fit", words) for words in [*files.notes, *report.notes, *fit_lines(report)])]


def carry(work: Work, progress: Progress) -> list[Found]:
    """The library, or the document with all that hangs on it, on the fitted head."""
    shared, folder = work.shared, work.head.folder
    library = shared.library
    if not library.shapes:
        raise MoueError("has no shapes to carry", shared.job.library)
    file = work.fitted_file
    new = open_library(file, unit=work.said("carry", "fitted_unit", None), recognise=False)
    if not new.diagonal > 0.0:
        raise MoueError("has no size: all its vertices are at one place", file)
    source = shared.document or bare_document(library, folder / CARRY / DOCUMENT)
    met: dict[str, list[Met]] = {}
    project = carry_document(
        source, new, folder / CARRY, way=work.said("carry", "way", "gradient"),
        contact=work.said("carry", "contact", True), amplitude=work.said("carry", "amplitude", "auto"),
        finer=read_levels(library, new.unit, levels_beside(file)), met=met, progress=part_of(progress, 0.0, 0.6),
    )  # fmt: skip
    work.kept["carried"] = EvaluatedDocument.open(project)
    old, made = whole_head(source), whole_head(work.carried)
    checked = list(check_carried(old, made, met, part_of(progress, 0.6, 1.0)))
    text = json_text(carried_json(checked, met))
    write_whole(folder / CARRIED, lambda out: out.write(text.encode()))
    face = Studio.of(made).picture(view="three_quarter", size=FACE_SIZE)
    write_png(folder / FACE, face)
    return _findings(checked)


def check(work: Work, progress: Progress) -> list[Found]:
    """All checks on the carried document and its recipes, or on the carried shapes of a bare library."""
    document, folder = work.carried, work.head.folder
    checked = check_all(
        document, document.project.recipes, sweep=work.said("check", "sweep", None),
        pairs=work.said("check", "pairs", False), progress=part_of(progress, 0.0, 0.5), facts=work.facts,
    )  # fmt: skip
    text = json_text({one.name: [finding.as_dict() for finding in one.findings] for one in checked})
    page = html_report(
        Studio.of(document.head), checked, title=f"Checks of {work.head.name}", progress=part_of(progress, 0.5, 1.0)
    )
    write_whole(folder / PAGE, lambda file: file.write(page.encode()))
    write_whole(folder / CHECK, lambda file: file.write(text.encode()))
    return _findings(checked)


def bake_recipes(work: Work, progress: Progress) -> list[Found]:
    """The document's recipes as new targets on the carried head."""
    document = work.carried
    before = len(document.notes)
    order_of = work.said("bake", "order_of", None)
    bake(
        document, work.head.folder / BAKE, document.project.recipes, suffix=f".{work.said('bake', 'format', 'obj')}",
        unit=work.said("bake", "unit", None), name=work.said("bake", "name", "{recipe}"),
        level=work.said("bake", "level", 0), steps=work.said("bake", "steps", 1),
        order_of=None if order_of is None else Path(order_of), progress=progress,
    )  # fmt: skip
    return [Found("note", "bake", words) for words in document.notes[before:]]


def sheet(work: Work, progress: Progress) -> list[Found]:
    """A picture of every recipe, or of every shape of a bare library."""
    document, head = work.carried, work.carried.head
    if work.shared.job.document and document.project.recipes:
        recipes = document.project.recipes
        entries = [Entry(each.name, EvaluatedRecipe.of(document, each).pose, each.note) for each in recipes]
    else:
        entries = shapes_of(head)
    picture = contact_sheet(
        Studio.of(head), entries, title=work.head.name, view=work.said("sheet", "view", "three_quarter"),
        columns=work.said("sheet", "columns", None), face=face_points(head), progress=progress, workers=1,
    ).image  # fmt: skip
    write_png(work.head.folder / SHEET, picture)
    return []


def clip(work: Work, progress: Progress) -> list[Found]:
    """The document's clips as frames."""
    document = work.carried
    names = work.said("clip", "names", tuple(each.name for each in document.project.clips))
    for place, name in enumerate(names):
        made = evaluated_clip(document, name)
        folder = work.head.folder / CLIPS / name
        make_folder(folder.parent)
        bake_clip(
            made, folder, suffix=f".{work.said('clip', 'format', 'npz')}", unit=work.said("clip", "unit", None),
            level=work.said("clip", "level", 0),
            progress=part_of(progress, place / len(names), (place + 1) / len(names)),
        )  # fmt: skip
    return []


@dataclass(frozen=True)
class Step:
    """A step: its name, what it does, the names in a head's folder that it writes, and the step whose files it reads.
    `words` say what is under way."""

    name: str
    run: Callable[[Work, Progress], list[Found]]
    places: tuple[str, ...]
    after: str | None
    words: str


STEPS: tuple[Step, ...] = (
    Step("fit", fit, (FIT,), None, "fitting"),
    Step("carry", carry, (CARRY, CARRIED, FACE), "fit", "carrying"),
    Step("check", check, (CHECK, PAGE), "carry", "checking"),
    Step("bake", bake_recipes, (BAKE,), "carry", "baking"),
    Step("sheet", sheet, (SHEET,), "carry", "picturing"),
    Step("clip", clip, (CLIPS,), "carry", "baking clips"),
)
"""Every step of a head, in the order in which they run."""
BY_NAME = {step.name: step for step in STEPS}


def _findings(checked: Sequence[Checked]) -> list[Found]:
    """Every finding, worst first."""
    every = [(one.name, finding) for one in checked for finding in one.findings]
    every.sort(key=lambda each: (*each[1].rank, each[0]))
    return list(_told(every))


def _told(every: Sequence[tuple[str, Any]]) -> Iterator[Found]:
    for name, finding in every:
        yield Found(finding.severity, name, finding.words, finding.hint)
