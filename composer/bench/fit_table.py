"""The table of the fit on people whose true form is known: every person, kind and number of landmarks, a line each.

`python -m composer.bench.fit_table --workers 16 --json FILE` fits them with no earlier heads, with one, two, four and
with all; `--peers` also measures trimesh's non-rigid fits, which take a minute each.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from pathlib import Path
from statistics import mean

from composer.bench.fit_people import COUNTS, PEOPLE, Fit, library, measured, non_rigid_peers, person

Case = tuple[int, str, int]


def cases(people: Sequence[int]) -> list[Case]:
    """Person, kind and number of landmarks of every case."""
    return [(number, kind, count) for number in people for kind, counts in COUNTS.items() for count in counts]


def table(fits: Sequence[Fit], peers: dict[Case, dict[str, tuple[float, float]]]) -> Iterator[str]:
    """The lines: errors over face and skin in mm by number of earlier heads, the peers', and the means of the ratios.
    """
    heads = sorted({each.earlier for each in fits})
    yield "| person | landmarks | " + " | ".join(f"{each} earlier" for each in heads) + " | radial basis | others |"
    yield "|---" * (len(heads) + 4) + "|"
    found = {(each.person, each.kind, each.count, each.earlier): each for each in fits}
    for case in sorted({key[:3] for key in found}):
        row = [found.get((*case, each)) for each in heads]
        first = next(each for each in row if each is not None)
        errors = " | ".join("" if each is None else f"{each.face_mm:.2f} {each.skin_mm:.2f}" for each in row)
        others = ", ".join(f"{name} {face:.2f} {skin:.2f}" for name, (face, skin) in peers.get(case, {}).items())
        yield (
            f"| {case[0]} | {case[2]} {case[1]} | {errors} | {first.peer_face_mm:.2f} {first.peer_skin_mm:.2f} "
            f"({first.peer}) | {others} |"
        )
    for each in heads:
        own = [fit for fit in fits if fit.earlier == each]
        rows = [("over the radial basis", [fit.ratios for fit in own])]
        if each:
            base = [(fit, found.get((fit.person, fit.kind, fit.count, 0))) for fit in own]
            rows.append(("over none", [
                (fit.face_mm / none.face_mm, fit.skin_mm / none.skin_mm) for fit, none in base if none is not None
            ]))  # fmt: skip
        for words, ratios in rows:
            if not ratios:
                continue
            face, skin = zip(*ratios, strict=True)
            yield (
                f"{each} earlier, {words}: face {mean(face):.2f} (worst {max(face):.2f}), skin {mean(skin):.2f} "
                f"(worst {max(skin):.2f})"
            )
        slide, nearest = (
            " ".join(f"{mean(getattr(fit, name)[place] for fit in own):.2f}" for place in (0, 1))
            for name in ("slide", "nearest")
        )
        yield f"{each} earlier: the error follows how far the skin may slide by {slide}, the landmarks by {nearest}"
        yield f"{each} earlier: {mean(fit.seconds for fit in own):.1f} s of processor time a fit"


def _fitted(case: Case, like: int) -> Fit:
    return measured(*case, like=tuple(range(like)))


def _peers(case: Case) -> dict[str, tuple[float, float]]:
    return non_rigid_peers(person(case[0]), *case[1:])


def main() -> None:
    """Measure what the command line says and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--people", type=int, nargs="*", default=list(PEOPLE), help="numbers of the sculpts, from 1")
    parser.add_argument("--earlier", type=int, nargs="*", help="numbers of earlier heads; 0 1 2 4 and all otherwise")
    parser.add_argument("--peers", action="store_true", help="also trimesh's non-rigid fits")
    parser.add_argument("--workers", type=int, default=1, help="processes that measure at once")
    parser.add_argument("--json", type=Path, help="also write every fit to this file")
    asked = parser.parse_args()
    like = asked.earlier if asked.earlier is not None else [0, 1, 2, 4, len(library()[1])]
    wanted = cases(asked.people)
    with ProcessPoolExecutor(asked.workers) as pool:
        others = {case: pool.submit(_peers, case) for case in wanted} if asked.peers else {}
        jobs = [pool.submit(_fitted, case, count) for count in like for case in wanted]
        fits = []
        for done, job in enumerate(jobs, start=1):
            fits.append(job.result())
            sys.stdout.write(f"{done} of {len(jobs)}\n")
            sys.stdout.flush()
            if asked.json is not None:
                asked.json.write_text(json.dumps([asdict(each) for each in fits], indent=0))
        peers = {case: job.result() for case, job in others.items()}
    sys.stdout.write("\n".join(table(fits, peers)) + "\n")


if __name__ == "__main__":
    main()
