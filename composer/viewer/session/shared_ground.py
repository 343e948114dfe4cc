"""What the ground under the brush gives: which region is painted, who lies there too, and how much of it they keep."""

from __future__ import annotations

import numpy as np

from composer.mixing.recipe import ALL
from composer.viewer.render.picking import Hit
from composer.viewer.session.painting import Painting
from composer.viewer.session.session import Session
from composer.viewer.session.stage import Stage

LEAST_TAKEN = 0.05
"""Weight below which what a region does not get of its own mask is not worth a word. A design choice, no source."""
WORTH_TELLING = 0.2
"""Weight that a stroke has to lose to its neighbours before that is told. A design choice, no source."""


def held_back(session: Session, name: str) -> float:
    """The most in [0, 1] of a region's painted mask that it does not get anywhere, as others lie there too."""
    raw, effective = session.evaluated.raw.get(name), session.evaluated.effective.get(name)
    return 0.0 if raw is None or effective is None else float((raw - effective).max(initial=0.0))


def painting_words(stage: Stage, painting: Painting, hit: Hit | None) -> str:
    """What the pointer says over the head while the place for painting is open: the region that is painted, or why
    none is, and who else has the ground at `hit`."""
    session = stage.opened
    name = session.region
    if painting.painted:
        return f"{_doing(painting)} {painting.painted}"
    if name == ALL:
        under = _owner(session, hit, "")
        return f"{under}: press a region's name to paint it" if under else ""
    if session.project.region(name).locked:
        return f"{name} is locked: unlock it in its menu"
    if hit is None or hit.part != "skin":
        return ""
    other = _owner(session, hit, name)
    if not other:
        return name
    if session.project.region(other).locked:
        return f"{name}, but {other} is locked and keeps this ground"
    return f"{name}, taken from {other}" if painting.takes else f"{name}, shared with {other}"


def _doing(painting: Painting) -> str:
    return {"paint": "painting", "erase": "erasing", "soften": "softening"}[painting.kind]


def _owner(session: Session, hit: Hit | None, own: str) -> str:
    """The other region of the painted one's set that has most of a place; "" where none has any."""
    if hit is None:
        return ""
    best, most = "", LEAST_TAKEN
    sets = {region.name: region.set for region in session.project.regions}
    for region in session.project.regions:
        if region.name == own or (own and region.set != sets[own]):
            continue
        weight = float(session.evaluated.raw[region.name][np.asarray(hit.corners)] @ np.asarray(hit.bary))
        if weight > most:
            best, most = region.name, weight
    return best


def tell_shared(stage: Stage, painting: Painting) -> None:
    """After a stroke: how much of it the region does not get, with the press that takes it from the others."""
    session = stage.opened
    name = session.region
    if painting.kind != "paint" or name not in session.evaluated.raw:
        return
    raw, effective = session.evaluated.raw[name], session.evaluated.effective[name]
    before = session.evaluated.again(session.history.before).raw.get(name)
    grown = raw > (0.0 if before is None else before) + LEAST_TAKEN
    lost = np.where(grown, raw - effective, 0.0)
    at = int(np.argmax(lost))
    if lost[at] < WORTH_TELLING:
        return
    others = [r for r in session.project.regions if r.name != name and session.evaluated.effective[r.name][at] > 0.01]
    names = " and ".join(r.name for r in others[:2]) or "others"
    locked = [r.name for r in others if r.locked]
    words = f"{name} gets {100 * effective[at]:.0f} of {100 * raw[at]:.0f} percent: {names} lie there too."
    words = words.replace(" lie ", " lies ") if len(others) == 1 else words
    if others and len(locked) == len(others):
        stage.say(f"{words} Locked regions keep their ground.")
        return
    stage.say(words, press=("Take it from the others", lambda: take_for(stage, painting, name)))


def take_for(stage: Stage, painting: Painting, name: str) -> None:
    """Take the ground of a region from the others, as one step."""
    session = stage.session
    if session is None or name not in session.evaluated.raw:
        return
    session.region = name
    if stage.guard(lambda: painting.whole(session, "take")):
        stage.say(f"{name} has all of its ground.", "done")
