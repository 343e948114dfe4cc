"""The menu of the clip and the menu of keys."""

from __future__ import annotations

from dataclasses import dataclass

from imgui_bundle import imgui

from composer.edits.clips import delete_clip, duplicate_clip, rename_clip, replace_clip
from composer.mixing.clip import Clip
from composer.plain_number import as_meant
from composer.viewer.panels.time_strip.commands import (
    copy_picked,
    delete_picked,
    go_on_as,
    key_of_cell,
    key_of_recipe,
    make_clip,
    paste_copied,
)
from composer.viewer.panels.time_strip.held import LaneHand
from composer.viewer.session.stage import Stage
from composer.viewer.session.time_strip import TimeStrip
from composer.viewer.ui.kit import Kit

WIDE = 250.0
"""Width of the menu of the clip, in pixels at scale 1."""
GOES_ON = {"smooth": "Smooth", "linear": "Straight", "hold": "Hold"}
GOES_ON_HINTS = {
    "smooth": "slows down into turns, never overshoots", "linear": "at one speed to the next key",
    "hold": "stays until the next key",
}  # fmt: skip


@dataclass
class ClipMenu:
    """What is in the field of the clip's name, of which clip, and why it was refused."""

    name: str = ""
    of: str = ""
    fault: str = ""

    def draw(self, stage: Stage, kit: Kit, strip: TimeStrip) -> None:
        """The menu, while it is open: every clip, and what there is of the one that is shown."""
        if not imgui.begin_popup("clips"):
            return
        project = stage.opened.project
        for clip in project.clips:
            stays = imgui.SelectableFlags_.no_auto_close_popups
            words = f"{kit.fit(clip.name, kit.px(WIDE))}##clip {clip.name}"
            if imgui.selectable(words, clip.name == strip.name, stays)[0]:
                strip.show(clip.name)
            kit.mark(f"clip {clip.name}")
        if imgui.menu_item("New clip", "", False)[0]:
            make_clip(stage, strip)
        kit.mark("New clip")
        if imgui.menu_item("Match a performance ...", "", False)[0]:
            stage.dialogs.match_take = True
        kit.mark("Match a performance")
        shown = next((clip for clip in stage.opened.project.clips if clip.name == strip.name), None)
        if shown is not None:
            imgui.separator()
            self._name(stage, kit, strip, shown)
            _numbers(stage, kit, shown)
            if imgui.menu_item("Duplicate clip", "", False)[0]:
                copy = duplicate_clip(stage.opened.history.committed, shown.name)[1]
                if stage.do(lambda p: duplicate_clip(p, shown.name)[0]):
                    strip.show(copy)
            kit.mark("Duplicate clip")
            if imgui.menu_item("Delete clip", "", False)[0] and stage.do(lambda p: delete_clip(p, shown.name)):
                stage.say(f"Deleted {shown.name}; undo brings it back.")
            kit.mark("Delete clip")
        imgui.end_popup()

    def _name(self, stage: Stage, kit: Kit, strip: TimeStrip, clip: Clip) -> None:
        if self.of != clip.name:
            self.of, self.name, self.fault = clip.name, clip.name, ""
        imgui.set_next_item_width(kit.px(WIDE))
        entered, self.name = kit.text_field("clip name", self.name, flags=imgui.InputTextFlags_.enter_returns_true)
        kit.fault(self.fault, "clip name", kit.px(WIDE))
        if entered:
            wanted, old = self.name.strip(), clip.name
            self.fault = stage.fault_of(lambda p: rename_clip(p, old, wanted))
            if not self.fault:
                strip.name = wanted


def _numbers(stage: Stage, kit: Kit, clip: Clip) -> None:
    """Its length, its rate and its join."""
    enter = imgui.InputTextFlags_.enter_returns_true
    if not clip.file:
        imgui.set_next_item_width(kit.px(90))
        entered, length = imgui.input_float("seconds", clip.length or 0.0, 0.0, 0.0, "%g", enter)
        kit.mark("clip length")
        if entered and length != clip.length:
            stage.do(lambda p: replace_clip(p, clip.name, clip.with_(length=as_meant(length))))
    imgui.set_next_item_width(kit.px(90))
    entered, fps = imgui.input_float("frames a second", clip.fps, 0.0, 0.0, "%g", enter)
    kit.mark("clip rate")
    if entered and fps != clip.fps:
        stage.do(lambda p: replace_clip(p, clip.name, clip.with_(fps=as_meant(fps))))
    join = kit.choice({"linear": "Linear", "seamless": "Seamless"}, clip.join, key="clip join ")
    if join != clip.join:
        stage.do(lambda p: replace_clip(p, clip.name, clip.with_(join=join)))
    imgui.same_line()
    if kit.button("Keep contact##clip", "part lips, lids, eyeballs and teeth in every frame", on=clip.contact,
                  name="clip contact"):  # fmt: skip
        stage.do(lambda p: replace_clip(p, clip.name, clip.with_(contact=not clip.contact)))


def draw_key_menu(stage: Stage, kit: Kit, strip: TimeStrip, hand: LaneHand) -> None:
    """The menu of the picked keys, or of a place of the lane where none is picked."""
    if not imgui.begin_popup("key menu"):
        return
    if strip.picked:
        kinds = {key.interpolation for key in strip.picked}
        kind = next(iter(kinds)) if len(kinds) == 1 else ""
        chosen = kit.choice(dict(GOES_ON), kind, dict(GOES_ON_HINTS), "goes on ")
        if chosen != kind:
            go_on_as(stage, strip, chosen)  # type: ignore[arg-type]
        recipes = {key.recipe for key in strip.picked} & {recipe.name for recipe in stage.opened.project.recipes}
        if len(recipes) == 1:
            (name,) = recipes
            if imgui.menu_item(f"Open {kit.fit(name, kit.px(200))}", "", False)[0]:
                stage.opened.choose_recipe(name)
            kit.mark("Open keyed recipe")
    session = stage.opened
    items = [("Key of the open recipe", "key_recipe", bool(session.recipe_name), lambda: key_of_recipe(stage, strip)),
             ("Key of the chosen cell", "key_cell", bool(session.shape), lambda: key_of_cell(stage, strip)),
             ("Key of the face at rest", "key_rest", True, lambda: key_of_recipe(stage, strip, rest=True)),
             ("Copy keys", "copy", bool(strip.picked), lambda: copy_picked(stage, strip, hand)),
             ("Paste keys", "paste", bool(hand.copied), lambda: paste_copied(stage, strip, hand)),
             ("Delete keys", "clear_cell", bool(strip.picked), lambda: delete_picked(stage, strip))]  # fmt: skip
    for words, action, able, call in items:
        if imgui.menu_item(words, kit.keys.words(action), False, able)[0]:
            call()
        kit.mark(words, able)
    imgui.end_popup()
