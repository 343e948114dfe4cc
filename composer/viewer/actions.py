"""What keys and buttons do, by the names of `composer.viewer.ui.keys`."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from composer.mixing.recipe import ALL
from composer.viewer.panels.board.chosen_cell import (
    ask_menu,
    choose_by_steps,
    nudge,
    remove_chosen,
    type_chosen,
)
from composer.viewer.panels.board.picked import copy_cells, paste_cells
from composer.viewer.panels.board.row_menu import copy_row, paste_into
from composer.viewer.panels.brush import mirror
from composer.viewer.panels.memory import Panels
from composer.viewer.panels.recipes.commands import ask_to_keep, duplicate_chosen, flip_chosen, new_recipe
from composer.viewer.panels.time_strip.commands import (
    copy_picked,
    delete_picked,
    key_of_cell,
    key_of_recipe,
    nudge_picked,
    paste_copied,
    play_or_stop,
    step_key,
)
from composer.viewer.session.browse import ask_for_path
from composer.viewer.session.demo import demo_document
from composer.viewer.session.folding import fold
from composer.viewer.session.kept_views import step_view
from composer.viewer.session.looking import frame_region, look_from
from composer.viewer.session.open_job import begin_opening
from composer.viewer.session.places import PLACES, VIEWS
from composer.viewer.session.saving import save
from composer.viewer.session.settings import data_folder
from composer.viewer.session.stage import Stage
from composer.viewer.session.time_strip import TimeStrip

TURN_PX, ZOOM_STEPS, NUDGE = 30.0, 2.0, 0.05
LAST_FRAME = 1 << 30


class Actions:
    """The actions of one window; `has_texture` says whether the overlay of the skin's texture is there, `ask_menu`
    asks for the menu of the control that the keyboard has walked to, and says whether there is one."""

    def __init__(
        self, stage: Stage, panels: Panels, has_texture: Callable[[], bool], ask_menu: Callable[[], bool]
    ) -> None:  # fmt: skip
        self._stage, self._panels, self._has_texture = stage, panels, has_texture
        self._ask_menu = ask_menu
        board, recipes = panels.board, panels.recipes
        self._always: dict[str, Callable[[], object]] = {
            "open": lambda: ask_for_path(stage),
            "about": lambda: setattr(stage.dialogs, "about", not stage.dialogs.about),
            "keys": lambda: setattr(stage.dialogs, "keys", not stage.dialogs.keys),
        }
        self._open: dict[str, Callable[[], object]] = {
            "save": lambda: save(stage),
            "save_as": lambda: setattr(stage.dialogs, "save_as", True),
            "bake": lambda: setattr(stage.dialogs, "bake", True),
            "picture": self._ask_picture,
            "check": lambda: panels.findings.look(stage),
            "undo": lambda: stage.guard(stage.undo),
            "redo": lambda: stage.guard(stage.redo),
            "fold_left": lambda: fold(stage, "left"),
            "fold_right": lambda: fold(stage, "right"),
            "fold_foot": lambda: fold(stage, "foot"),
            "movers": self._ask_what_moves,
            "frame": lambda: frame_region(stage),
            "views": self._ask_views,
            "next_view": lambda: setattr(panels.views, "chosen", step_view(stage, 1)),
            "cage": lambda: setattr(stage, "wire", not stage.wire),
            "overlay": self._next_overlay,
            "turn_left": lambda: self._turn(TURN_PX, 0),
            "turn_right": lambda: self._turn(-TURN_PX, 0),
            "turn_up": lambda: self._turn(0, TURN_PX),
            "turn_down": lambda: self._turn(0, -TURN_PX),
            "nearer": lambda: self._zoom(ZOOM_STEPS),
            "further": lambda: self._zoom(-ZOOM_STEPS),
            "new_recipe": lambda: new_recipe(stage),
            "duplicate": lambda: duplicate_chosen(stage),
            "flip": lambda: flip_chosen(stage),
            "keep_shape": lambda: ask_to_keep(recipes, stage),
            "next_recipe": lambda: self._step_recipe(1),
            "previous_recipe": lambda: self._step_recipe(-1),
            "copy": self._copy,
            "paste": self._paste,
            "more": lambda: nudge(board, stage, NUDGE),
            "less": lambda: nudge(board, stage, -NUDGE),
            "clear_cell": self._clear,
            "cell_up": lambda: choose_by_steps(board, stage, -1, 0),
            "cell_down": lambda: choose_by_steps(board, stage, 1, 0),
            "cell_left": lambda: choose_by_steps(board, stage, 0, -1),
            "cell_right": lambda: choose_by_steps(board, stage, 0, 1),
            "type_cell": lambda: type_chosen(board, stage),
            "cell_menu": self._menu,
            "solo": lambda: self._hold("solo"),
            "mute": lambda: self._hold("mute"),
            "link": lambda: setattr(stage.opened, "linked", not stage.opened.linked),
            "time": self._time,
            "play": lambda: self._with_strip(lambda strip: play_or_stop(stage, strip)),
            "loop": lambda: self._with_strip(lambda strip: setattr(strip, "loop", not strip.loop)),
            "frame_on": lambda: self._with_strip(lambda strip: strip.go(stage, strip.frame + 1)),
            "frame_back": lambda: self._with_strip(lambda strip: strip.go(stage, strip.frame - 1)),
            "clip_start": lambda: self._with_strip(lambda strip: strip.go(stage, 0)),
            "clip_end": lambda: self._with_strip(lambda strip: strip.go(stage, LAST_FRAME)),
            "next_key": lambda: self._with_strip(lambda strip: step_key(stage, strip, panels.time_panel.hand, 1)),
            "previous_key": lambda: self._with_strip(lambda strip: step_key(stage, strip, panels.time_panel.hand, -1)),
            "key_recipe": lambda: self._with_strip(lambda strip: key_of_recipe(stage, strip)),
            "key_cell": lambda: self._with_strip(lambda strip: key_of_cell(stage, strip)),
            "key_rest": lambda: self._with_strip(lambda strip: key_of_recipe(stage, strip, rest=True)),
            "key_later": lambda: self._with_strip(lambda strip: nudge_picked(stage, strip, 1)),
            "key_earlier": lambda: self._with_strip(lambda strip: nudge_picked(stage, strip, -1)),
            "ghosts": lambda: self._with_strip(lambda strip: setattr(strip, "ghosts", not strip.ghosts)),
            "larger": lambda: panels.painting.larger(1),
            "smaller": lambda: panels.painting.larger(-1),
            "stronger": lambda: panels.painting.stronger(1),
            "weaker": lambda: panels.painting.stronger(-1),
            "mirror": lambda: mirror(stage, panels.painting, not panels.painting.mirrored),
            "invert": self._invert,
        }
        for view in VIEWS:
            self._open[view] = lambda view=view: look_from(stage, view)  # type: ignore[misc]
        for kind in ("paint", "erase", "soften"):
            self._open[kind] = lambda kind=kind: setattr(panels.painting, "kind", kind)  # type: ignore[misc]
        for place in PLACES:
            self._open[f"place_{place}"] = lambda place=place: self._go(place)  # type: ignore[misc]

    def do(self, action: str) -> bool:
        """Do what a key or a button of this name does; whether there was anything to do."""
        call = self._always.get(action)
        if call is None and self._stage.session is not None:
            call = self._open.get(action)
        if call is not None:
            call()
        return call is not None

    def open_demo(self) -> None:
        """Open the demo; the first time it is made, which takes a few seconds."""
        folder = data_folder() / "demo"
        self._stage.work.begin(
            "The demo", lambda progress: demo_document(folder, progress), lambda path: begin_opening(self._stage, path)
        )

    def _go(self, place: str) -> None:
        session = self._stage.opened
        self._panels.trying.stop(session)
        before, self._stage.place = self._stage.place, place  # type: ignore[assignment]
        if (before == "new") != (place == "new"):
            look_from(self._stage, "front", at_once=True)
        if place == "paint" and session.region == ALL and session.project.regions:
            session.region = session.project.regions[0].name

    def _ask_picture(self) -> None:
        """Ask what picture is to be saved, where there is one of the document's head."""
        if self._stage.place != "new":
            self._stage.dialogs.picture = True

    def _ask_views(self) -> None:
        """Open the menu of kept views, where it is."""
        self._panels.views.asked = self._stage.place != "new"

    def _time(self) -> None:
        """Show the strip of time, or put it away; it belongs to mixing."""
        stage = self._stage
        shown = stage.time_shown and stage.place == "mix"
        stage.time_shown = not shown
        if not shown and stage.place != "mix":
            self._go("mix")

    def _with_strip(self, call: Callable[[TimeStrip], object]) -> None:
        """Do something with the strip of time, where it is shown."""
        if self._stage.time_shown and self._stage.place == "mix":
            self._panels.trying.stop(self._stage.opened)
            call(self._panels.time)

    def _hold(self, which: str) -> None:
        session = self._stage.opened
        session.held.toggle(which, ("row", session.region))
        self._stage.guard(session.follow)

    def _menu(self) -> None:
        if not self._ask_menu():
            ask_menu(self._panels.board, self._stage)

    def _ask_what_moves(self) -> None:
        """Ask about the place under the pointer; where nothing is, ask no more."""
        stage, hit = self._stage, self._stage.hit
        if stage.place != "mix":
            return
        if hit is None and stage.asked_place is None:
            stage.say("Point at a place of the face first.")
        stage.asked_place = None if hit is None else (np.array(hit.corners), np.array(hit.bary))

    @property
    def _strip_at_hand(self) -> bool:
        """Whether the strip of time was pressed last."""
        return self._stage.time_shown and self._stage.place == "mix" and self._panels.time_panel.hand.at_hand

    def _clear(self) -> None:
        """Delete the picked keys where the strip of time is at hand, else remove the chosen cell."""
        if not (self._strip_at_hand and delete_picked(self._stage, self._panels.time)):
            remove_chosen(self._panels.board, self._stage)

    def _copy(self) -> None:
        """The picked keys of the strip of time where that is at hand; the selected cells, or the chosen row."""
        panels = self._panels
        if self._strip_at_hand and copy_picked(self._stage, panels.time, panels.time_panel.hand):
            return
        if not copy_cells(self._panels.board, self._stage):
            copy_row(self._stage, self._stage.opened.region)

    def _paste(self) -> None:
        """What was copied last, of the strip of time where that is at hand."""
        panels = self._panels
        if self._strip_at_hand and paste_copied(self._stage, panels.time, panels.time_panel.hand):
            return
        if not paste_cells(self._panels.board, self._stage):
            paste_into(self._stage, self._stage.opened.region)

    def _turn(self, dx: float, dy: float) -> None:
        if self._stage.eye is not None:
            self._stage.turn(self._stage.eye.orbit(dx, dy))

    def _zoom(self, steps: float) -> None:
        if self._stage.eye is not None:
            self._stage.turn(self._stage.eye.zoom(steps))

    def _next_overlay(self) -> None:
        names = list(self._stage.overlays(self._has_texture()))
        self._stage.overlay = names[(names.index(self._stage.overlay) + 1) % len(names)]

    def _step_recipe(self, by: int) -> None:
        session = self._stage.opened
        names = [recipe.name for recipe in session.project.recipes]
        if names:
            self._panels.trying.stop(session)
            at = names.index(session.recipe_name) if session.recipe_name in names else 0
            session.choose_recipe(names[(at + by) % len(names)])

    def _invert(self) -> None:
        if self._stage.place == "paint":
            self._stage.guard(lambda: self._panels.painting.whole(self._stage.opened, "invert"))
