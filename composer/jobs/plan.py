"""What a job would do: by head and step to do, or unchanged, and about how long it takes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from composer.document.store import open_document
from composer.errors import MoueError
from composer.jobs.content import content, document_content, joined
from composer.jobs.estimate import Size
from composer.jobs.job import RECORD, Job, JobHead
from composer.jobs.one_head import states
from composer.jobs.record import Done, read_record, write_record
from composer.jobs.result import State
from composer.jobs.steps import Shared
from composer.progress import Progress


@dataclass(frozen=True)
class Planned:
    """A head: by step its state; where a file is not there, `fault` says so and nothing of it can be done."""

    head: JobHead
    states: Mapping[str, State]
    fault: str | None = None

    @property
    def to_do(self) -> tuple[str, ...]:
        """The steps that are to do."""
        return tuple(step for step, state in self.states.items() if state == "to do")


def library_content(job: Job) -> str:
    """The hash of the library, or of the document with all that it names, and of what the job says of it."""
    if job.document:
        project = open_document(job.library)
        found = document_content(job.library, project.head_path, project.text)
    else:
        found = content(job.library)
    return joined({"library": found, "unit": job.unit, "neutral": job.neutral, "mended": "mend" in job.steps})


def planned(job: Job, library: str, progress: Progress | None = None) -> list[Planned]:
    """Every head of the job, in order; `library` is the hash of its content."""
    rows = []
    for place, head in enumerate(job.heads):
        if progress is not None:
            progress(place / len(job.heads), f"looking at {head.name}")
        try:
            rows.append(Planned(head, states(job, head, library)))
        except MoueError as error:
            rows.append(Planned(head, dict.fromkeys(job.steps_of(head), "to do"), str(error)))
    return rows


def mend_is_done(job: Job, library: str) -> bool:
    """Whether the library's mended copy is there, made from the same content."""
    done = read_record(job.mended).get("mend")
    return done is not None and done.holds(library, job.mended)


def note_mended(job: Job, library: str, files: Mapping[str, str]) -> None:
    """Note in the mended copy from what it was made."""
    write_record(job.mended, {"mend": Done(library, {k: v for k, v in files.items() if k != RECORD})})


def size_of(shared: Shared) -> Size:
    """What the job's work grows with; opens the library."""
    head = shared.fitted_library
    return Size(
        head.n_vertices, len(head.shapes), 0 if shared.document is None else len(shared.document.project.recipes)
    )
