"""The fit of the library onto the open sculpt: what the person has chosen for it, and the jobs that make, correct and
carry it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.fitting.chain import FittedHead
from composer.fitting.refit import Refitted
from composer.viewer.new_head.fit_work import carry_new, even_out, fit_new, keep_form, neutral_of_fit, refit_new
from composer.viewer.new_head.new_head import NewHead
from composer.viewer.session.open_job import begin_opening
from composer.viewer.session.saving import unless_unsaved
from composer.viewer.session.stage import Stage
from composer.viewer.session.swapping import swap_in

TOOLS = ("place", "vertex", "loop", "even", "form", "still")
"""What a press on the head does: place a landmark, draw a vertex or a loop along the sculpt, even out loops, paint a
zone of the library's form, or one that stays still."""
PAINTING = ("even", "form", "still")
RADIUS_MM = (2.0, 80.0)
"""Least and largest radius of a grip or a brush."""
WHEEL = 1.15
"""By how much a step of the wheel changes the radius (our choice)."""


@dataclass
class Fitting:
    """What the person chose: the `tool`, one of TOOLS, its `radius_mm`, whether it works on both sides (`mirrored`) and
    takes away from a zone (`erasing`); `fine` fits finer levels, too; `turn_over` reverses the sculpt's faces; `folder`
    is where the carried document goes. `of` is the sculpt that all this belongs to.
    """

    of: NewHead | None = None
    tool: str = "place"
    radius_mm: float = 12.0
    mirrored: bool = False
    erasing: bool = False
    fine: bool = True
    turn_over: bool = False
    folder: str = ""

    def follow(self, new: NewHead) -> None:
        """Begin afresh where another sculpt is open than the one before."""
        if self.of is not new:
            self.of, self.tool = new, "place"
            self.folder = str((new.sculpt.path or Path(new.sculpt.name)).with_suffix(""))

    @property
    def fitted(self) -> FittedHead | None:
        """The last whole fit onto the open sculpt."""
        return self.of.fitted if self.of is not None else None

    @property
    def brushing(self) -> bool:
        """Whether a press on the head is a stroke of a brush on the fitted library."""
        return self.tool in PAINTING and self.fitted is not None

    @property
    def gripping(self) -> bool:
        """Whether a press on the head takes a piece of the fitted library into the hand."""
        return self.tool in ("vertex", "loop") and self.fitted is not None

    def larger(self, steps: float) -> None:
        """Change the radius by steps of the wheel."""
        self.radius_mm = float(np.clip(self.radius_mm * WHEEL**steps, *RADIUS_MM))

    def fit(self, stage: Stage, by_form: bool = False) -> None:
        """Fit beside the frame loop; `by_form` where too few landmarks are placed."""
        new = stage.new_head
        assert new is not None
        step, level, over = new.step, (None if self.fine else 0), self.turn_over

        def done(fitted: FittedHead) -> None:
            new.stand(fitted.head.neutral, "fitted", asked=step, fitted=fitted)
            stage.shown_of_new = "cage" if stage.shown_of_new == "sculpt" else stage.shown_of_new
            for note in fitted.report.notes[:1]:
                stage.say(note)

        stage.work.begin(
            f"Fitting onto {new.sculpt.name}", lambda progress: fit_new(new, step, level, over, progress, by_form),
            done, asks=True,
        )  # fmt: skip

    def refit(self, stage: Stage) -> None:
        """Bring the cage through what was placed and drawn since, near it alone, beside the frame loop."""
        new = stage.new_head
        assert new is not None
        step, names = new.step, new.asked_since()

        def done(refitted: Refitted) -> None:
            new.stand(refitted.positions, "refitted", asked=step)
            before, after = refitted.away_mm
            words = f"{int(refitted.near.sum()):,} vertices moved. They were {before:.2f} mm from what was asked"
            stage.say(f"{words}, now {after:.2f} mm.", "done")

        stage.work.begin("Refitting", lambda progress: refit_new(new, step, names, progress), done)

    def even_out(self, stage: Stage, mask: NDArray | None) -> None:
        """Even out all loops, or those where a mask (n,) is above 0, beside the frame loop."""
        new = stage.new_head
        assert new is not None
        step = new.step
        stage.work.begin(
            "Evening out", lambda progress: even_out(new, step, mask, progress), lambda cage: new.stand(cage, "evened")
        )

    def paint(self, stage: Stage, zone: NDArray) -> None:
        """Take over a painted zone (n,) of the chosen kind. Where the library's form is kept it comes back at once;
        where it is erased the next fit follows the sculpt again."""
        new = stage.new_head
        assert new is not None
        kind, step = self.tool, new.step
        zones = step.zones.with_(kind, zone)
        if kind == "still" or self.erasing or step.cage is None:
            new.paint(zones)
            return
        stage.work.begin(
            "Keeping the library's form", lambda progress: keep_form(new, step, zone, progress),
            lambda cage: new.stand(cage, "by hand", zones=zones),
        )  # fmt: skip

    def swap_in(self, stage: Stage) -> None:
        """Put the fitted head in the place of the open document's head beside the frame loop, as one step."""
        new = stage.new_head
        assert new is not None
        step = new.step
        swap_in(stage, new.sculpt.name, lambda evaluated, progress: neutral_of_fit(new, step, progress))

    def carry(self, stage: Stage) -> None:
        """Carry the open document onto the fitted head beside the frame loop, and open the result."""
        new, evaluated = stage.new_head, stage.opened.evaluated
        assert new is not None
        step, folder = new.step, Path(self.folder).expanduser()

        def begin() -> None:
            stage.work.begin(
                f"Carrying onto {new.sculpt.name}",
                lambda progress: carry_new(evaluated, new, step, folder, progress),
                lambda path: begin_opening(stage, path), asks=True,
            )  # fmt: skip

        unless_unsaved(stage, begin, new_head=False)
