"""A carried library looked at: where lips and lids stay open that close on the old head, what was held back, and what
Moue's own checks find on every shape alone, beside what they find on the old head.

A finding of the old head is its artist's; of the new head it is told with both values, and left out where the new one
is no worse.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from composer.checks.checked import Checked
from composer.checks.finding import Finding, Severity
from composer.checks.places import located
from composer.checks.registry import COLLISIONS
from composer.checks.subject import CheckSubject, HeadFacts
from composer.checks.words import title_of
from composer.fitting.met import Met
from composer.head.head import Head
from composer.progress import Progress

OPEN_MM = (0.2, 0.5)
"""Mean gap beyond the old head's, on a head of adult size, from which it is a warning, and an error."""
HELD_MM = 0.5
"""On a head of adult size: a correction cut by more is told as a warning where something also stays open."""
WORSE = 1.1
"""A finding is told where its value is more than this many times the old head's."""
ADULT_DIAGONAL_MM = 330.0


def check_carried(
    old: Head, made: Head, met: Mapping[str, Sequence[Met]], progress: Progress | None = None
) -> Iterator[Checked]:
    """Every shape of the carried head `made` with what is found on it, worst first; `met` says by shape how its lips
    and lids close (`fitting.contact`). `old` is the head that it was carried from.
    """
    facts, before = HeadFacts(made), HeadFacts(old)
    for done, shape in enumerate(made.shapes):
        if progress is not None:
            progress(done / len(made.shapes), f"checking {shape.name}")
        subject = _alone(facts, shape.name)
        found = [located(finding, subject) for each in met.get(shape.name, ()) for finding in _met(each, made)]
        crossing = [finding for check in COLLISIONS for finding in check.run(subject)]
        if any(finding.severity != "note" for finding in crossing):
            known = _worst(_alone(before, shape.name))
            crossing = [_beside(finding, known) for finding in crossing if _worse(finding, known)]
        found += [located(finding, subject) for finding in crossing if finding.severity != "note"]
        yield Checked(shape.name, subject.pose, sorted(found, key=lambda finding: finding.rank), "shape")


def worst_lines(checked: Sequence[Checked], most: int) -> list[str]:
    """A line for each finding of all shapes, worst first, notes last; of more than `most` the number of the others."""
    every = [(one.name, finding) for one in checked for finding in one.findings]
    every.sort(key=lambda each: (*each[1].rank, each[0]))
    lines = [
        f"{finding.severity} {name}: {finding.words}" + (f"; {finding.hint}" if finding.hint else "")
        for name, finding in every[:most]
    ]
    if len(every) > most:
        lines.append(f"and {len(every) - most} lines more, which --report and --json hold")
    return lines or ["nothing closes, crosses or was held back"]


def carried_json(checked: Sequence[Checked], met: Mapping[str, Sequence[Met]]) -> dict[str, object]:
    """Plain values by shape: how each meeting `meets`, and the findings."""
    return {
        one.name: {
            "meets": [each.numbers for each in met.get(one.name, ())],
            "findings": [finding.as_dict() for finding in one.findings],
        }
        for one in checked
    }


def _alone(facts: HeadFacts, name: str) -> CheckSubject:
    """A shape at its full weight. It has no sources: what it does is not measured against itself."""
    head = facts.head
    return CheckSubject(facts, head.neutral + head.shape(name).delta, name, given=())


def _worst(subject: CheckSubject) -> dict[tuple[str, str], float]:
    """The old head's value of each kind of finding, by code and place."""
    known: dict[tuple[str, str], float] = {}
    for check in COLLISIONS:
        for finding in check.run(subject):
            key = (finding.code, finding.where)
            known[key] = max(known.get(key, 0.0), finding.value)
    return known


def _worse(finding: Finding, known: Mapping[tuple[str, str], float]) -> bool:
    return finding.value > WORSE * known.get((finding.code, finding.where), 0.0)


def _beside(finding: Finding, known: Mapping[tuple[str, str], float]) -> Finding:
    """The finding in words for a shape, with the old head's value: those of its check speak of recipes."""
    own = known.get((finding.code, finding.where), 0.0)
    before = replace(finding, value=own).measure if own else "nothing like it"
    return replace(
        finding, words=f"{title_of(finding)}: {finding.measure or len(finding.vertices)}, on the old head {before}",
        hint="sculpt this shape on the new head, or carry it another way",
    )  # fmt: skip


def _met(met: Met, made: Head) -> Iterator[Finding]:
    """How one meeting closes: a note where it does as on the old head, else a warning or an error."""
    size = made.diagonal / ADULT_DIAGONAL_MM
    more = met.now_mm - met.own_mm
    severity: Severity = "error" if more > OPEN_MM[1] * size else "warning" if more > OPEN_MM[0] * size else "note"
    words = (
        f"{met.name} close to {met.now_mm:.2f} mm on average, on the old head to {met.own_mm:.2f}, "
        f"without contact to {met.plain_mm:.2f}"
    )
    if severity != "note":
        words += f"; {met.short_mm:.2f} mm are missing where it is worst"
    yield Finding(
        "contact.open" if severity != "note" else "contact.closes", severity, words,
        hint="sculpt this shape closed on the new head" if severity != "note" else "",
        vertices=met.vertices, amounts=met.wider_mm, value=max(more, 0.0), unit="mm", where=met.name,
    )  # fmt: skip
    if met.held_mm > 0.0:
        yield Finding(
            "contact.held", "warning" if severity != "note" and met.held_mm > HELD_MM * size else "note",
            f"up to {met.held_mm:.2f} mm of what {met.name} would need were held back: skin moves there at most "
            "1.5 times as far as it is carried",
            hint="carry this shape another way, or sculpt it on the new head", value=met.held_mm, unit="mm",
            where=met.name,
        )  # fmt: skip
