"""A job in memory: which heads go through which steps, with which settings, and where each writes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

OnFinding = Literal["go on", "stop this head"]
Setting = str | int | float | bool | tuple[str, ...]
Settings = Mapping[str, Setting]
"""What a step is told, by key; keys left out have the value that the command has."""
NAME = "{name}"
"""What stands for a head's name in the job's `to`."""
RECORD = "moue-job.json"
"""The file in each head's folder that says which steps are done, and from what."""


@dataclass(frozen=True)
class JobHead:
    """A head of a job: a `sculpt` with `landmarks` (None: found by its form) to fit the library onto, or a mesh that is
    `fitted` already. `like` are earlier heads. `settings` are those of each step, the job's defaults filled in.
    `folder` is where all of it is written. `units` are those of the sculpt and of the fitted mesh, where told."""

    name: str
    folder: Path
    sculpt: Path | None = None
    fitted: Path | None = None
    landmarks: Path | None = None
    like: tuple[Path, ...] = ()
    on_finding: OnFinding = "go on"
    settings: Mapping[str, Settings] = field(default_factory=dict)

    def setting(self, step: str, key: str) -> Setting | None:
        """One setting of a step; None where the job does not say."""
        return self.settings.get(step, {}).get(key)


@dataclass(frozen=True)
class Job:
    """A job as read from `path`. `library` is a library or a document, `steps` are in the order in which they run,
    `together` is the folder that holds the folders of all heads."""

    path: Path
    library: Path
    steps: tuple[str, ...]
    heads: tuple[JobHead, ...]
    together: Path
    unit: str | None = None
    neutral: str | None = None

    @property
    def document(self) -> bool:
        """Whether the library is a document, whose regions, recipes and clips go along."""
        return self.library.suffix.lower() in (".toml", ".moue")

    @property
    def page(self) -> Path:
        """The page with a picture and the worst findings of every head."""
        return self.together / f"{self.path.stem}.html"

    @property
    def mended(self) -> Path:
        """The mended copy of the library, where the job has the step `mend`."""
        return self.together / "library_mended"

    def steps_of(self, head: JobHead) -> tuple[str, ...]:
        """The steps of one head: a head that is fitted already skips the fit; the library is mended once for all."""
        return tuple(step for step in self.steps if step != "mend" and not (step == "fit" and head.fitted is not None))
