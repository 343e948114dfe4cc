"""The table of crossing skin: polygons of fitted heads that cross others, by place, beside the library's own neutral
and, where it is known, the true head.

`python -m composer.bench.crossing_table --workers 4 --level 1 --json FILE` fits the people of MOUE_REAL through 30
exact and 30 clicked landmarks, its scan by form alone where there is one, and two made heads through all. Every count
is that of `geometry.self_crossing`.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.bench.fit_people import CLICKED, EXACT, FACE, PEOPLE, library, person
from composer.demo.character import CHARACTERS, KEEPER
from composer.demo.neutral import build_neutral
from composer.demo.sculpt import build_sculpt
from composer.fitting.fit_state import FitOptions, FitState
from composer.fitting.hollows.library import LibrarySkin
from composer.fitting.hollows.places import NAMES, counted_by_place
from composer.fitting.stages import STAGES
from composer.formats.registry import read_mesh
from composer.geometry.part import chosen_polygons
from composer.geometry.polygons import Polygons
from composer.geometry.self_crossing import SelfCrossing
from composer.head.head import Head
from composer.head.landmarks import Landmarks
from composer.head.levels import Refinement

Floats = NDArray[np.float64]
Counts = dict[str, int]
LANDMARKS = 30
MADE = ("ferrier", "bellringer")
SCAN = "scan_a"
"""A scan in MOUE_REAL without landmarks, `scan_a.obj` in mm."""
PERSONS = {f"person {number}": number for number in PEOPLE}
BY_FORM, ALL = "by form", "all"
Case = tuple[str, str]


@dataclass(frozen=True)
class Crossing:
    """One fit: the sculpt's name and how its landmarks were placed; by place, polygons that cross others of the `fit`
    at level 0, of the `library` and of the `true` head, empty where it is not known; the same of the fit and of the
    library, subdivided, at the finest `level` asked for; parts `through` the skin and skin `inside_out`; mean true
    error over face and skin in mm, 0 where it is not known; processor time in seconds."""

    sculpt: str
    kind: str
    fit: Counts
    library: Counts
    true: Counts
    level: int
    fine: Counts
    fine_library: Counts
    through: Counts
    inside_out: Counts
    face_mm: float
    skin_mm: float
    seconds: float


class Counter:
    """Counts the polygons of a head's skin that cross others, at a level."""

    def __init__(self, head: Head, level: int) -> None:
        assert head.landmarks is not None
        polygons, flags = head.polygons, head.skin.astype(np.float64)
        known = LibrarySkin.of(head)
        names = np.full(polygons.n_faces, NAMES[-1], dtype=known.place_names(head, head.landmarks).dtype)
        names[_whole(polygons, head.skin)] = known.place_names(head, head.landmarks)
        neutral = head.neutral
        for _ in range(level):
            step = Refinement(polygons)
            flags, neutral, names = step.apply(flags), step.apply(neutral), names[step.parent_face]
            polygons = step.polygons
        skin = _whole(polygons, flags > 1.0 - 1e-9)
        self.names, self.test = names[skin], SelfCrossing(chosen_polygons(polygons, skin))
        self.library = self.of(neutral)

    def of(self, positions: NDArray) -> Counts:
        """By place, what crosses at `positions` (n, 3) mm of all the head's vertices at the level."""
        return counted_by_place(self.names, self.test.crossing_faces(np.asarray(positions, dtype=np.float64)))

    def of_first(self, positions: NDArray) -> Counts:
        """The same for the first vertices alone, at `positions` (s, 3) mm; the others' polygons are left out."""
        first = _whole(self.test.polygons, np.arange(self.test.polygons.n_vertices) < len(positions))
        there = np.concatenate([positions, np.zeros((self.test.polygons.n_vertices - len(positions), 3))])
        test = SelfCrossing(chosen_polygons(self.test.polygons, first))
        return counted_by_place(self.names[first], test.crossing_faces(there))


