"""What keys, buttons and menus do with the strip of time."""

from __future__ import annotations

from composer.edits.clip_keys import going_on, moved_keys, new_clip, pasted_keys, set_keys, without_keys
from composer.mixing.clip import NEUTRAL, Key
from composer.mixing.curve import Interpolation
from composer.plain_number import as_meant
from composer.viewer.panels.time_strip.held import LaneHand, change_keys
from composer.viewer.session.stage import Stage
from composer.viewer.session.time_strip import TimeStrip


def play_or_stop(stage: Stage, strip: TimeStrip) -> None:
    """What Space does."""
    if strip.running:
        strip.stop()
    else:
        strip.play(stage)


def make_clip(stage: Stage, strip: TimeStrip) -> None:
    """A new clip, shown."""
    session = stage.opened
    recipe = session.recipe if session.recipe_name else None
    name = new_clip(session.history.committed, recipe)[1]
    if stage.do(lambda project: new_clip(project, recipe)[0]):
        strip.show(name)


def key_of_recipe(stage: Stage, strip: TimeStrip, rest: bool = False) -> None:
    """The whole pose goes to the open recipe, or to `rest`, where time stands."""
    session = stage.opened
    name = NEUTRAL if rest else session.recipe_name
    if strip.made is None or not name:
        stage.say("There is no clip to set a key in." if strip.made is None else "Choose a recipe first.")
        return
    _set(stage, strip, Key(strip.time, name, interpolation="smooth"))


def key_of_cell(stage: Stage, strip: TimeStrip) -> None:
    """The cell chosen on the board has the weight that it now shows, where time stands, with all else that the clip
    says of it there."""
    session = stage.opened
    if strip.made is None or not session.shape:
        stage.say("There is no clip to set a key in." if strip.made is None else "Choose a cell on the board first.")
        return
    here = (session.region, session.shape)
    held = next((cell for cell in stage.seen_recipe.cells if (cell.region, cell.shape) == here), None)
    weight, mirrored = (0.0, False) if held is None else (held.weight, held.mirrored)
    beside = strip.made.weight_beside((*here, mirrored), strip.time)
    _set(stage, strip, Key(strip.time, "", as_meant(round(weight - beside, 6)), *here, mirrored, "smooth"))


def _set(stage: Stage, strip: TimeStrip, key: Key) -> None:
    """Set a key, and go on showing what the face shows."""
    if change_keys(stage, strip, lambda clip: (set_keys(clip, [key]), [key])):
        strip.go(stage, strip.frame)


def delete_picked(stage: Stage, strip: TimeStrip) -> bool:
    """Delete the picked keys; whether there were any."""
    picked = strip.picked
    if not picked:
        return False
    change_keys(stage, strip, lambda clip: (without_keys(clip, picked), []))
    return True


def copy_picked(stage: Stage, strip: TimeStrip, hand: LaneHand) -> bool:
    """Remember the picked keys; whether there were any."""
    if not strip.picked:
        return False
    hand.copied = tuple(sorted(strip.picked, key=lambda key: key.time))
    count = len(hand.copied)
    stage.say(f"{count} key{'s' * (count != 1)} copied; pasted where time stands.")
    return True


def paste_copied(stage: Stage, strip: TimeStrip, hand: LaneHand) -> bool:
    """Set the copied keys from where time stands on; whether there were any."""
    if not hand.copied or strip.made is None:
        return False
    change_keys(stage, strip, lambda clip: pasted_keys(clip, hand.copied, strip.time))
    return True


def nudge_picked(stage: Stage, strip: TimeStrip, frames: int) -> None:
    """Move the picked keys by frames."""
    picked = strip.picked
    if picked:
        change_keys(stage, strip, lambda clip: moved_keys(clip, picked, frames))


def go_on_as(stage: Stage, strip: TimeStrip, kind: Interpolation) -> None:
    """How the picked keys go on to the next."""
    picked = strip.picked
    change_keys(stage, strip, lambda clip: going_on(clip, picked, kind))


def step_key(stage: Stage, strip: TimeStrip, hand: LaneHand, by: int) -> None:
    """To the next key in time, or the one before, which is then picked."""
    made = strip.made
    if made is None:
        return
    beyond = [key.time for key in strip.clip_keys if (key.time - strip.time) * by > 0.51 / made.clip.fps]
    if not beyond:
        return
    time = min(beyond, key=lambda each: abs(each - strip.time))
    strip.go_to_time(stage, time)
    strip.picked = frozenset(key for key in strip.clip_keys if key.time == time)
    hand.at_hand = True
