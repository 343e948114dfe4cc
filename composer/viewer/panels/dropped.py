"""The sheet that asks what a single target is for, which was dropped over an open document."""

from __future__ import annotations

from pathlib import Path

from imgui_bundle import imgui

from composer.viewer.panels.sheets import begin_sheet, end_sheet
from composer.viewer.session.dropping import open_dropped
from composer.viewer.session.sculpts import accept_sculpt, compare_with_target, match_target
from composer.viewer.session.stage import Stage
from composer.viewer.ui.kit import Kit


def draw_dropped(stage: Stage, kit: Kit) -> None:
    """The sheet, while there is a target to ask about."""
    path = stage.dialogs.dropped
    if path is None or not begin_sheet("dropped", kit):
        return
    recipe, wide = stage.opened.recipe_name, kit.px(420)
    with kit.bold():
        imgui.text(kit.fit(f"What is {path.name} for?", wide))
    kit.quiet(f"{stage.opened.title} is open.")
    for words, hint, able, call in (
        ("Compare with it", "the open pose beside it: as a ghost, behind a wipe, side by side", True,
         compare_with_target),
        ("Match it", "a new recipe whose pose comes nearest to it", True, match_target),
        (f"Take it back as a fix of {recipe}" if recipe else "Take it back as a fix",
         f"it is the sculpted bake of {recipe}: what was sculpted comes in with its cells, as a corrective"
         if recipe else "there is no recipe yet whose bake it could be", bool(recipe), accept_sculpt),
        ("Open it", "a head of its own, in the place of the open document", True, open_dropped),
    ):  # fmt: skip
        name = words.split(" as ")[0]
        if kit.button(f"{kit.fit(words, wide - kit.px(20))}##dropped", able=able, wide=wide, name=f"{name} dropped"):
            stage.dialogs.dropped = None
            stage.guard(lambda call=call: call(stage, Path(path)))  # type: ignore[misc,operator]
        imgui.push_text_wrap_pos(imgui.get_cursor_pos_x() + wide)
        kit.quiet(hint)
        imgui.pop_text_wrap_pos()
    if kit.button("Cancel", name="dropped leave") or imgui.is_key_pressed(imgui.Key.escape):
        stage.dialogs.dropped = None
    end_sheet(stage.dialogs.dropped is not None)
