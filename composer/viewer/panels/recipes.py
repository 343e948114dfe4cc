"""The strip of recipes: a picture of each, and what can be done with the chosen one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from imgui_bundle import ImVec2, imgui

from composer.edits.recipes import (
    add_recipe,
    delete_recipe,
    duplicate_recipe,
    free_recipe_name,
    move_recipe,
    paste_recipe,
    rename_recipe,
    replace_recipe,
    set_join,
    set_note,
    set_strength,
)
from composer.edits.rows import flipped_recipe
from composer.edits.shapes import keep_shape
from composer.mixing.recipe import Recipe
from composer.viewer.session.sculpts import accept_sculpt
from composer.viewer.session.stage import Stage
from composer.viewer.session.trying import Trying
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32

JOINS = {"linear": "Linear", "seamless": "Seamless"}


def ask(stage: Stage, heading: str, verb: str, call: Callable[[Stage, Path], None]) -> None:
    """Ask for a file, and do something with it."""
    stage.dialogs.path_for = (heading, verb, lambda path: call(stage, path))


@dataclass
class Recipes:
    """What is being renamed or noted, and the recipe that was copied."""

    naming: str = ""
    name: str = ""
    fresh: bool = False
    copied: Recipe | None = None
    keeping: bool = False
    shape: str = ""
    _in_sight: str = ""

    def draw(self, stage: Stage, kit: Kit, trying: Trying) -> None:
        """The whole panel."""
        session = stage.opened
        imgui.align_text_to_frame_padding()
        with kit.bold():
            imgui.text("Recipes")
        kit.at_right("Match", "New")
        if kit.button("Match", "make the recipe whose pose comes nearest to a target", name="Match a target"):
            stage.dialogs.match = True
        imgui.same_line(0, kit.px(4))
        if kit.button("New", "an empty recipe", "new_recipe", name="New recipe"):
            self.new(stage)
        below = kit.px(0 if not session.project.recipes else 200 if trying.found is None else 236)
        kit.area("strip", high=-below)
        for recipe in session.project.recipes:
            self._card(stage, kit, recipe, trying)
        if not session.project.recipes:
            imgui.push_text_wrap_pos(0)
            kit.quiet(
                "A recipe is one expression, mixed by region. Drop a shape on the face to make the first one."
            )
            imgui.pop_text_wrap_pos()
        imgui.end_child()
        if session.project.recipes:
            self._chosen(stage, kit, trying)
        self._keep_sheet(stage, kit)

    def _card(self, stage: Stage, kit: Kit, recipe: Recipe, trying: Trying) -> None:
        session = stage.opened
        wide = imgui.get_content_region_avail().x
        high = kit.px(96)
        at, draw = imgui.get_cursor_screen_pos(), imgui.get_window_draw_list()
        if self.naming == recipe.name:
            self._name_field(stage, kit, recipe, wide)
            return
        if imgui.invisible_button(f"recipe {recipe.name}", ImVec2(wide, high), imgui.ButtonFlags_.enable_nav):
            trying.stop(session)
            session.choose_recipe(recipe.name)
        kit.mark(f"recipe {recipe.name}")
        if kit.menu_asked():
            imgui.open_popup(f"recipe menu {recipe.name}")
        hovered, chosen = imgui.is_item_hovered(), recipe.name == session.recipe_name
        if chosen and self._in_sight != recipe.name:
            self._in_sight = recipe.name
            if not imgui.is_item_visible() or at.y + high > imgui.get_window_pos().y + imgui.get_window_height():
                imgui.set_scroll_here_y(1.0)
        if hovered and imgui.is_mouse_double_clicked(0):
            self.naming, self.name, self.fresh = recipe.name, recipe.name, True
        if chosen or hovered:
            ground = theme.RAISED if chosen else theme.HOVER
            draw.add_rect_filled(at, ImVec2(at.x + wide, at.y + high), u32(ground), kit.px(7))
        if chosen:
            draw.add_rect_filled(at, ImVec2(at.x + kit.px(3.5), at.y + high), u32(theme.SAND), kit.px(2))
        side = high - kit.px(12)
        low = ImVec2(at.x + kit.px(9), at.y + kit.px(6))
        picture = kit.picture("recipe", recipe.name)
        if picture:
            draw.add_image_rounded(
                imgui.ImTextureRef(picture), low, ImVec2(low.x + side, low.y + side), ImVec2(0, 0), ImVec2(1, 1),
                u32(theme.TEXT), kit.px(6),
            )  # fmt: skip
        else:
            draw.add_rect_filled(low, ImVec2(low.x + side, low.y + side), u32(theme.DEEP), kit.px(6))
        text_x, room = low.x + side + kit.px(9), wide - side - kit.px(24)
        with kit.bold():
            draw.add_text(ImVec2(text_x, at.y + kit.px(9)), u32(theme.TEXT), kit.fit(recipe.name, room))
        cells = len(recipe.cells)
        words = f"{cells} cell{'s' if cells != 1 else ''}"
        draw.add_text(ImVec2(text_x, at.y + kit.px(29)), u32(theme.QUIET), kit.fit(words, room))
        if recipe.note:
            draw.push_clip_rect(ImVec2(text_x, at.y), ImVec2(text_x + room, at.y + high - kit.px(4)), True)
            draw.add_text(
                imgui.get_font(), imgui.get_font_size() * 0.87, ImVec2(text_x, at.y + kit.px(48)), u32(theme.QUIET),
                recipe.note, room,
            )  # fmt: skip
            draw.pop_clip_rect()
        if imgui.begin_popup(f"recipe menu {recipe.name}"):
            session.choose_recipe(recipe.name)
            self._menu(stage, kit, recipe, trying)
            imgui.end_popup()

    def _name_field(self, stage: Stage, kit: Kit, recipe: Recipe, wide: float) -> None:
        session = stage.opened
        imgui.set_next_item_width(wide)
        if self.fresh:
            imgui.set_keyboard_focus_here()
        flags = imgui.InputTextFlags_.enter_returns_true | imgui.InputTextFlags_.auto_select_all
        entered, self.name = imgui.input_text("##name", self.name, flags)
        kit.mark("recipe name")
        if entered and self.name.strip() != recipe.name:
            wanted = self.name.strip()
            if stage.do(lambda p: rename_recipe(p, recipe.name, wanted)):
                session.choose_recipe(wanted)
        if entered or (not self.fresh and imgui.is_item_deactivated()):
            self.naming = ""
        self.fresh = False

    def _menu(self, stage: Stage, kit: Kit, recipe: Recipe, trying: Trying) -> None:
        session = stage.opened
        name, at = recipe.name, session.project.recipes.index(recipe)
        with kit.bold():
            imgui.text(kit.fit(name, kit.px(220)))
        for words, combo, call in (
            ("Rename", "", lambda: self._begin_naming(name)),
            ("Duplicate", "duplicate", lambda: self.duplicate(stage)),
            ("Flip left to right", "flip", lambda: self.flip(stage)),
            ("Copy cells", "", lambda: setattr(self, "copied", recipe)),
            ("Paste cells", "", lambda: self._paste(stage, name)),
            ("Move up", "", lambda: stage.do(lambda p: move_recipe(p, name, max(at - 1, 0)))),
            ("Move down", "", lambda: stage.do(lambda p: move_recipe(p, name, at + 1))),
            ("Keep the pose as a shape", "keep_shape", lambda: self.keep(stage)),
            ("Accept a sculpted bake", "", lambda: ask(stage, f"The sculpted bake of {name}", "Accept", accept_sculpt)),
            ("Set as A", "", lambda: setattr(trying, "a", recipe)),
            ("Set as B", "", lambda: setattr(trying, "b", recipe)),
            ("Delete", "", lambda: self._delete(stage, name)),
        ):
            able = words != "Paste cells" or self.copied is not None
            if imgui.menu_item(words, kit.keys.words(combo) if combo else "", False, able)[0]:
                call()
            kit.mark(f"{words} recipe")

    def _begin_naming(self, name: str) -> None:
        self.naming, self.name, self.fresh = name, name, True

    def _chosen(self, stage: Stage, kit: Kit, trying: Trying) -> None:
        """Strength, note, and what is tried with the chosen recipe."""
        session = stage.opened
        recipe, name = session.recipe, session.recipe_name
        imgui.separator()
        changed, strength = kit.slider("strength", recipe.strength * 100, 0, 150, "strength %.0f %%")
        kit.tip("strength of the whole recipe; Ctrl and click to type")
        if changed:
            stage.guard(lambda: session.preview(lambda p: set_strength(p, name, round(strength / 100, 3))))
        if imgui.is_item_deactivated():
            session.commit()
        imgui.set_next_item_width(-1)
        _, note = imgui.input_text_with_hint("##note", "note", recipe.note)
        kit.mark("note")
        if note != recipe.note:
            stage.guard(lambda: session.preview(lambda p: set_note(p, name, note)))
        if imgui.is_item_deactivated():
            session.commit()
        self._join(stage, kit)
        self._trials(stage, kit, trying)

    def _join(self, stage: Stage, kit: Kit) -> None:
        """How regions join, and how far a seamless join may reach."""
        session = stage.opened
        recipe, name = session.recipe, session.recipe_name
        hints = {
            "linear": "weights times displacements",
            "seamless": "slopes are blended where regions meet, so that no ridge shows; computed when a drag ends",
        }
        chosen = kit.choice(JOINS, recipe.join, hints, "join ")
        if chosen != recipe.join:
            stage.do(lambda p: set_join(p, name, chosen))  # type: ignore[arg-type]
        if recipe.join == "seamless":
            imgui.same_line(0, kit.px(4))
            changed, halo = kit.slider("halo", recipe.halo * 100, 0, 100, "halo %.0f %%")
            kit.tip(
                "how far the join may reach beyond the soft edge between two regions, in percent of the edge's width; "
                f"beyond it the join now moves up to {session.outside_mm:.2f} mm"
            )
            if changed:
                stage.guard(lambda: session.preview(lambda p: set_join(p, name, "seamless", round(halo / 100, 2))))
            if imgui.is_item_deactivated():
                session.commit()

    def _trials(self, stage: Stage, kit: Kit, trying: Trying) -> None:
        session = stage.opened
        width = (imgui.get_content_region_avail().x - kit.px(8)) / 3
        kind = trying.trial.kind if trying.trial is not None else ""
        key = (session.region, session.shape, False)
        hint, able = "move the chosen cell's weight back and forth", bool(session.shape)
        if kit.button("Sweep", hint, on=kind == "sweep", able=able, wide=width):
            trying.stop(session) if kind else trying.sweep(stage, key)
        imgui.same_line(0, kit.px(4))
        if kit.button("Travel", "move back and forth between this recipe and another", on=kind == "travel", wide=width):
            trying.stop(session) if kind else imgui.open_popup("travel to")
        imgui.same_line(0, kit.px(4))
        if kit.button("Random", "a random combination within limits", on=trying.found is not None, wide=width):
            stage.guard(lambda: trying.random(session))
        self._trial_controls(stage, kit, trying)
        if imgui.begin_popup("travel to"):
            kit.quiet("travel to")
            for other in ["", *(r.name for r in session.project.recipes if r.name != session.recipe_name)]:
                if other and imgui.menu_item(other, "", False)[0]:
                    trying.travel(stage, session.recipe_name, other)
                if other:
                    kit.mark(f"travel to {other}")
            imgui.end_popup()

    def _trial_controls(self, stage: Stage, kit: Kit, trying: Trying) -> None:
        session, trial = stage.opened, trying.trial
        if trial is not None:
            changed, t = kit.slider("way", trial.t * 100, 0, 100, "%.0f %% between")
            if changed:
                trying.hold_at(stage, t / 100)
            room = imgui.get_content_region_avail().x - kit.px(62)
            changed, pace = kit.slider("pace", trying.pace, 0.3, 8.0, "%.1f s each way", wide=room)
            if changed:
                trying.pace = pace
                trying.go_on(stage)
            imgui.same_line(0, kit.px(4))
            if kit.button("Stop", "show the recipe again", wide=kit.px(58), name="Stop trial"):
                trying.stop(session)
        elif trying.found is not None:
            _, cells = kit.slider("cells", trying.cells, 1, 12, "%.0f cells")
            _, limit = kit.slider("limit", trying.limit * 100, 10, 150, "weights up to %.0f %%")
            trying.cells, trying.limit = round(cells), limit / 100
            if kit.button("Keep", "make it a recipe", name="Keep found"):
                trying.keep(stage)
            imgui.same_line(0, kit.px(4))
            if kit.button("Discard", "show the recipe again", name="Discard found"):
                trying.stop(session)
        else:
            self._ab(stage, kit, trying)

    def _ab(self, stage: Stage, kit: Kit, trying: Trying) -> None:
        session = stage.opened
        half = (imgui.get_content_region_avail().x - kit.px(4)) / 2
        for letter in ("a", "b"):
            held = getattr(trying, letter)
            words = f"{letter.upper()}: {held.name}" if held is not None else f"Set {letter.upper()}"
            keep = f"keep this recipe as {letter.upper()}, to compare"
            hint, action = ("hold to see it; right click to set it again", "flip_ab") if held else (keep, "")
            label = f"{kit.fit(words, half - kit.px(16))}##{letter}"
            pressed = kit.button(label, hint, action, wide=half, name=f"slot {letter}")
            if kit.menu_asked() or (held is None and pressed):
                setattr(trying, letter, session.recipe)
            elif held is not None and imgui.is_item_active():
                stage.guard(lambda x=letter: trying.peek(session, x))  # type: ignore[misc]
                stage.peeking = True
            if letter == "a":
                imgui.same_line(0, kit.px(4))

    # What keys and menus do.

    def new(self, stage: Stage) -> None:
        """An empty recipe, chosen."""
        session = stage.session
        if session is None:
            return
        name = free_recipe_name(session.project, "recipe")
        if stage.do(lambda p: add_recipe(p, Recipe(name))):
            session.choose_recipe(name)

    def duplicate(self, stage: Stage) -> None:
        """A copy of the chosen recipe, chosen."""
        session = stage.session
        if session is None or not session.recipe_name:
            return
        project, name = duplicate_recipe(session.history.committed, session.recipe_name)
        if stage.do(lambda _: project):
            session.choose_recipe(name)

    def flip(self, stage: Stage) -> None:
        """The chosen recipe with left and right exchanged."""
        session = stage.session
        if session is None or not session.recipe_name:
            return
        name = session.recipe_name
        flipped = flipped_recipe(session.recipe, session.region_names, session.head.shape_names)
        stage.do(lambda p: replace_recipe(p, name, flipped), f"Flipped {name}.")

    def keep(self, stage: Stage) -> None:
        """Ask for the name under which the pose is kept as a shape."""
        session = stage.session
        if session is not None and session.recipe_name:
            self.keeping, self.shape = True, session.recipe_name

    def _paste(self, stage: Stage, name: str) -> None:
        copied = self.copied
        if copied is not None:
            stage.do(lambda p: paste_recipe(p, copied, name)[0], f"Pasted into {name}.")

    def _delete(self, stage: Stage, name: str) -> None:
        if stage.do(lambda p: delete_recipe(p, name)):
            stage.say(f"Deleted {name}; undo brings it back.")

    def _keep_sheet(self, stage: Stage, kit: Kit) -> None:
        session = stage.opened
        if self.keeping:
            imgui.open_popup("Keep as a shape")
            self.keeping = False
        middle = imgui.get_main_viewport().get_center()
        imgui.set_next_window_pos(middle, imgui.Cond_.appearing, ImVec2(0.5, 0.5))
        flags = imgui.WindowFlags_.always_auto_resize | imgui.WindowFlags_.no_title_bar
        imgui.push_style_var(imgui.StyleVar_.window_padding, ImVec2(kit.px(20), kit.px(16)))
        imgui.push_style_var(imgui.StyleVar_.window_rounding, kit.px(10))
        shown = imgui.begin_popup_modal("Keep as a shape", None, flags)[0]
        imgui.pop_style_var(2)
        if shown:
            with kit.bold():
                imgui.text("Keep the pose as a shape")
            kit.quiet("It appears in the tray and is saved with the document.")
            imgui.set_next_item_width(kit.px(300))
            if imgui.is_window_appearing():
                imgui.set_keyboard_focus_here()
            entered, self.shape = imgui.input_text("##shape", self.shape, imgui.InputTextFlags_.enter_returns_true)
            kit.mark("shape name")
            if kit.button("Keep", name="Keep shape") or entered:
                pose, wanted = session.evaluated.pose(session.recipe), self.shape.strip()
                delta = (pose - session.head.neutral).astype("float32")
                taken = [*session.head.shape_names, session.head.neutral_name]
                if stage.do(lambda p: keep_shape(p, wanted, delta, taken), f"Kept {wanted}; it is in the tray."):
                    imgui.close_current_popup()
            imgui.same_line()
            if kit.button("Cancel", name="Leave shape") or imgui.is_key_pressed(imgui.Key.escape):
                imgui.close_current_popup()
            imgui.end_popup()
