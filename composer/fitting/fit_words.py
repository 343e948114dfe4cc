"""What a fit's report says to an artist: one line for each question, for the command, the window and the pages."""

from __future__ import annotations

from composer.fitting.hollows.counted import MANY
from composer.fitting.hollows.level_crossing import LevelCrossing
from composer.fitting.report import FitReport
from composer.head.plain_names import named

LEAST_LIKELY = 3
"""Landmarks that are named as least like where the others put them (our choice)."""


def counted(number: int, one: str, many: str) -> str:
    """A number and its noun."""
    return f"{number:,} {one if number == 1 else many}"


def fit_lines(report: FitReport) -> list[str]:
    """The lines of a report, in the order in which an artist asks: does it sit, may it slide, do the landmarks agree,
    does anything cross or turn over, are the loops good, what did not follow."""
    lines = [
        f"off the sculpt before it was laid onto it: {report.before.median:.2f} mm (median), "
        f"95 percent within {report.before.p95:.2f}"
    ]
    if report.slide is not None:
        lines.append(
            f"may still slide along the skin by about {report.slide.median:.1f} mm (median), "
            f"95 percent by less than {report.slide.p95:.1f}"
        )
    if report.landmarks:
        name, off = max(report.landmarks.items(), key=lambda one: one[1])
        lines.append(f"the fit passes the landmarks within {off:.1f} mm (furthest: {named(name)})")
    if report.left_out:
        told = "; ".join(f"{named(name)} {off:.1f} mm" for name, off in list(report.left_out.items())[:LEAST_LIKELY])
        lines.append(f"landmarks least like where the others put them, and how far from there: {told}")
    if report.pinned:
        lines.append(f"held where they were placed: {'; '.join(named(name) for name in report.pinned)}")
    if report.curves:
        name, off = max(report.curves.items(), key=lambda one: one[1])
        lines.append(f"the fit passes the curves within {off:.1f} mm (furthest: {named(name)})")
    sound = report.sound
    crossing = ", ".join(
        f"{place} {count} ({sound.crossing_library.get(place, 0)})" for place, count in sound.crossing.items()
    )
    lines.append(f"faces that cross others, and in the library's own head: {crossing}")
    lines += finer_words(report.finer)
    lines.append(f"faces turned over {report.reversed_faces}, folded {report.folded_faces}")
    loops = report.loops
    lines.append(
        f"loops beside the library's own: corners {loops.angle_median_deg:.1f} degrees off (median), "
        f"edges {loops.length_median:.2f} times, proportions {loops.aspect_median:.2f} times"
    )
    if report.not_followed:
        reasons = "; ".join(f"{count:,} {words}" for words, count in report.not_followed.items())
        lines.append(f"do not follow the sculpt, and go with their surroundings: {reasons}")
    return lines


def fit_warnings(report: FitReport) -> list[str]:
    """What a person must look at before the fit is used."""
    sound = report.sound
    lines = [
        f"{name} stands through the skin at {counted(n, 'vertex', 'vertices')}" for name, n in sound.through.items()
    ]
    lines += [f"{counted(n, 'face', 'faces')} of the {place} inside out" for place, n in sound.inside_out.items()]
    if sound.many:
        lines.append(
            f"more than {MANY:g} times as many faces cross others as in the library's own head; look there first"
        )
    lines += [
        f"at level {level} more than {MANY:g} times as many faces cross others as in the library's own head"
        for level, found in report.finer.items()
        if sum(found.crossing.values()) > MANY * sum(found.crossing_library.values())
    ]
    return lines


def finer_words(finer: dict[int, LevelCrossing]) -> list[str]:
    """One line for all finer levels: what crosses there, where, and how much in the library's own head; none without
    levels."""
    if not finer:
        return []
    told = []
    for level, found in finer.items():
        places = [
            f"{place} {count:,} ({found.crossing_library.get(place, 0):,})"
            for place, count in found.crossing.items()
            if count or found.crossing_library.get(place)
        ]
        told.append(f"level {level} {', '.join(places) or 'none'}")
    return [f"the same at finer levels: {'; '.join(told)}"]
