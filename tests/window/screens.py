"""A picture of every state of the window: `python -m tests.window.screens DIR [--size 1280x800] [--double]`.

The window is driven as the tests drive it, without a screen. `--double` draws two pixels a point, as a dense screen
does. `--only NAME` makes the pictures whose names hold NAME.
"""

from __future__ import annotations

import argparse
import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.window.hand import Hand
from tests.window.screens_hands import HAND_STATES
from tests.window.screens_new_head import NEW_HEAD_STATES
from tests.window.screens_time import TIME_STATES
from tests.window.screens_views import VIEW_STATES

State = Callable[[Hand], None]
STATES: dict[str, State] = {}


def state(call: State) -> State:
    """Register a state under its function's name."""
    STATES[call.__name__] = call
    return call


@state
def mix(hand: Hand) -> None:
    hand.settle()


@state
def region_pointed_at(hand: Hand) -> None:
    hand.move(*hand.in_region("cheek_right"))


@state
def shape_carried(hand: Hand) -> None:
    hand.press(*hand.middle("shape anger"))
    hand.drag(*hand.in_region("cheek_left"))


@state
def gauge_held(hand: Hand) -> None:
    x, y = hand.in_region("brow_outer_left")
    hand.press(x, y)
    hand.drag(x, y - 40)


@state
def tooltip(hand: Hand) -> None:
    hand.move(*hand.middle("Both sides"))
    hand.window.ui.io.delta_time = 1.0
    import time

    for _ in range(8):
        time.sleep(0.1)
        hand.frames()


@state
def board_with_everything(hand: Hand) -> None:
    hand.click_on("Every region")
    hand.click_on("Every shape")
    hand.settle()


@state
def profile_view(hand: Hand) -> None:
    hand.click_on("view profile")
    hand.settle()


@state
def three_quarter_with_the_cage(hand: Hand) -> None:
    hand.click_on("view three_quarter")
    hand.key("G")
    hand.settle()


@state
def a_region_framed(hand: Hand) -> None:
    hand.click_on("row brow_inner_left")
    hand.key("F")
    hand.settle()


@state
def wink_closed(hand: Hand) -> None:
    hand.click_on("recipe wink")
    hand.settle()


@state
def solo_of_a_row(hand: Hand) -> None:
    hand.click_on("row cheek_right")
    hand.key("A")
    hand.settle()


@state
def a_weight_typed(hand: Hand) -> None:
    hand.double_click(*hand.middle("cell cheek_right joy"))
    hand.frames(4)


@state
def recipe_menu(hand: Hand) -> None:
    hand.click_on("recipe wink", 4)
    hand.frames(3)


@state
def row_menu(hand: Hand) -> None:
    hand.click_on("row brow_inner_left", 4)
    hand.frames(3)


@state
def shape_menu(hand: Hand) -> None:
    hand.click_on("shape au02_left", 4)
    hand.frames(3)


@state
def parts_menu(hand: Hand) -> None:
    hand.click_on("Parts")
    hand.frames(3)


@state
def what_moves_a_place(hand: Hand) -> None:
    hand.move(*hand.in_region("brow_outer_left"))
    hand.key("E")
    hand.settle()


@state
def steps(hand: Hand) -> None:
    hand.click_on("cell brow_outer_left surprise")
    hand.key("W")
    hand.click_on("Steps")
    hand.frames(3)


@state
def compared_with_a_ghost(hand: Hand) -> None:
    hand.click_on("Compare")
    hand.click_on("compare with call")
    hand.frames(3)


@state
def compared_behind_a_wipe(hand: Hand) -> None:
    compared_with_a_ghost(hand)
    hand.click_on("Wipe")
    hand.key("Escape")
    hand.settle()


@state
def compared_side_by_side(hand: Hand) -> None:
    compared_with_a_ghost(hand)
    hand.click_on("Side by side")
    hand.key("Escape")
    hand.settle()


@state
def panels_folded(hand: Hand) -> None:
    hand.key("F6")
    hand.key("F7")
    hand.settle()


@state
def sweep(hand: Hand) -> None:
    hand.click_on("cell brow_outer_left surprise")
    hand.click_on("Sweep")
    hand.frames(10)


@state
def chance(hand: Hand) -> None:
    hand.click_on("Random")
    hand.frames(5)


@state
def difference_of_a_and_b(hand: Hand) -> None:
    hand.click_on("slot a")
    hand.click_on("recipe call")
    hand.click_on("slot b")
    hand.click_on("overlay")
    hand.click_on("overlay difference")
    hand.settle()
    hand.frames(30)


@state
def match_a_target(hand: Hand) -> None:
    hand.click_on("Match a target")
    hand.frames(4)


@state
def left_to_the_target(hand: Hand) -> None:
    from composer.formats.mesh import mesh_of
    from composer.formats.obj import write

    session = hand.session
    target = session.evaluated.pose(session.project.recipe("call"))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "scan_07.obj"
        write(path, mesh_of(session.head, target, unit="mm"))
        hand.click_on("Match a target")
        hand.click_on("match path")
        hand.text(str(path))
        hand.click_on("match now")
        hand.until(lambda: session.recipe_name == "scan_07", "the match")
    hand.settle()


@state
def keep_as_a_shape(hand: Hand) -> None:
    hand.key("Ctrl+K")
    hand.frames(4)


@state
def paint_with_the_ring(hand: Hand) -> None:
    hand.click_on("row cheek_right")
    hand.key("P")
    hand.settle()
    hand.move(*hand.in_region("cheek_right"))
    hand.frames(4)


