"""Every command that writes is killed before and after every call to the file system, and at instants drawn by chance.

`python -m tests.faults.kill_campaign [VERB ...] [--every N] [--random N] [--workers N]` prints a line for each verb. A
kill is a fault where what is there is neither the old nor the new, where the next run of the same command is refused,
where it ends in anything but what an undisturbed run gives, or where it leaves hidden files. Exit code 1 where there is
one.
"""

from __future__ import annotations

import argparse
import io
import random
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import redirect_stderr, redirect_stdout, suppress
from dataclasses import dataclass, field
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from tests.faults.kill_verbs import VERBS, Verb
from tests.faults.killed import Ended, apart, killed_after, leftovers, points_of, sound


@dataclass
class Told:
    """What a campaign found for a verb: how many kills, and its faults in words."""

    verb: str
    kills: int = 0
    old: int = 0
    faults: list[str] = field(default_factory=list)

    def more(self, other: Told) -> None:
        """Take another part's in."""
        self.kills, self.old, self.faults = self.kills + other.kills, self.old + other.old, self.faults + other.faults

    def line(self) -> str:
        """The figures in one line."""
        return f"{self.verb}: {self.kills} kills, {self.old} left the old, {len(self.faults)} faults"


class Campaign:
    """A verb in a folder of its own, begun anew for every kill."""

    def __init__(self, verb: Verb, place: Path) -> None:
        self.verb, self.begun, self.room = verb, place / "begun", place / "room"
        self.begun.mkdir(parents=True)
        sound(apart(lambda: (verb.make(self.begun), None)[1]), f"{verb.name} cannot be begun")
        self._warmed()
        self.old = self._after(lambda: None)
        self.new = self._after(lambda: verb.run(self.room))
        if self.old == self.new:
            raise AssertionError(f"{verb.name} changes nothing")
        self.told = Told(verb.name)

    def _warmed(self) -> None:
        """Run it once in this process, so that its forks need not import anything."""
        self._anew()
        with suppress(SystemExit), redirect_stdout(io.StringIO()), redirect_stderr(io.StringIO()):
            self.verb.run(self.room)

    def _after(self, run: Callable[[], object]) -> Any:
        """What the folder says after a run that nothing disturbs."""
        self._anew()
        sound(apart(run), self.verb.name)
        return sound(apart(lambda: self.verb.says(self.room)), self.verb.name).gave

    def _anew(self) -> None:
        shutil.rmtree(self.room, ignore_errors=True)
        shutil.copytree(self.begun, self.room)

    def points(self) -> int:
        """How many points the verb can be killed at."""
        self._anew()
        return points_of(lambda: self.verb.run(self.room))

    def at(self, point: int) -> None:
        """Kill at a point, judge what is there, run the next command, judge again."""
        self._anew()
        self._judge(apart(lambda: self.verb.run(self.room), kill_at=point), f"point {point}")

    def after(self, seconds: float) -> None:
        """Kill from outside after some time, at whatever instant that is."""
        self._anew()
        killed_after(lambda: self.verb.run(self.room), seconds)
        self._judge(Ended(killed=True), f"after {seconds:.4f} s")

    def _judge(self, ended: Ended, when: str) -> None:
        if not ended.killed:
            self.told.faults.append(f"{when}: not killed; {ended.said.strip()[-200:]}")
            return
        self.told.kills += 1
        left = apart(lambda: self.verb.left(self.room, self.old, self.new))
        if left.said or left.gave not in ("old", "new", "both known"):
            self.told.faults.append(f"{when}: left {left.gave or left.said.strip().splitlines()[-1]}")
        self.told.old += left.gave == "old"
        following = apart(lambda: self.verb.again(self.room))
        if following.said:
            self.told.faults.append(f"{when}: the next run: {following.said.strip().splitlines()[-1]}")
            return
        said = apart(lambda: self.verb.says(self.room))
        if said.said or said.gave != self.new:
            self.told.faults.append(f"{when}: the next run gives something else {said.said[-200:]}")
        hidden = leftovers(self.room)
        if hidden:
            self.told.faults.append(f"{when}: the next run leaves {hidden[0]} and {len(hidden) - 1} more")


def campaign(verb: Verb, every: int = 1, chance: int = 0, seed: int = 2026, share: tuple[int, int] = (0, 1)) -> Told:
    """Kill a verb at every `every`-th point, and `chance` times at an instant drawn by chance.

    `share` (i, n) does the i-th of n parts of it.
    """
    part, parts = share
    with tempfile.TemporaryDirectory(prefix="moue-kill-") as place:
        made = Campaign(verb, Path(place).resolve())
        count = made.points()
        points = [*range(0, count, every), *([count - 1] if (count - 1) % every else [])]
        for point in points[part::parts]:
            made.at(point)
        for seconds in [*_instants(made, chance, seed)][part::parts]:
            made.after(seconds)
        return made.told


def spread(verbs: Sequence[str], every: int, chance: int, workers: int) -> Iterator[Told]:
    """The campaigns of some verbs, each told whole, over processes."""
    shares = [(name, every, chance, (part, workers)) for name in verbs for part in range(workers)]
    told = {name: Told(name) for name in verbs}
    left = dict.fromkeys(verbs, workers)
    with ProcessPoolExecutor(workers, get_context("fork")) as pool:
        for one in pool.map(_share, shares):
            whole = told[one.verb]
            whole.more(one)
            left[one.verb] -= 1
            if not left[one.verb]:
                yield whole


def _share(asked: tuple[str, int, int, tuple[int, int]]) -> Told:
    name, every, chance, share = asked
    return campaign(VERBS[name], every, chance, share=share)


def _instants(made: Campaign, chance: int, seed: int) -> Iterator[float]:
    if not chance:
        return
    made._anew()
    begun = time.monotonic()
    apart(lambda: made.verb.run(made.room))
    whole = time.monotonic() - begun
    drawn = random.Random(seed)
    for _ in range(chance):
        yield drawn.uniform(0.0, whole)


def main() -> None:
    """Run it, and print."""
    read = argparse.ArgumentParser(description=__doc__)
    read.add_argument("verbs", nargs="*", metavar="VERB", help=", ".join(VERBS))
    read.add_argument("--every", type=int, default=1, metavar="N", help="only every N-th point")
    read.add_argument("--random", type=int, default=0, metavar="N", help="kills at instants drawn by chance")
    read.add_argument("--workers", type=int, default=1, metavar="N", help="processes")
    said = read.parse_args()
    faults = 0
    for told in spread(said.verbs or [*VERBS], said.every, said.random, said.workers):
        print(told.line(), flush=True)
        for fault in told.faults[:12]:
            print("   " + fault)
        faults += len(told.faults)
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()
