"""Every key of the window: its action, the words for it, and the key that does it unless the person chose another."""

from __future__ import annotations

from dataclasses import dataclass

from pyglet.window import key


@dataclass(frozen=True)
class Action:
    """One thing a key does: `words` for the sheet of keys, `combo` as it ships, `group` for its place there."""

    words: str
    combo: str
    group: str


ACTIONS: dict[str, Action] = {
    "open": Action("open a library or a document", "Ctrl+O", "Document"),
    "save": Action("save", "Ctrl+S", "Document"),
    "save_as": Action("save under another name", "Ctrl+Shift+S", "Document"),
    "bake": Action("bake recipes as targets", "Ctrl+B", "Document"),
    "picture": Action("save a picture of what you see", "Ctrl+P", "Document"),
    "check": Action("check the recipe", "Ctrl+E", "Document"),
    "undo": Action("undo", "Ctrl+Z", "Document"),
    "redo": Action("redo", "Ctrl+Shift+Z", "Document"),
    "place_mix": Action("to mixing", "M", "Places"),
    "place_paint": Action("to painting", "P", "Places"),
    "place_marks": Action("to landmarks", "L", "Places"),
    "place_new": Action("to a new head", "J", "Places"),
    "fold_left": Action("fold the panel on the left", "F6", "Places"),
    "fold_right": Action("fold the panel on the right", "F7", "Places"),
    "fold_foot": Action("fold the board", "F8", "Places"),
    "keys": Action("this sheet", "F1", "Places"),
    "about": Action("what Moue takes this head for", "F2", "Places"),
    "movers": Action("what moves the place pointed at", "E", "Looking"),
    "front": Action("look from the front", "1", "Looking"),
    "three_quarter": Action("look at three quarters", "2", "Looking"),
    "side": Action("look at the chosen region's side", "7", "Looking"),
    "profile": Action("look at its left side", "3", "Looking"),
    "below": Action("look from below", "4", "Looking"),
    "profile_right": Action("look at its right side", "5", "Looking"),
    "back": Action("look from behind", "6", "Looking"),
    "frame": Action("frame the chosen region", "F", "Looking"),
    "views": Action("the kept views", "F3", "Looking"),
    "next_view": Action("the next kept view", "Shift+F3", "Looking"),
    "turn_left": Action("turn left", "Left", "Looking"),
    "turn_right": Action("turn right", "Right", "Looking"),
    "turn_up": Action("look from higher", "Up", "Looking"),
    "turn_down": Action("look from lower", "Down", "Looking"),
    "nearer": Action("nearer", "=", "Looking"),
    "further": Action("further away", "-", "Looking"),
    "cage": Action("the coarse head's edges", "G", "Looking"),
    "overlay": Action("next overlay", "O", "Looking"),
    "rest": Action("hold: the neutral", "N", "Looking"),
    "before": Action("hold: before the last step", "V", "Looking"),
    "flip_ab": Action("hold: the other of A and B", "B", "Looking"),
    "new_recipe": Action("new recipe", "Ctrl+N", "Recipes"),
    "duplicate": Action("duplicate the recipe", "Ctrl+D", "Recipes"),
    "flip": Action("flip the recipe left to right", "Ctrl+F", "Recipes"),
    "next_recipe": Action("next recipe", "PageDown", "Recipes"),
    "previous_recipe": Action("previous recipe", "PageUp", "Recipes"),
    "copy": Action("copy the selected cells, or the row", "Ctrl+C", "Recipes"),
    "paste": Action("paste them, or into the row", "Ctrl+V", "Recipes"),
    "keep_shape": Action("keep the pose as a shape", "Ctrl+K", "Recipes"),
    "more": Action("chosen cell up by 5 percent", "W", "Board"),
    "less": Action("chosen cell down by 5 percent", "Q", "Board"),
    "clear_cell": Action("remove the chosen cell", "Delete", "Board"),
    "cell_up": Action("the cell above", "Ctrl+Up", "Board"),
    "cell_down": Action("the cell below", "Ctrl+Down", "Board"),
    "cell_left": Action("the cell to the left", "Ctrl+Left", "Board"),
    "cell_right": Action("the cell to the right", "Ctrl+Right", "Board"),
    "type_cell": Action("type the chosen cell's weight", "T", "Board"),
    "cell_menu": Action("menu of the chosen cell", "R", "Board"),
    "solo": Action("solo the chosen row", "A", "Board"),
    "mute": Action("mute the chosen row", "D", "Board"),
    "link": Action("link left and right", "K", "Board"),
    "time": Action("the strip of time", "S", "Time"),
    "play": Action("play, or stop", "Space", "Time"),
    "loop": Action("begin again at the end, or not", "Shift+Space", "Time"),
    "frame_on": Action("a frame on", "Shift+Right", "Time"),
    "frame_back": Action("a frame back", "Shift+Left", "Time"),
    "clip_start": Action("to the clip's beginning", "Home", "Time"),
    "clip_end": Action("to the clip's end", "End", "Time"),
    "next_key": Action("the next key", "Shift+Down", "Time"),
    "previous_key": Action("the key before", "Shift+Up", "Time"),
    "key_recipe": Action("key of the open recipe", "U", "Time"),
    "key_cell": Action("key of the chosen cell", "Shift+U", "Time"),
    "key_rest": Action("key of the face at rest", "Ctrl+U", "Time"),
    "key_later": Action("picked keys a frame on", "Ctrl+Shift+Right", "Time"),
    "key_earlier": Action("picked keys a frame back", "Ctrl+Shift+Left", "Time"),
    "ghosts": Action("ghosts of the keys beside", "H", "Time"),
    "larger": Action("larger brush", "]", "Painting"),
    "smaller": Action("smaller brush", "[", "Painting"),
    "stronger": Action("stronger brush", ".", "Painting"),
    "weaker": Action("weaker brush", ",", "Painting"),
    "paint": Action("paint", "Z", "Painting"),
    "erase": Action("erase", "X", "Painting"),
    "soften": Action("soften", "C", "Painting"),
    "mirror": Action("mirrored strokes", "Y", "Painting"),
    "invert": Action("invert the mask", "I", "Painting"),
}  # fmt: skip
OTHER_GESTURES: tuple[tuple[str, str], ...] = (
    ("wheel", "nearer and further"),
    ("Shift and wheel over the face", "the chosen region's softness"),
    ("point at the face", "its region is outlined and named"),
    ("drag a picture onto the face", "that shape comes into the region under it"),
    ("drag a cell, or wheel over the chosen one", "its weight"),
    ("double click a cell", "type its weight"),
    ("Shift or Ctrl and click cells", "select several; drag, type, copy or delete them at once"),
    ("right click a row, a shape, a recipe", "what can be done with it"),
    ("Ctrl and wheel while painting", "the brush's radius"),
    ("Alt and wheel while painting", "its strength"),
    ("drag the edge of a panel", "its size"),
    ("press the tab on the edge of a panel", "fold it, or unfold it"),
    ("Escape while dragging", "cancel the drag"),
    ("Tab, arrows, Space", "from control to control, without the pointer"),
    ("Ctrl and Tab", "to another panel"),
)
"""Gestures on panels; those on the head belong to the tools."""
_NAMES = {
    key.LEFT: "Left", key.RIGHT: "Right", key.UP: "Up", key.DOWN: "Down", key.PAGEUP: "PageUp",
    key.PAGEDOWN: "PageDown", key.DELETE: "Delete", key.BACKSPACE: "Backspace", key.TAB: "Tab", key.SPACE: "Space",
    key.HOME: "Home", key.END: "End", key.COMMA: ",", key.PERIOD: ".", key.MINUS: "-", key.EQUAL: "=",
    key.BRACKETLEFT: "[", key.BRACKETRIGHT: "]", key.SLASH: "/", key.SEMICOLON: ";", key.NUM_ADD: "=",
    key.NUM_SUBTRACT: "-", key.PLUS: "=",
}  # fmt: skip
_NAMES |= {getattr(key, letter): letter for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ"}
_NAMES |= {getattr(key, f"_{digit}"): str(digit) for digit in range(10)}
_NAMES |= {getattr(key, f"NUM_{digit}"): str(digit) for digit in range(10)}
_NAMES |= {getattr(key, f"F{i}"): f"F{i}" for i in range(1, 13)}


def combo_of(symbol: int, modifiers: int) -> str:
    """The name of a key with its modifiers, as `Ctrl+Shift+Z`; "" for one that has no name here."""
    name = _NAMES.get(symbol, "")
    if not name:
        return ""
    held = [
        words
        for bit, words in ((key.MOD_ACCEL, "Ctrl"), (key.MOD_ALT, "Alt"), (key.MOD_SHIFT, "Shift"))
        if modifiers & bit
    ]
    return "+".join([*held, name])


class Keys:
    """Which key does what, with the person's own choices in place of those that ship."""

    def __init__(self, chosen: dict[str, str]) -> None:
        self.combos = {name: chosen.get(name, action.combo) for name, action in ACTIONS.items()}

    def action(self, symbol: int, modifiers: int) -> str:
        """The action of a key, "" where it has none."""
        combo = combo_of(symbol, modifiers)
        return next((name for name, chosen in self.combos.items() if combo and chosen == combo), "")

    def words(self, action: str) -> str:
        """The key of an action, as tooltips say it."""
        return self.combos.get(action, "")