@state
def a_stroke_under_way(hand: Hand) -> None:
    hand.click_on("row cheek_right")
    hand.key("P")
    hand.settle()
    x, y = hand.in_region("cheek_right")
    hand.press(x, y)
    hand.drag(x + 60, y + 20)


@state
def region_menu(hand: Hand) -> None:
    hand.key("P")
    hand.settle()
    hand.click_on(next(n for n in hand.seen if n.startswith("region ")), 4)
    hand.frames(3)


@state
def landmarks(hand: Hand) -> None:
    hand.key("L")
    hand.settle()
    hand.frames(30)


@state
def bake_sheet(hand: Hand) -> None:
    hand.key("Ctrl+B")
    hand.until(lambda: hand.window.panels.bake.plan)
    hand.frames(3)


@state
def bake_sheet_after(hand: Hand) -> None:
    hand.key("Ctrl+B")
    hand.fill("bake folder", tempfile.mkdtemp())
    hand.until(lambda: hand.window.panels.bake.plan)
    hand.frames(2)
    hand.click_on("Bake now")
    hand.until(lambda: hand.window.panels.bake.written)
    hand.frames(3)


@state
def keys_sheet(hand: Hand) -> None:
    hand.key("F1")
    hand.frames(4)


@state
def about_the_head(hand: Hand) -> None:
    hand.key("F2")
    hand.until(lambda: hand.window.panels.about.lines, "what is believed")
    hand.settle()


@state
def unsaved_sheet(hand: Hand) -> None:
    hand.key("Ctrl+N")
    hand._tell("on_close")
    hand.frames(4)


@state
def save_as_sheet(hand: Hand) -> None:
    hand.key("Ctrl+Shift+S")
    hand.frames(4)


@state
def fault_line(hand: Hand) -> None:
    hand.drop("/a/folder/that/is/not/there/and/has/a/long/path/to/be/told/of/keeper.moue")
    hand.until(lambda: hand.wrong)
    hand.frames(3)


@state
def search(hand: Hand) -> None:
    hand.click_on("search shapes")
    hand.text("brow")
    hand.settle()


def overlay(kind: str) -> State:
    """The state in which an overlay lies over the head."""

    def show(hand: Hand) -> None:
        hand.click_on("row cheek_right")
        hand.click_on("overlay")
        hand.click_on(f"overlay {kind}")
        hand.settle()
        hand.frames(30)

    return show


STATES |= {f"overlay_{kind}": overlay(kind) for kind in ("regions", "mask", "strain", "movement")}
STATES |= NEW_HEAD_STATES | HAND_STATES | TIME_STATES | VIEW_STATES


def pictures(folder: Path, size: tuple[int, int], double: bool, only: str, document: Path) -> Iterator[Path]:
    """Make the pictures, one after the other; the paths written."""
    if not only or "welcome" in only:
        with _hand(size, double) as hand:
            hand.shot(folder / "welcome.png")
            yield folder / "welcome.png"
    if not only or "loading" in only:
        with _hand(size, double) as hand:
            hand.drop(document)
            hand.until(lambda: "cancel opening" in hand.seen)
            hand.shot(folder / "loading.png")
            yield folder / "loading.png"
    for name, call in STATES.items():
        if only in name:
            yield _shot(folder / f"{name}.png", call, size, double, document)
    for wide, high in ((900, 560), (2560, 1440)):
        for name in ("mix", "paint_with_the_ring", "board_with_everything", "keys_sheet", "bake_sheet", "chance"):
            if only in f"{name}_{wide}":
                yield _shot(folder / f"{name}_{wide}x{high}.png", STATES[name], (wide, high), double, document)


def _shot(path: Path, call: State, size: tuple[int, int], double: bool, document: Path) -> Path:
    with _hand(size, double) as hand:
        hand.open(document)
        hand.stage.words.clear()
        call(hand)
        hand.shot(path)
    return path


@contextmanager
def _hand(size: tuple[int, int], double: bool) -> Iterator[Hand]:
    import pyglet

    pyglet.options.headless = True
    from composer.viewer.session.settings import Settings
    from composer.viewer.window import MoueWindow

    plain = MoueWindow.get_size, MoueWindow.get_pixel_ratio
    held = (size[0] * 2, size[1] * 2) if double else size
    if double:
        MoueWindow.get_size = lambda window: size  # type: ignore[method-assign]
        MoueWindow.get_pixel_ratio = lambda window: 2.0  # type: ignore[method-assign]
        MoueWindow.get_framebuffer_size = lambda window: held  # type: ignore[method-assign]
    try:
        with Hand(size=held, settings=Settings()) as hand:
            yield hand
    finally:
        MoueWindow.get_size, MoueWindow.get_pixel_ratio = plain  # type: ignore[method-assign]
        if double:
            del MoueWindow.get_framebuffer_size


def main() -> None:
    """The command."""
    asked = argparse.ArgumentParser(prog="python -m tests.window.screens", description="Pictures of the window.")
    asked.add_argument("folder", type=Path)
    asked.add_argument("--size", default="1280x800")
    asked.add_argument("--double", action="store_true")
    asked.add_argument("--only", default="")
    asked.add_argument("--demo", type=Path, help="a demo's document made before; else it is made")
    given = asked.parse_args()
    wide, high = (int(part) for part in given.size.split("x"))
    given.folder.mkdir(parents=True, exist_ok=True)
    os.environ["MOUE_SETTINGS"] = tempfile.mkdtemp()
    document = given.demo
    if document is None:
        from composer.demo.tour import write_demo

        document = Path(tempfile.mkdtemp()) / "demo" / "document.toml"
        write_demo(document.parent, lambda fraction, words: None)
    for path in pictures(given.folder, (wide, high), given.double, given.only, document):
        print(path)


if __name__ == "__main__":
    main()
