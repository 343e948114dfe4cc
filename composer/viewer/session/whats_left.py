"""What is left to do for a new head, and what a person should look at, in the order in which it helps."""

from __future__ import annotations

from dataclasses import dataclass

from composer.fitting.fit_words import fit_warnings
from composer.fitting.guess import LEAST
from composer.head.fit_zones import FitZones
from composer.head.plain_names import plain_name
from composer.viewer.new_head.new_head import NewHead

FEW = 8
"""Placed landmarks below which more of them help most (our choice; the fit's table in DEVELOPERS.md)."""
OFF_MM = 1.0
"""Distance of a landmark from its place after a fit from which a person is asked to look at it (our choice)."""
Deed = str
"""What a button beside an item does: "ask" for the next landmark, "guesses", "refit", "fit", "heat", "landmark NAME",
"save", or "" for no button."""


@dataclass(frozen=True)
class Item:
    """One thing that is left: its `words`, the `deed` of its button and the button's `label`."""

    words: str
    deed: Deed = ""
    label: str = ""


def whats_left(new: NewHead) -> list[Item]:
    """The items for a sculpt as it stands; empty only where nothing is left but to carry the expressions over."""
    items = []
    if new.fitted is not None and new.fitted.found:
        items.append(Item(new.fitted.found, "heat", "Show"))
    items += _landmarks(new)
    if new.fitted is not None:
        items += _since_the_fit(new) + _of_the_fit(new)
    elif len(new.placed) >= LEAST:
        items.append(Item("The library is not fitted yet.", "fit", "Fit"))
    if new.unsaved:
        items.append(Item("Landmarks or zones are not saved.", "save", "Save"))
    return items


def _landmarks(new: NewHead) -> list[Item]:
    placed, guessed = len(new.placed), len(new.marks.guessed)
    items = []
    if placed < LEAST and not (new.fitted is not None and new.fitted.found):
        items.append(Item(f"{LEAST - placed} more landmarks are needed for a fit.", "ask", "Ask me"))
    elif placed < min(FEW, len(new.names)) and new.next_asked():
        few = f"Only {placed} landmarks are placed: a few more" if placed else "No landmark is placed: a few"
        items.append(Item(f"{few} help most.", "ask", "Ask me"))
    if guessed:
        words = "1 landmark is a guess" if guessed == 1 else f"{guessed} landmarks are guesses"
        items.append(Item(f"{words}: no fit goes through it until it is accepted.", "guesses", "Accept guesses"))
    return items


def _since_the_fit(new: NewHead) -> list[Item]:
    """What has changed since the fit that it does not know of."""
    items = []
    asked = new.asked_since()
    if asked:
        what = plain_name(asked[0]) if len(asked) == 1 else f"{len(asked)} landmarks and curves"
        items.append(Item(f"Placed or drawn since the fit: {what}.", "refit", "Refit near"))
    gone = [name for name in new.step.through.placed if name not in new.placed]
    gone += [name for name in new.step.through.curves if name not in new.marks.curves]
    if gone or not FitZones(new.zones.form).same_as(FitZones(new.step.zones_then.form)):
        items.append(Item("A landmark or a zone was taken away since: a whole fit is needed.", "fit", "Fit again"))
    return items


def _of_the_fit(new: NewHead) -> list[Item]:
    """What the report of the fit warns of, which landmark is furthest from its place, what does not follow and why."""
    assert new.fitted is not None
    report = new.fitted.report
    items = [Item(f"{_capital(words)}.", "heat", "Show") for words in fit_warnings(report)]
    bad = report.reversed_faces + report.folded_faces
    if bad:
        words = "1 polygon is" if bad == 1 else f"{bad} polygons are"
        items.append(Item(f"{words} turned over or folded.", "heat", "Show"))
    worst = max(report.landmarks.items(), key=lambda one: one[1], default=("", 0.0))
    if worst[1] > OFF_MM and worst[0] in new.names:
        words = f"{_capital(plain_name(worst[0]))}: {worst[1]:.1f} mm from its place."
        items.append(Item(words, f"landmark {worst[0]}", "Show"))
    if report.not_followed:
        reasons = "; ".join(f"{count:,} {words}" for words, count in report.not_followed.items())
        items.append(Item(f"Vertices that do not follow the sculpt: {reasons}.", "heat", "Show"))
    return items


def _capital(words: str) -> str:
    """The words as the beginning of a sentence, without the point at their end."""
    return words[:1].upper() + words[1:].rstrip(".")
