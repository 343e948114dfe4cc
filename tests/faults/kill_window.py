"""The real window is killed at instants drawn by chance while a person adds recipes, paints, saves and bakes.

`python -m tests.faults.kill_window [--random N] [--workers N]`. One undisturbed run tells every state that the document
passes through. A kill is a fault where the document is none of them or falls back behind what was saved, where the copy
kept beside it is none of them or behind what was kept, where a target is torn, or where the next window cannot take the
copy, save and bake, or leaves hidden files. Exit code 1 where there is one.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import random
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from composer.document.autosave import waiting
from composer.document.project import Project
from composer.document.store import open_document
from tests.composer.document.carried_document import document_on_disk
from tests.faults.kill_campaign import Told
from tests.faults.kill_verbs import DOCUMENT, _says
from tests.faults.killed import apart, contents, killed_after, leftovers, sound

ROUNDS = 2
Tell = Callable[[str, str], None]


def state_of(project: Project) -> str:
    """What a document says, in a few signs."""
    return hashlib.sha256(repr(_says(project)).encode()).hexdigest()[:16]


def work(folder: Path, tell: Tell, rounds: int = ROUNDS) -> None:
    """A person's rounds in the window, by real events: a recipe, a dab, a save, a bake. Tells each state as it is made,
    kept, saved and baked."""
    from tests.window.hand import Hand

    os.environ["MOUE_SETTINGS"] = str(folder / "settings")
    with Hand() as hand:
        hand.open(folder / DOCUMENT)
        if "Take the copy" in hand.seen:
            hand.click_on("Take the copy")
            hand.settle()
        hand.stage.keeping.every = 0.0
        for _ in range(rounds):
            for edit in (lambda: hand.key("Ctrl+N"), lambda: _dab(hand)):
                edit()
                hand.frames(2)
                tell("made", state_of(hand.session.project))
                hand.settle()
                tell("kept", state_of(hand.session.project))
            hand.key("Ctrl+S")
            hand.until(lambda: not hand.session.unsaved, "the save")
            tell("saved", state_of(hand.session.project))
            _bake(hand, folder / "baked")
            tell("baked", "")
        hand.settle()
        hand._tell("on_close")
        hand.frames(4)
        asked = hand.stage.dialogs.at_stake if hand.window.context is not None else {}
        assert hand.window.context is None, f"the window does not close: {[*asked.values()]}, {hand.told}"


def _dab(hand: Any) -> None:
    """One soft dab of the brush on the first region, then back to the mix."""
    hand.key("P")
    hand.settle()
    brush = hand.window.panels.painting
    brush.radius_mm, brush.strength = 12.0, 0.3
    hand.until(lambda: brush.ready_for(hand.session), "the brush")
    hand.click(*hand.in_region(hand.session.region))
    hand.key("M")


def _bake(hand: Any, folder: Path) -> None:
    hand.key("Ctrl+B")
    hand.fill("bake folder", str(folder))
    hand.frames(3)
    hand.click_on("Bake now")
    hand.until(lambda: hand.window.panels.bake.written, "the bake")
    hand.key("Escape")


class Killed:
    """The window in a folder of its own, begun anew for every kill."""

    def __init__(self, place: Path) -> None:
        self.begun, self.room = place / "begun", place / "room"
        self.begun.mkdir(parents=True)
        sound(apart(lambda: (document_on_disk(self.begun), None)[1]), "no document")
        self._anew()
        self.targets: dict[str, set[bytes]] = {}
        self.states = [sound(apart(lambda: state_of(open_document(self.room / DOCUMENT))), "the document").gave]
        since = time.monotonic()
        lines, baked = sound(apart(self._worked), "an undisturbed window").gave
        self.seconds = time.monotonic() - since
        self.first = float(lines[0][2])
        for name, held in baked:
            self.targets.setdefault(name, set()).add(held)
        self.states += [state for word, state, _ in lines if word == "made"]
        self.told = Told("window")

    def _anew(self) -> None:
        shutil.rmtree(self.room, ignore_errors=True)
        shutil.copytree(self.begun, self.room)

    def _worked(self) -> tuple[list[tuple[str, str, float]], list[tuple[str, bytes]]]:
        """What is told of a run that nothing disturbs, and when; and every target that it bakes."""
        since, told, baked = time.monotonic(), [], []

        def tell(word: str, state: str) -> None:
            told.append((word, state, time.monotonic() - since))
            if word == "baked":
                baked.extend(contents(self.room / "baked").items())

        work(self.room, tell)
        return told, baked

    def after(self, seconds: float) -> None:
        """Kill the window after some time, judge what is there, work on in the next, judge again."""
        self._anew()
        diary = self.room / "diary.txt"
        diary.touch()
        killed_after(lambda: work(self.room, lambda word, state: _note(diary, word, state)), seconds)
        self.told.kills += 1
        told = [tuple((line + " ").split(" ")[:2]) for line in diary.read_text().splitlines()]
        for fault in self._faults(told):
            self.told.faults.append(f"after {seconds:.3f} s: {fault}")

    def _faults(self, told: Sequence[tuple[str, ...]]) -> Iterator[str]:
        """What is wrong with what a kill left, and with what the next window makes of it."""
        saved = self._furthest(told, "saved")
        ended = apart(self._left)
        if ended.said:
            yield f"what is left cannot be read: {ended.said.strip().splitlines()[-1]}"
            return
        document, copy, baked = ended.gave
        self.told.old += document == self.states[0]
        at = self._index(document)
        if at < saved:
            yield f"the document is state {at}, saved was {saved}"
        held = max(at, self._index(copy)) if copy else at
        if copy and self._index(copy) < 0:
            yield "the copy is none of the states"
        if held < self._furthest(told, "kept"):
            yield f"{held} is kept, {self._furthest(told, 'kept')} was told"
        torn = [name for name, bytes_ in baked.items() if name.endswith(".obj") and bytes_ not in self.targets[name]]
        if torn:
            yield f"{torn[0]} is torn"
        following = apart(lambda: work(self.room, lambda *_: None, rounds=1))
        if following.said:
            yield f"the next window: {following.said.strip().splitlines()[-1]}"
        hidden = apart(lambda: leftovers(self.room)).gave
        if hidden:
            yield f"the next window leaves {hidden[0]} and {len(hidden) - 1} more"
        if apart(lambda: waiting(self.room / DOCUMENT) is not None).gave:
            yield "the next window leaves a copy"

    def _left(self) -> tuple[str, str, dict[str, bytes]]:
        file = self.room / DOCUMENT
        copy = waiting(file)
        baked = contents(self.room / "baked") if (self.room / "baked").exists() else {}
        return state_of(open_document(file)), state_of(copy.project) if copy else "", baked

    def _index(self, state: str) -> int:
        return max((i for i, each in enumerate(self.states) if each == state), default=-1)

    def _furthest(self, told: Sequence[tuple[str, ...]], word: str) -> int:
        return max((self.states.index(state) for said, state in told if said == word), default=0)


def _note(diary: Path, word: str, state: str) -> None:
    with diary.open("a") as file:
        file.write(f"{word} {state}\n")


def _share(asked: tuple[int, int, int, int]) -> Told:
    chance, seed, part, parts = asked
    with tempfile.TemporaryDirectory(prefix="moue-kill-") as place:
        made = Killed(Path(place).resolve())
        drawn = random.Random(seed)
        for number in range(chance):
            share = drawn.uniform(0.0, 1.0)
            if number % parts == part:
                made.after(made.first * 0.8 + share * (made.seconds - made.first * 0.8))
        return made.told


def main() -> None:
    """Run it, and print."""
    read = argparse.ArgumentParser(description=__doc__)
    read.add_argument("--random", type=int, default=200, metavar="N", help="kills at instants drawn by chance")
    read.add_argument("--workers", type=int, default=1, metavar="N", help="processes")
    read.add_argument("--seed", type=int, default=2026)
    said = read.parse_args()
    told = Told("window")
    with ProcessPoolExecutor(said.workers, get_context("fork")) as pool:
        for one in pool.map(_share, [(said.random, said.seed, part, said.workers) for part in range(said.workers)]):
            told.more(one)
    print(told.line())
    for fault in told.faults[:20]:
        print("   " + fault)
    sys.exit(1 if told.faults else 0)


if __name__ == "__main__":
    main()
