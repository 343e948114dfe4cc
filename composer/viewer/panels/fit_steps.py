"""The steps of a new head after its landmarks: fit, relax, protect, carry; each with its figures."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from imgui_bundle import imgui
from numpy.typing import NDArray

from composer.fitting.chain import FittedHead
from composer.viewer.fit_work import carry_new, fit_new, relax_new
from composer.viewer.kit import Kit
from composer.viewer.new_head import NewHead
from composer.viewer.stage import Stage

BRUSHES = {"none": "No brush", "relax": "Relax", "protect": "Protect"}
HINTS = {
    "none": "press places landmarks",
    "relax": "strokes on the library give its own loops back under them; nothing else moves",
    "protect": "strokes on the library keep those places from being projected by the next fit",
}


@dataclass
class FitSteps:
    """What the steps hold: the last fit, the brush, the protected places, and where the carried document goes."""

    fitted: FittedHead | None = None
    of: NewHead | None = None
    brush: str = "none"
    radius_mm: float = 12.0
    protect: NDArray | None = None
    fine: bool = True
    turn_over: bool = False
    folder: str = ""
    before: list[NDArray] = field(default_factory=list)

    def draw(self, stage: Stage, kit: Kit) -> None:
        """All steps, one below the other."""
        new = stage.new_head
        if new is None:
            return
        if self.of is not new:
            self.fitted, self.of, self.protect, self.before, self.brush = None, new, None, [], "none"
            self.folder = str((new.sculpt.path or Path(new.sculpt.name)).with_suffix(""))
        with kit.bold():
            imgui.text("Fit")
        _, self.fine = imgui.checkbox("with finer levels", self.fine)
        kit.mark("finer levels")
        kit.tip("project levels until their edges are as short as the sculpt's; they keep its detail")
        _, self.turn_over = imgui.checkbox("turn its faces over", self.turn_over)
        kit.mark("turn over")
        kit.tip("for a sculpt that is inside out")
        placed = len(new.placed)
        if kit.button("Fit", f"through the {placed} landmarks that are placed; guesses do not count",
                      able=placed >= 3, wide=kit.px(104), name="Fit now"):
            self.fit(stage)
        if self.fitted is None:
            imgui.push_text_wrap_pos(0)
            kit.quiet(
                "Place four landmarks or more on the left, then fit. Mouth interior and eye sockets follow freely."
            )
            imgui.pop_text_wrap_pos()
            return
        self._figures(kit)
        self._brush(stage, kit)
        self._carry(stage, kit)

    def fit(self, stage: Stage) -> None:
        """Fit beside the frame loop."""
        new = stage.new_head
        assert new is not None
        level, protect, over = (None if self.fine else 0), self.protect, self.turn_over

        def done(fitted: FittedHead) -> None:
            self.fitted, self.before = fitted, []
            new.stand(fitted.head.neutral, "fitted")
            stage.shown_of_new = "cage"
            for note in fitted.report.notes[:1]:
                stage.say(note)

        stage.work.begin(
            f"Fitting onto {new.sculpt.name}", lambda progress: fit_new(new, level, protect, over, progress), done,
            asks=True,
        )  # fmt: skip

    def _figures(self, kit: Kit) -> None:
        assert self.fitted is not None
        report = self.fitted.report
        kit.quiet(f"distance  median {report.distance.median:.2f}, max {report.distance.max:.1f} mm")
        worst = max(report.landmarks.values(), default=0.0)
        kit.quiet(f"landmarks  within {worst:.1f} mm")
        kit.quiet(f"faces reversed {report.reversed_faces}, folded {report.folded_faces}")
        kit.quiet(f"rejected {report.rejected}, filled {report.filled}, reach {report.reach_mm:.1f} mm")
        kit.quiet(f"levels  {', '.join(str(level.k) for level in self.fitted.levels)}")

    def _brush(self, stage: Stage, kit: Kit) -> None:
        new = stage.new_head
        assert new is not None
        kit.heading("Mend")
        self.brush = kit.choice(BRUSHES, self.brush, HINTS, "mend ")
        if self.brush != "none":
            _, self.radius_mm = kit.slider("mend radius", self.radius_mm, 2.0, 60.0, "radius %.0f mm")
            if stage.shown_of_new == "sculpt":
                stage.shown_of_new = "cage"
        half = (imgui.get_content_region_avail().x - kit.px(4)) / 2
        if kit.button("Relax all", "give all of the library's own loops back", wide=half):
            self.relax(stage, None)
        imgui.same_line(0, kit.px(4))
        if kit.button("Step back", "as it was before the last relaxing", able=bool(self.before), wide=half):
            new.stand(self.before.pop(), "fitted")

    def relax(self, stage: Stage, mask: NDArray | None) -> None:
        """Relax everything, or where a mask (n,) is above 0, beside the frame loop."""
        new, fitted = stage.new_head, self.fitted
        assert new is not None and fitted is not None and new.cage is not None
        old = np.array(new.cage)

        def done(cage: NDArray) -> None:
            self.before.append(old)
            new.stand(cage, "relaxed")

        stage.work.begin("Relaxing", lambda progress: relax_new(new, fitted, mask, progress), done)

    def _carry(self, stage: Stage, kit: Kit) -> None:
        new, fitted, session = stage.new_head, self.fitted, stage.opened
        assert new is not None and fitted is not None
        kit.heading("Carry")
        imgui.set_next_item_width(-1)
        _, self.folder = imgui.input_text("##carry folder", self.folder)
        kit.mark("carry folder")
        kit.tip("a new folder: the new head's document and its library")
        if kit.button("Carry and open", "carry every expression, region and recipe, and go on mixing"):
            evaluated, folder = session.evaluated, Path(self.folder).expanduser()

            def begin() -> None:
                stage.work.begin(
                    f"Carrying onto {new.sculpt.name}",
                    lambda progress: carry_new(evaluated, new, fitted, folder, progress),
                    stage.open, asks=True,
                )  # fmt: skip

            stage.unless_unsaved(begin, new_head=False)
