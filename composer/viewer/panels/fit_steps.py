"""The steps of a new head after its landmarks: fit, relax, protect, carry; each with its figures."""

from __future__ import annotations

from imgui_bundle import imgui

from composer.fitting.guess import LEAST
from composer.viewer.session.fitting import Fitting
from composer.viewer.session.stage import Stage
from composer.viewer.session.swapping import SWAPPING
from composer.viewer.ui.kit import Kit

BRUSHES = {"none": "No brush", "relax": "Relax", "protect": "Protect"}
HINTS = {
    "none": "press places landmarks",
    "relax": "strokes on the fitted library even out its loops under the brush; nothing else moves",
    "protect": "strokes on the fitted library keep those places from being projected by the next fit",
}


def draw_fit_steps(stage: Stage, kit: Kit, fitting: Fitting) -> None:
    """All steps, one below the other."""
    new = stage.new_head
    if new is None:
        return
    fitting.follow(new)
    with kit.bold():
        imgui.text("Fit")
    _, fitting.fine = imgui.checkbox("with finer levels", fitting.fine)
    kit.mark("finer levels")
    kit.tip("project subdivision levels until their edges are as short as the sculpt's, to keep its detail")
    _, fitting.turn_over = imgui.checkbox("turn its faces over", fitting.turn_over)
    kit.mark("turn over")
    kit.tip("for a sculpt that is inside out")
    placed = len(new.placed)
    if kit.button("Fit", f"through the {placed} landmarks that are placed; guesses do not count",
                  able=placed >= LEAST, wide=kit.px(104), name="Fit now"):  # fmt: skip
        fitting.fit(stage)
    if fitting.fitted is None:
        imgui.push_text_wrap_pos(0)
        kit.quiet(
            f"Place at least {LEAST} landmarks on the left, better all that you can see, then fit. "
            "The inside of the mouth and the eye sockets follow the rest."
        )
        imgui.pop_text_wrap_pos()
        return
    _figures(kit, fitting)
    _brush(stage, kit, fitting)
    kit.heading("Into this document")
    hint = "the fitted head takes the place of the document's head, the library is carried onto it; one step of undo"
    if kit.button("Swap in", hint, able=not _busy(stage)):
        fitting.swap_in(stage)
    kit.heading("Carry")
    imgui.set_next_item_width(-1)
    _, fitting.folder = imgui.input_text("##carry folder", fitting.folder)
    kit.mark("carry folder")
    kit.tip("a new folder: the new head's document and its library")
    if kit.button("Carry and open", "carry every expression, region and recipe, and go on mixing"):
        fitting.carry(stage)


def _busy(stage: Stage) -> bool:
    """Whether a swap is under way."""
    return any(job.name == SWAPPING for job in stage.work.jobs)


def _figures(kit: Kit, fitting: Fitting) -> None:
    assert fitting.fitted is not None
    report = fitting.fitted.report
    kit.quiet(f"distance  median {report.distance.median:.2f}, max {report.distance.max:.1f} mm")
    worst = max(report.landmarks.values(), default=0.0)
    kit.quiet(f"landmarks  within {worst:.1f} mm")
    kit.quiet(f"faces reversed {report.reversed_faces}, folded {report.folded_faces}")
    kit.quiet(f"rejected {report.rejected}, filled {report.filled}, reach {report.reach_mm:.1f} mm")
    kit.quiet(f"levels  {', '.join(str(level.k) for level in fitting.fitted.levels)}")


def _brush(stage: Stage, kit: Kit, fitting: Fitting) -> None:
    kit.heading("Correct the fit")
    fitting.brush = kit.choice(BRUSHES, fitting.brush, HINTS, "fit brush ")
    if fitting.brush != "none":
        _, fitting.radius_mm = kit.slider("fit brush radius", fitting.radius_mm, 2.0, 60.0, "radius %.0f mm")
        if stage.shown_of_new == "sculpt":
            stage.shown_of_new = "cage"
    half = (imgui.get_content_region_avail().x - kit.px(4)) / 2
    if kit.button("Relax all", "even out the loops of the whole fitted library", wide=half):
        fitting.relax(stage, None)
    imgui.same_line(0, kit.px(4))
    able = bool(fitting.before)
    if kit.button("Undo relax", "the fit as it was before the last relaxing", able=able, wide=half, name="Step back"):
        fitting.undo_relax(stage)
