"""The demo's heads, each made once a run: neutrals, sculpts and libraries; for reading only."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Collection
from functools import partial
from pathlib import Path
from typing import Any

from composer.demo.character import CHARACTERS, KEEPER
from composer.demo.library import library_of
from composer.demo.neutral import DemoNeutral, build_neutral
from composer.demo.sculpt import Sculpt, build_sculpt
from composer.head.head import Head
from tests import made_once
from tests.made_once import thing

NAMES = tuple(CHARACTERS)


def neutral(name: str) -> DemoNeutral:
    """The neutral of a character."""
    return thing(f"{name}'s neutral", lambda: build_neutral(CHARACTERS[name]))


def neutral_head(name: str) -> Head:
    """The same as a head without shapes."""
    return neutral(name).head()


def sculpt(name: str) -> Sculpt:
    """The sculpt of a character."""
    return thing(f"{name}'s sculpt", lambda: build_sculpt(CHARACTERS[name], neutral(name)))


def library(name: str = KEEPER.name, shapes: Collection[str] | None = None) -> Head:
    """The library of a character at the cage, or only the shapes of these names."""
    head = thing(f"{name}'s library", lambda: library_of(neutral(name)))
    return head if shapes is None else head.with_(shapes=tuple(s for s in head.shapes if s.name in shapes))


def demo_folder() -> Path:
    """What `moue demo` writes, run as a person does: document, libraries, baked targets and pictures."""
    return made_once.folder("demo", _moue_demo)


def small_demo_folder() -> Path:
    """The same document beside a library of few shapes: those that its recipes and its clip use, and those that tell
    where the jaw turns and which way the eyes look. No pictures and no baked targets."""
    return made_once.folder("small demo", _small_demo)


TELLING = ("au26", "gaze_left", "gaze_up")
"""Shapes that no recipe uses, but by which a jaw and eyes are known."""


def _small_demo(folder: Path) -> None:
    whole = demo_folder()
    text = (whole / "document.toml").read_text(encoding="utf-8")
    document = tomllib.loads(text)
    kept = {*re.findall(r'shape = "([^"]*)"', text), *TELLING}
    between = {each["target"]: name for name, shape in document["shapes"].items() for each in shape["inbetweens"]}
    for name in set(between.values()) - kept:
        text = re.sub(rf"\[shapes\.{name}\]\n.*\n\n", "", text)
    for library in ("keeper", "keeper_level1"):
        (folder / library).mkdir(parents=True)
        for file in (whole / library).iterdir():
            if file.suffix != ".obj" or between.get(file.stem, file.stem) in kept | {"neutral"}:
                shutil.copy(file, folder / library)
        rows = (folder / library / "head_motion.csv").read_text(encoding="utf-8").splitlines(keepends=True)
        moved = [row for row in rows[1:] if row.split(",")[0] in kept | set(between)]
        (folder / library / "head_motion.csv").write_text("".join([rows[0], *moved]), encoding="utf-8")
    (folder / "document.toml").write_text(text, encoding="utf-8")


def take_made() -> None:
    """Let `moue demo` in this process take keeper's neutral and library from what the run's workers have made, and keep
    for them what it makes: the same functions make both."""
    from composer.demo import tour

    fresh = tour.library_of

    def taken(made: DemoNeutral, level: int = 0, *rest: Any, **more: Any) -> Head:
        make = partial(fresh, made, level, *rest, **more)
        return make() if level else thing(f"{KEEPER.name}'s library", make)

    tour.library_of = taken
    tour.build_neutral = lambda character: neutral(character.name)


def _moue_demo(folder: Path) -> None:
    code = "from tests.demo_heads import take_made; take_made(); from composer.cli.main import main; main()"
    command = [sys.executable, "-c", code, "demo", "--to", str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, cwd=Path(__file__).resolve().parent.parent)
    assert done.returncode == 0, done.stderr
