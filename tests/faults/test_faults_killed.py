"""A kill between any two calls to the file system leaves the old or the new, whole, and the next run goes on from it.

The short form of `python -m tests.faults.kill_campaign`, which takes every point: here each verb is killed at a few
points.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from composer.head.exchange import exchanged
from composer.head.leftovers import Beside, old_place
from composer.head.new_folder import filled_or_same, filled_whole, may_fill
from tests.faults.kill_campaign import Campaign
from tests.faults.kill_verbs import VERBS
from tests.faults.killed import apart, leftovers

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="a process is forked to be killed")


@pytest.mark.parametrize(("verb", "shares"), [
    ("save", (0.55, 0.8, 0.95)), ("autosave", (0.5,)), ("bake", (0.9,)), ("accept", (0.8,)), ("mend", (0.9,)),
    ("swap", (0.57,)), ("table", (0.3,)),
])  # fmt: skip
def test_a_kill_leaves_the_old_or_the_new(tmp_path: Path, verb: str, shares: tuple[float, ...]) -> None:
    made = Campaign(VERBS[verb], tmp_path)
    last = made.points() - 1
    for share in shares:
        made.at(round(share * last))
    assert made.told.kills == len(shares) and made.told.faults == []


def test_the_campaign_finds_what_is_not_whole(tmp_path: Path) -> None:
    """A verb that writes its file in place: the campaign must find it torn."""
    from tests.faults.kill_verbs import Verb, whole

    def run(folder: Path) -> None:
        with (folder / "a").open("wb") as file:
            file.write(b"new")

    def says(folder: Path) -> bytes:
        return (folder / "a").read_bytes()

    made = Campaign(Verb("in place", lambda f: (f / "a").write_bytes(b"old"), run, says, whole(says)), tmp_path)
    for point in range(made.points()):
        made.at(point)
    assert any("a mixture" in fault for fault in made.told.faults)


def test_an_exchange_in_two_steps_that_was_killed_is_undone(tmp_path: Path) -> None:
    """Where the system has no exchange in one step: the folder lies aside, and nothing is in its place."""
    with filled_whole(tmp_path / "out", "list.json", "fit") as beside:
        (beside / "a.obj").write_bytes(b"v 0 0 0\n")
    (tmp_path / "out").rename(old_place(tmp_path / "out"))
    may_fill(tmp_path / "out", "list.json", "fit")
    assert (tmp_path / "out/a.obj").read_bytes() == b"v 0 0 0\n" and leftovers(tmp_path) == []


@pytest.mark.skipif(sys.platform not in ("linux", "darwin"), reason="no other system exchanges two places")
def test_two_folders_are_exchanged_in_one_step(tmp_path: Path) -> None:
    for name in ("one", "other"):
        (tmp_path / name).mkdir()
        (tmp_path / name / name).touch()
    assert exchanged(tmp_path / "one", tmp_path / "other")
    assert (tmp_path / "one/other").exists() and (tmp_path / "other/one").exists()
    assert not exchanged(tmp_path / "one", tmp_path / "none")


def test_only_what_nobody_holds_any_more_is_swept(tmp_path: Path) -> None:
    def left_by_a_kill() -> None:
        Beside(tmp_path / "a.obj")
        Beside(tmp_path / "b", folder=True)
        (tmp_path / ".a.obj.abcdefgh.part").touch()  # somebody else's
        os._exit(0)

    child = os.fork()
    if child == 0:
        left_by_a_kill()
    os.waitpid(child, 0)
    assert len(leftovers(tmp_path)) == 2
    living = Beside(tmp_path / "c.obj")
    assert leftovers(tmp_path) == [living.place.name]
    apart(lambda: Beside(tmp_path / "d.obj").remove())
    assert leftovers(tmp_path) == [living.place.name]
    living.remove()
    assert [each.name for each in tmp_path.iterdir()] == [".a.obj.abcdefgh.part"]


def test_a_new_folder_is_not_made_twice_after_a_kill(tmp_path: Path) -> None:
    """The same files lie in the first: they are taken, whatever else stands apart in it; others get the next place."""

    def places() -> Iterator[Path]:
        return (tmp_path / f"ferrier{number}" for number in range(9))

    def fill(words: str) -> Callable[[Path], object]:
        return lambda beside: ((beside / "fine").mkdir(), (beside / "fine/a.obj").write_text(words))

    assert filled_or_same(places(), fill("v 0 0 0"), "before*") == (tmp_path / "ferrier0", True)
    (tmp_path / "ferrier0/before.moue").touch()
    (tmp_path / "ferrier0/.before.part").mkdir()
    (tmp_path / "ferrier0/.before.part/0").touch()
    assert filled_or_same(places(), fill("v 0 0 0"), "before*") == (tmp_path / "ferrier0", False)
    assert filled_or_same(places(), fill("v 0 0 1"), "before*") == (tmp_path / "ferrier1", True)
    (tmp_path / "ferrier1/mine.obj").touch()
    assert filled_or_same(places(), fill("v 0 0 1"), "before*") == (tmp_path / "ferrier2", True)
    assert leftovers(tmp_path) == []
