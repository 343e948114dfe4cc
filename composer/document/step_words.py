"""What a step did, in a few words, found by comparing the project before it with the one after it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from composer.document.kept_view import KeptView
from composer.document.project import Project
from composer.document.reference_picture import ReferencePicture
from composer.mixing.recipe import ALL, Cell, Recipe


def step_words(before: Project, after: Project) -> str:
    """What changed, in at most one line: the first kind of change that there is, and how many more of that kind."""
    for found in (_regions(before, after), _recipes(before, after), _clips(before, after), _views(before, after),
                  _references(before, after), _rest(before, after)):
        if found:
            return found[0] if len(found) == 1 else f"{found[0]}, and {len(found) - 1} more"
    return "a change"


def _recipes(before: Project, after: Project) -> list[str]:
    old, new = {r.name: r for r in before.recipes}, {r.name: r for r in after.recipes}
    came, went = [n for n in new if n not in old], [n for n in old if n not in new]
    if len(came) == len(went) == 1 and old[went[0]].with_(name=came[0]) == new[came[0]]:
        return [f"recipe {went[0]} renamed {came[0]}"]
    found = [f"recipe {name} made" for name in came] + [f"recipe {name} deleted" for name in went]
    for name in new:
        if name in old and old[name] != new[name]:
            found += _recipe(old[name], new[name])
    if not found and list(old) != list(new):
        found = ["recipes put in another order"]
    return found


def _recipe(old: Recipe, new: Recipe) -> list[str]:
    before, after = {c.key: c for c in old.cells}, {c.key: c for c in new.cells}
    found = [f"{_cell(c)} {_percent(c.weight)}" for key, c in after.items() if before.get(key) != c]
    found += [f"{_cell(c)} removed" for key, c in before.items() if key not in after]
    if old.strength != new.strength:
        found.append(f"{new.name}: strength {_percent(new.strength)}")
    if old.note != new.note:
        found.append(f"{new.name}: note")
    if (old.join, old.halo) != (new.join, new.halo):
        found.append(f"{new.name}: joined {new.join}")
    if old.contact != new.contact:
        found.append(f"{new.name}: contact {'kept' if new.contact else 'let go'}")
    found += [f"row {_row(name)}: {new.row(name).kind}, {_percent(new.row(name).amount)}"
              for name in {**old.rows, **new.rows} if old.row(name) != new.row(name)]  # fmt: skip
    return found or [f"{new.name}: cells in another order"]


def _clips(before: Project, after: Project) -> list[str]:
    old, new = {c.name: c for c in before.clips}, {c.name: c for c in after.clips}
    came, went = [n for n in new if n not in old], [n for n in old if n not in new]
    if len(came) == len(went) == 1 and old[went[0]].with_(name=came[0]) == new[came[0]]:
        return [f"clip {went[0]} renamed {came[0]}"]
    found = [f"clip {name} made" for name in came] + [f"clip {name} deleted" for name in went]
    return found + [f"clip {name} changed" for name in new if name in old and old[name] != new[name]]


def _regions(before: Project, after: Project) -> list[str]:
    old, new = {r.name: r for r in before.regions}, {r.name: r for r in after.regions}
    came, went = [n for n in new if n not in old], [n for n in old if n not in new]
    if len(came) == len(went) == 1 and len(old) == len(new):
        return [f"region {went[0]} renamed {came[0]}"]
    found = [f"region {name} made" for name in came] + [f"region {name} deleted" for name in went]
    return found + [f"region {name} changed" for name in new if name in old and old[name] != new[name]]


def _views(before: Project, after: Project) -> list[str]:
    return _named("view", before.views, after.views, "kept", "deleted")


def _references(before: Project, after: Project) -> list[str]:
    return _named("reference", before.references, after.references, "laid", "taken away")


def _named(
    what: str, before: Sequence[KeptView | ReferencePicture], after: Sequence[KeptView | ReferencePicture],
    made: str, gone: str,
) -> list[str]:  # fmt: skip
    old, new = {each.name: each for each in before}, {each.name: each for each in after}
    came, went = [n for n in new if n not in old], [n for n in old if n not in new]
    if len(came) == len(went) == 1 and replace(old[went[0]], name=came[0]) == new[came[0]]:
        return [f"{what} {went[0]} renamed {came[0]}"]
    found = [f"{what} {name} {made}" for name in came] + [f"{what} {name} {gone}" for name in went]
    return found + [f"{what} {name} changed" for name in new if name in old and old[name] != new[name]]


def _rest(before: Project, after: Project) -> list[str]:
    if before.landmarks != after.landmarks or before.guesses != after.guesses:
        changed = [name for name in {**before.landmarks, **after.landmarks}
                   if before.landmarks.get(name) != after.landmarks.get(name)]  # fmt: skip
        return [f"landmark {name}" for name in changed] or ["guesses accepted"]
    if before.correctives != after.correctives:
        return ["correctives"]
    if before.shapes != after.shapes:
        names = {**before.shapes, **after.shapes}
        return [f"shape {name}" for name in names if before.shapes.get(name) != after.shapes.get(name)]
    if before.stored.keys() != after.stored.keys() or any(
        before.stored[name] is not after.stored[name] for name in before.stored
    ):
        return ["a mask painted"]
    return []


def _cell(cell: Cell) -> str:
    return f"{_row(cell.region)} × {cell.shape}" + (" mirrored" if cell.mirrored else "")


def _row(region: str) -> str:
    return "base" if region == ALL else region


def _percent(share: float) -> str:
    return f"{100.0 * share:.4g}%"
