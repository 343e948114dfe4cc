"""The bytes that a history holds: a shared array counts once, whatever steps come and go."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from composer.document.history import HeldBytes, History
from composer.document.project import Project

ARRAYS = [np.zeros(n) for n in (1, 10, 100, 1000)]
project = st.builds(
    lambda used, text: Project(Path("a"), Path("b"), text="x" * text, stored={str(i): ARRAYS[i] for i in used}),
    st.sets(st.integers(0, 3)), st.integers(0, 50),
)  # fmt: skip


def counted(projects: list[Project]) -> int:
    arrays = {id(held): held.nbytes for each in projects for held in each.stored.values()}
    return sum(arrays.values()) + sum({id(each.text): len(each.text) for each in projects}.values())


@given(st.lists(project, max_size=8), st.data())
def test_bytes_held_are_those_of_a_fresh_count(projects: list[Project], data: st.DataObject) -> None:
    held = HeldBytes()
    for each in projects:
        held.add(each)
    assert held.bytes == counted(projects)
    while projects:
        held.drop(projects.pop(data.draw(st.integers(0, len(projects) - 1))))
        assert held.bytes == counted(projects)


@given(st.lists(st.sampled_from(["paint", "undo", "redo"]), max_size=40))
def test_what_is_held_stays_below_the_cap_but_for_two_steps(does: list[str]) -> None:
    history = History(Project(Path("a"), Path("b")), most_bytes=3 * 800)
    for step, what in enumerate(does):
        if what == "paint":
            history.apply(lambda p, step=step: p.with_(stored={"m": np.full(100, float(step))}))
            assert history.project.stored["m"][0] == step and not history.can_redo
        elif what == "undo":
            history.undo()
        else:
            history.redo()
    behind = 0
    while history.can_undo:
        history.undo()
        behind += 1
    while history.can_redo:
        history.redo()
    assert behind <= 3
