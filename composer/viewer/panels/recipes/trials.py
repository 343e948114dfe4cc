"""What is tried with the chosen recipe: sweep, travel, a random combination, A and B."""

from __future__ import annotations

from imgui_bundle import imgui

from composer.viewer.session.stage import Stage
from composer.viewer.session.trying import Trying
from composer.viewer.ui.kit import Kit


def draw_trials(stage: Stage, kit: Kit, trying: Trying) -> None:
    """The buttons, and the controls of what is being tried."""
    session = stage.opened
    width = (imgui.get_content_region_avail().x - kit.px(8)) / 3
    if width < kit.wide("Random") + 2 * imgui.get_style().frame_padding.x:
        width = 0.0
    kind = trying.trial.kind if trying.trial is not None else ""
    key = (session.region, session.shape, False)
    hint, able = "move the chosen cell's weight back and forth", bool(session.shape)
    if kit.button("Sweep", hint, on=kind == "sweep", able=able, wide=width):
        trying.stop(session) if kind else trying.sweep(stage, key)
    kit.beside("Travel")
    if kit.button("Travel", "move back and forth between this recipe and another", on=kind == "travel", wide=width):
        trying.stop(session) if kind else imgui.open_popup("travel to")
    kit.beside("Random")
    if kit.button("Random", "a random combination within limits", on=trying.found is not None, wide=width):
        stage.guard(lambda: trying.random(session))
    _controls(stage, kit, trying)
    if imgui.begin_popup("travel to"):
        kit.quiet("travel to")
        for other in ["", *(r.name for r in session.project.recipes if r.name != session.recipe_name)]:
            if other and imgui.menu_item(other, "", False)[0]:
                trying.travel(stage, session.recipe_name, other)
            if other:
                kit.mark(f"travel to {other}")
        imgui.end_popup()


def _controls(stage: Stage, kit: Kit, trying: Trying) -> None:
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
            trying.gallery = tuple(each for each in trying.gallery if each is not trying.found)
            trying.stop(session)
    else:
        _compare(stage, kit, trying)


def _compare(stage: Stage, kit: Kit, trying: Trying) -> None:
    session = stage.opened
    half = (imgui.get_content_region_avail().x - kit.px(4)) / 2
    for letter in ("a", "b"):
        held = getattr(trying, letter)
        words = f"{letter.upper()}: {held.name}" if held is not None else f"Set {letter.upper()}"
        keep = f"keep this recipe as {letter.upper()}, to compare"
        hint, action = ("hold to see it; right click to set it again", "flip_ab") if held else (keep, "")
        label = f"##{letter}"
        pressed = kit.button(words + label, hint, action, wide=half, name=f"slot {letter}")
        if kit.menu_asked() or (held is None and pressed):
            setattr(trying, letter, session.recipe)
        elif held is not None and imgui.is_item_active():
            stage.guard(lambda x=letter: trying.peek(session, x))  # type: ignore[misc]
            stage.peeking = True
        if letter == "a":
            imgui.same_line(0, kit.px(4))
