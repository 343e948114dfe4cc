"""A person who sees Moue for the first time: the way from a library that nobody has marked to a baked target.

The library is dropped on the window, the regions are looked at, a shape found by the place that it moves is dropped on
one side of the brow, another on one corner of the mouth, that one is typed down to 60 percent, and what came of it is
baked. `python -m tests.window.newcomer LIBRARY DIR [--brow WORDS] [--mouth WORDS] [--size 1280x800]` makes a picture
after every step.
"""

from __future__ import annotations

import argparse
import os
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np

from composer.viewer.session.pointing import look_up, region_at
from tests.window.hand import Hand

WEIGHT = 60
Seen = Callable[[str], None]
Wanted = tuple[str, str]
"""What is typed into the tray's search, and words of the region into which what it finds first is dropped."""


def nobody(step: str) -> None:
    """For who does not look at the steps."""


def walk(
    hand: Hand, library: Path, first: Wanted = ("brow", "brow"), second: Wanted = ("mouth corner", "mouth_corner"),
    seen: Seen = nobody,
) -> None:  # fmt: skip
    """The whole way, with two shapes in two places; `seen` hears of every step as it is done."""
    hand.drop(library)
    hand.until(lambda: hand.stage.session is not None and not hand.session.arriving, "the library")
    hand.settle()
    seen("opened")
    hand.click_on("overlay")
    hand.click_on("overlay regions")
    hand.settle()
    seen("regions")
    for words, region in (first, second):
        hand.click_on("search shapes")
        hand.text(words)
        hand.until(lambda: hand.session.knows_moved, "where shapes move")
        hand.settle()
        seen(f"found {words}")
        shape = next(name.removeprefix("shape ") for name in hand.seen if name.startswith("shape "))
        x, y = where_it_moves(hand, shape, region)
        hand.press(*hand.middle(f"shape {shape}"))
        hand.drag(x, y)
        seen(f"carried {words}")
        hand.release()
        hand.settle()
        seen(f"dropped {words}")
    session = hand.session
    hand.move(*hand.middle(f"cell {session.region} {session.shape}"))
    hand.type(str(WEIGHT))
    seen("typed")
    hand.key("Enter")
    hand.settle()
    seen("at 60 percent")
    hand.click_on("Bake")
    hand.until(lambda: hand.window.panels.bake.plan, "the list of files")
    hand.frames(3)
    seen("to bake")
    hand.click_on("Bake now")
    hand.until(lambda: hand.window.panels.bake.written, "the targets")
    hand.frames(3)
    seen("baked")


def where_it_moves(hand: Hand, shape: str, wanted: str) -> tuple[float, float]:
    """A place of the view where the shape moves a region of these words on the head's left, the furthest one to be
    seen."""
    session = hand.session
    moved = np.linalg.norm(session.head.shape(shape).delta, axis=1)
    for vertex in np.argsort(-moved)[:4000]:
        if session.head.neutral[vertex, 0] <= 0.0:
            continue
        x, y = (float(round(v)) for v in hand.at_vertex(int(vertex)))
        region = region_at(hand.stage, look_up(hand.stage, x, y)) if hand.stage.in_view(x, y) else ""
        if region and wanted in region:
            return x, y
    raise AssertionError(f"{shape} moves no region {wanted} that is to be seen")


def main() -> None:
    """The command."""
    asked = argparse.ArgumentParser(prog="python -m tests.window.newcomer", description="A newcomer's way.")
    asked.add_argument("library", type=Path)
    asked.add_argument("folder", type=Path)
    asked.add_argument("--brow", default="brow")
    asked.add_argument("--mouth", default="mouth corner")
    asked.add_argument("--size", default="1280x800")
    given = asked.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    os.environ["MOUE_SETTINGS"] = tempfile.mkdtemp()
    wide, high = (int(part) for part in given.size.split("x"))
    count = 0

    def picture(step: str) -> None:
        nonlocal count
        count += 1
        hand.shot(given.folder / f"{count:02d}_{step.replace(' ', '_')}.png")

    with Hand(size=(wide, high)) as hand:
        brow, mouth = ((words, words.replace(" ", "_")) for words in (given.brow, given.mouth))
        walk(hand, given.library, brow, mouth, picture)
        print(f"{hand.inputs} inputs")


if __name__ == "__main__":
    main()
