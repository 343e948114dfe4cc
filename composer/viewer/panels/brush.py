"""The brush: what it does, how wide and how strong it is, and what is done to a whole mask at once."""

from __future__ import annotations

from imgui_bundle import imgui

from composer.edits.softness import set_softness, softness_of
from composer.mixing.recipe import ALL
from composer.viewer.session.painting import LEAST_MM, MOST_MM, Painting
from composer.viewer.session.shared_ground import LEAST_TAKEN, held_back
from composer.viewer.session.softening import width_mm
from composer.viewer.session.stage import Stage
from composer.viewer.ui.kit import Kit

KINDS = {"paint": "Paint", "erase": "Erase", "soften": "Soften"}
PRESSURES = {"none": "Nothing", "radius": "Radius", "strength": "Strength"}

MOST_SOFT_MM = 60.0
"""The end of the slider for softness, mm; the wheel goes on. A design choice, no source."""


def draw_brush(stage: Stage, kit: Kit, painting: Painting) -> None:
    """The whole panel."""
    session = stage.opened
    with kit.bold():
        imgui.text("Brush")
    hints = {"paint": "towards 1", "erase": "towards 0", "soften": "towards its neighbours' mean"}
    painting.kind = kit.choice(KINDS, painting.kind, hints, "brush ")  # type: ignore[assignment]
    imgui.dummy(imgui.ImVec2(0, kit.px(2)))
    flags = imgui.SliderFlags_.logarithmic
    _, painting.radius_mm = kit.slider("radius", painting.radius_mm, LEAST_MM, MOST_MM, "radius %.1f mm", flags)
    kit.tip("measured along the skin", "larger")
    _, strength = kit.slider("brush strength", painting.strength * 100, 5, 100, "strength %.0f %%")
    painting.strength = round(strength / 100, 3)
    kit.tip("how far one stroke changes the mask", "stronger")
    _, hard = kit.slider("hardness", painting.hardness * 100, 0, 95, "hardness %.0f %%")
    painting.hardness = round(hard / 100, 3)
    kit.tip("the share of the radius that takes the whole strength")
    changed, on = imgui.checkbox("mirrored", painting.mirrored)
    kit.mark("mirrored strokes")
    kit.tip("the other side's region takes the mirror image of the stroke", "mirror")
    if changed:
        mirror(stage, painting, on)
    _, painting.takes = imgui.checkbox("take it from the others", painting.takes)
    kit.mark("take from others")
    kit.tip("where the brush paints, overlapping regions give way; without it they share, and each gets a part")
    _, painting.on_pose = imgui.checkbox("on the pose", painting.on_pose)
    kit.mark("on the pose")
    kit.tip("paint on the open recipe's pose, so that hidden places can be reached; the mask is the same")
    if session.region != ALL:
        _softness(stage, kit)
    kit.heading("Pen pressure sets")
    painting.pressure = kit.choice(PRESSURES, painting.pressure, key="pressure ")  # type: ignore[assignment]
    kit.heading("The whole mask")
    able = session.region != ALL
    for i, (words, what, hint) in enumerate((
        ("Fill", "fill", "1 on all of the skin"), ("Clear", "clear", "0 everywhere"),
        ("Invert", "invert", "what was 0 is 1"),
        ("Smooth", "smooth", "by the width below, never over a lip or lid line"),
    )):  # fmt: skip
        if i % 2:
            imgui.same_line(0, kit.px(4))
        if kit.button(f"{words}##whole", hint, "invert" if what == "invert" else "", able=able, wide=kit.px(104),
                      name=f"whole {what}"):  # fmt: skip
            stage.guard(lambda what=what: painting.whole(session, what))  # type: ignore[misc]
    _, painting.smooth_mm = kit.slider("smooth by", painting.smooth_mm, 0.5, 30.0, "smooth by %.1f mm")
    kit.tip("how wide one press of Smooth spreads a hard edge: the standard deviation of a Gaussian along the skin")
    takeable = able and held_back(session, session.region) > LEAST_TAKEN
    hint = "where this region is painted, overlapping ones give way; locked ones stay"
    if kit.button("Take it from the others", hint, able=takeable, wide=-1, name="whole take"):
        stage.guard(lambda: painting.whole(session, "take"))
    imgui.dummy(imgui.ImVec2(0, kit.px(4)))
    imgui.push_text_wrap_pos(0)
    if able:
        kit.quiet("The colours show how much of this region a recipe gets once overlapping regions have shared. "
                  "Along the dashed line the painted mask is one half.")  # fmt: skip
    else:
        kit.quiet("Choose a region on the left, or press on the face.")
    if not painting.ready_for(session):
        kit.quiet("The brush is being prepared.")
    imgui.pop_text_wrap_pos()


def _softness(stage: Stage, kit: Kit) -> None:
    """The width of the chosen region's ramp, live."""
    session, name = stage.opened, stage.opened.region
    kit.heading("The region's border")
    said = softness_of(session.project, name)
    wide = width_mm(session, name)
    changed, asked = kit.slider("softness", wide, 0.0, MOST_SOFT_MM, "softness %.0f mm")
    kit.tip("how wide its border is, from 1 to 0; neighbours fill what it gives up. Over the head: Shift and the wheel")
    if changed:
        stage.guard(lambda: session.preview(lambda p: set_softness(p, name, round(asked, 1))))
    if imgui.is_item_deactivated():
        session.commit()
    if kit.button("As it was made", "the border that its source gives it", able=said is not None, name="As made"):
        stage.do(lambda p: set_softness(p, name, None))


def mirror(stage: Stage, painting: Painting, on: bool) -> None:
    """Mirrored strokes on or off; refused on a head without a mirror image of itself."""
    session = stage.session
    if session is None:
        return
    painting.mirrored = on and stage.guard(lambda: session.evaluated.mirror_map)