def _whole(polygons: Polygons, vertices: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """(f,) the polygons all of whose corners are flagged in `vertices` (n,)."""
    return np.asarray(np.logical_and.reduceat(vertices[polygons.indices], polygons.starts[:-1]))


def fitted(case: Case, level: int) -> Crossing:
    """A case fitted as the command does, up to a level."""
    name, kind = case
    state, true = begun(case, FitOptions(up_to=level, by_form=kind == BY_FORM))
    start = time.process_time()
    for stage in STAGES:
        state = stage.run(state, lambda fraction, words: None)
    seconds = time.process_time() - start
    head, sound = state.head, state.report.sound
    own, at = Counter(head, 0), np.asarray(state.levels[0].positions, dtype=np.float64)
    face = skin = 0.0
    true_counts: Counts = {}
    if true is not None:
        true_counts = own.of_first(true)
        off = np.linalg.norm(at[: len(true)] - true, axis=1)
        face, skin = (float(off[FACE].mean()) if name in PERSONS else 0.0), float(off.mean())
    fine = Counter(head, level) if level else own
    return Crossing(
        name, kind, own.of(at), own.library, true_counts, level, fine.of(state.levels[level].positions), fine.library,
        sound.through, sound.inside_out, face, skin, seconds,
    )  # fmt: skip


def begun(case: Case, options: FitOptions) -> tuple[FitState, Floats | None]:
    """The fit of a case before its first stage, and the true places (s, 3) mm of the skin's vertices, if known."""
    name, kind = case
    if name in MADE:
        keeper, sculpt = build_neutral(CHARACTERS[KEEPER.name]).head(), build_sculpt(CHARACTERS[name])
        assert keeper.landmarks is not None
        state = FitState(keeper, keeper.landmarks, sculpt.positions, sculpt.polygons, sculpt.landmarks, options)
        return state, sculpt.true_positions()
    head, _ = library()
    assert head.landmarks is not None
    if name == SCAN:
        mesh = read_mesh(Path(os.environ["MOUE_REAL"]) / f"{SCAN}.obj")
        return FitState(head, head.landmarks, mesh.positions, mesh.polygons, Landmarks(), options), None
    one = person(PERSONS[name])
    marks = one.marks(LANDMARKS, kind, head)
    return FitState(head, head.landmarks, one.positions, one.polygons, marks, options), one.true


def cases(people: Sequence[int]) -> list[Case]:
    """The sculpts and how their landmarks are placed."""
    scan = [(SCAN, BY_FORM)] if (Path(os.environ.get("MOUE_REAL", "")) / f"{SCAN}.obj").is_file() else []
    return [(f"person {k}", kind) for k in people for kind in (EXACT, CLICKED)] + scan + [(n, ALL) for n in MADE]


def table(rows: Sequence[Crossing]) -> Iterator[str]:
    """The lines: by place, polygons of the fit, of the library's neutral in brackets, and the true head's sum."""
    yield f"| sculpt, landmarks | {' | '.join(NAMES)} | truth | finest level | parts through, inside out | mm |"
    yield "|---" * (len(NAMES) + 5) + "|"
    for row in rows:
        places = " | ".join(f"{row.fit[name]} ({row.library[name]})" for name in NAMES)
        broken = ", ".join(f"{name} {count}" for name, count in (row.through | row.inside_out).items()) or "none"
        true = sum(row.true.values()) if row.true else ""
        finest = f"level {row.level}: {sum(row.fine.values())} ({sum(row.fine_library.values())})"
        errors = f"{row.face_mm:.3f} {row.skin_mm:.3f}"
        yield f"| {row.sculpt}, {row.kind} | {places} | {true} | {finest} | {broken} | {errors} |"


def main() -> None:
    """Measure what the command line says and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--people", type=int, nargs="*", default=list(PEOPLE), help="numbers of the sculpts, from 1")
    parser.add_argument("--only", nargs="*", help="words: cases with one of them in their name alone")
    parser.add_argument("--level", type=int, default=0, help="the finest level that is projected")
    parser.add_argument("--workers", type=int, default=1, help="processes that measure at once")
    parser.add_argument("--json", type=Path, help="also write every fit to this file")
    asked = parser.parse_args()
    wanted = [case for case in cases(asked.people) if not asked.only or any(w in " ".join(case) for w in asked.only)]
    rows = []
    with ProcessPoolExecutor(asked.workers) as pool:
        for row in pool.map(fitted, wanted, [asked.level] * len(wanted)):
            rows.append(row)
            sys.stderr.write(f"{row.sculpt}, {row.kind}: {row.seconds:.0f} s of processor time\n")
            if asked.json is not None:
                asked.json.write_text(json.dumps([asdict(each) for each in rows], indent=0))
    sys.stdout.write("\n".join(table(rows)) + "\n")


if __name__ == "__main__":
    main()
