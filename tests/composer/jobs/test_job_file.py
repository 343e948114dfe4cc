"""The text of a job: what it says, and what is wrong with it in one line."""

from __future__ import annotations

from pathlib import Path

import pytest

from composer.errors import MoueError
from composer.jobs.job import Job
from composer.jobs.job_file import read_job

GOOD = """moue_job = 1
library = "keeper"
steps = ["sheet", "fit", "carry"]
to = "heads/{name}"
[defaults]
fit = { level = 1, relax = false }
like = ["earlier/*.obj"]
[[head]]
name = "ferrier"
sculpt = "ferrier.obj"
landmarks = "ferrier.toml"
fit = { level = 2 }
[[head]]
name = "bellringer"
fitted = "bellringer.obj"
like = []
on_finding = "stop this head"
"""


def job(tmp_path: Path, text: str) -> Job:
    (tmp_path / "keeper").mkdir(exist_ok=True)
    (tmp_path / "document.toml").touch()
    (tmp_path / "one.glb").touch()
    (tmp_path / "earlier").mkdir(exist_ok=True)
    for name in ("b.obj", "a.obj"):
        (tmp_path / "earlier" / name).touch()
    file = tmp_path / "job.toml"
    file.write_text(text, encoding="utf-8")
    return read_job(file)


def test_a_job_says_what_each_head_goes_through(tmp_path: Path) -> None:
    read = job(tmp_path, GOOD)
    ferrier, bellringer = read.heads
    assert read.steps == ("fit", "carry", "sheet")  # in the order in which they can run
    assert ferrier.settings["fit"] == {"level": 2, "relax": False}  # the head's own over the defaults
    assert [each.name for each in ferrier.like] == ["a.obj", "b.obj"] and bellringer.like == ()
    assert (ferrier.on_finding, bellringer.on_finding) == ("go on", "stop this head")
    assert read.steps_of(bellringer) == ("carry", "sheet")
    assert ferrier.folder == tmp_path / "heads/ferrier" and read.page == tmp_path / "heads/job.html"


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ("moue_job = 1", "moue_job = 2", "moue_job = 1"),
        ("moue_job = 1", "moue_job =", "is no TOML"),
        ("moue_job = 1", f"moue_job = 1\n{'a.' * 40_000}b = 1", "more than 64 parts"),
        ("moue_job = 1", "moue_job = 1\nlibary = 2", "library"),
        ('library = "keeper"', "", "needs a library"),
        ('library = "keeper"', 'library = "keper"', "is not there"),
        ('["sheet", "fit", "carry"]', "[]", "needs a list of steps"),
        ('["sheet", "fit", "carry"]', '["fitt"]', "fit"),
        ('["sheet", "fit", "carry"]', '["fit", "sheet"]', "add carry"),
        ('["sheet", "fit", "carry"]', '["carry"]', "the steps have no fit"),
        ('["sheet", "fit", "carry"]', '["fit", "carry", "bake"]', "holds no recipes"),
        ('library = "keeper"\nsteps = ["sheet", "fit", "carry"]',
         'library = "document.toml"\nsteps = ["mend", "fit", "carry"]', "mends a library"),
        ('library = "keeper"\nsteps = ["sheet", "fit", "carry"]',
         'library = "one.glb"\nsteps = ["mend", "fit", "carry"]', "only a folder"),
        ("heads/{name}", "heads/all", "{name}"),
        ("heads/{name}", "{name}/head", "the last part"),
        ("level = 1", "levl = 1", "level"),
        ("level = 1", "level = 9", "from 0 to 8"),
        ("level = 1", "level = true", "a whole number"),
        ("relax = false", "relax = 0", "true or false"),
        ("earlier/*.obj", "later/*.obj", "not there"),
        ('name = "bellringer"', 'name = "Ferrier"', "the name of head 1"),
        ('name = "bellringer"', 'name = "../up"', "may not be named"),
        ('name = "bellringer"', "", "needs a name"),
        ('fitted = "bellringer.obj"', "", "give one of the two"),
        ('fitted = "bellringer.obj"', 'fitted = "b.obj"\nsculpt = "c.obj"', "give one of the two"),
        ("stop this head", "stop", "go on, stop this head"),
        ("fit = { level = 2 }", "fit = 2", "to be a table"),
        ("[[head]]", "[[heads]]", "head"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told_in_one_line_that_names_the_file(
    tmp_path: Path, before: str, after: str, words: str
) -> None:
    assert before in GOOD
    with pytest.raises(MoueError) as told:
        job(tmp_path, GOOD.replace(before, after))
    line = str(told.value)
    assert line.startswith(str(tmp_path / "job.toml")) and words in line and "\n" not in line


def test_a_head_is_not_made_from_what_the_job_itself_writes(tmp_path: Path) -> None:
    own = tmp_path / "heads/bellringer/fit"
    own.mkdir(parents=True)
    (own / "fitted.obj").touch()
    with pytest.raises(MoueError, match="what the job itself writes"):
        job(tmp_path, GOOD.replace("earlier/*.obj", "heads/*/fit/fitted.obj"))
