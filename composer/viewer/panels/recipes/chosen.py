"""The chosen recipe's strength, note and join."""

from __future__ import annotations

from imgui_bundle import imgui

from composer.edits.recipes import set_contact, set_join, set_note, set_strength
from composer.viewer.session.ready_contact import share_ready
from composer.viewer.session.stage import Stage
from composer.viewer.ui.kit import Kit

JOINS = {"linear": "Linear", "seamless": "Seamless"}


def draw_chosen(stage: Stage, kit: Kit) -> None:
    """Strength, note and join, below the strip."""
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
    _, note = kit.text_field("note", recipe.note, "note")
    if recipe.note and not imgui.is_item_active():
        kit.tip(recipe.note)
    if note != recipe.note:
        stage.guard(lambda: session.preview(lambda p: set_note(p, name, note)))
    if imgui.is_item_deactivated():
        session.commit()
    _join(stage, kit)


def _join(stage: Stage, kit: Kit) -> None:
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
            f"beyond it the join now moves up to {session.joined.outside_mm:.2f} mm"
        )
        if changed:
            stage.guard(lambda: session.preview(lambda p: set_join(p, name, "seamless", round(halo / 100, 2))))
        if imgui.is_item_deactivated():
            session.commit()
    hint = "part lips, lids, eyeballs and teeth where they go through each other"
    if kit.button("Keep contact", hint, on=recipe.contact, wide=imgui.get_content_region_avail().x):
        stage.do(lambda p: set_contact(p, name, not recipe.contact))
    if session.contact_missing:
        brief = f"contact is shown in a moment: {share_ready(stage.work):.0%}"
        kit.quiet(kit.fit(brief, imgui.get_content_region_avail().x))
    for brief, sentence in session.joined.left_in(recipe, session.evaluated.mixer)[:2]:
        kit.quiet(kit.fit(brief, imgui.get_content_region_avail().x))
        kit.tip(sentence)
