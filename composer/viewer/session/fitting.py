"""The fit of the library onto the open sculpt: its choices, its result, and the jobs that make, relax and carry it."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.fitting.chain import FittedHead
from composer.viewer.new_head.fit_work import carry_new, fit_new, neutral_of_fit, relax_new
from composer.viewer.new_head.new_head import NewHead
from composer.viewer.session.open_job import begin_opening
from composer.viewer.session.saving import unless_unsaved
from composer.viewer.session.stage import Stage
from composer.viewer.session.swapping import swap_in


@dataclass
class Fitting:
    """What the person chose and what came of it.

    `fitted` is the last fit, `of` the sculpt it belongs to, `before` the cages (n, 3) mm before each relaxing, the
    last one last. `brush` is "none", "relax" or "protect", `radius_mm` its radius; `protect` (n,) in [0, 1] covers
    what the next fit must not project. `fine` fits finer levels, too; `turn_over` reverses the sculpt's faces;
    `folder` is where the carried document goes.
    """

    fitted: FittedHead | None = None
    of: NewHead | None = None
    brush: str = "none"
    radius_mm: float = 12.0
    protect: NDArray | None = None
    fine: bool = True
    turn_over: bool = False
    folder: str = ""
    before: list[NDArray] = field(default_factory=list)

    def follow(self, new: NewHead) -> None:
        """Begin afresh where another sculpt is open than the one the fit belongs to."""
        if self.of is not new:
            self.fitted, self.of, self.protect, self.before, self.brush = None, new, None, [], "none"
            self.folder = str((new.sculpt.path or Path(new.sculpt.name)).with_suffix(""))

    @property
    def brushing(self) -> bool:
        """Whether a press on the head is a stroke of the fit's brush."""
        return self.brush != "none" and self.fitted is not None

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

    def relax(self, stage: Stage, mask: NDArray | None) -> None:
        """Relax everything, or where a mask (n,) is above 0, beside the frame loop."""
        new, fitted = stage.new_head, self.fitted
        assert new is not None and fitted is not None and new.cage is not None
        cage_before = np.array(new.cage)

        def done(cage: NDArray) -> None:
            self.before.append(cage_before)
            new.stand(cage, "relaxed")

        stage.work.begin("Relaxing", lambda progress: relax_new(new, fitted, mask, progress), done)

    def undo_relax(self, stage: Stage) -> None:
        """The cage as it was before the last relaxing."""
        new = stage.new_head
        assert new is not None
        new.stand(self.before.pop(), "fitted")

    def swap_in(self, stage: Stage) -> None:
        """Put the fitted head in the place of the open document's head beside the frame loop, as one step."""
        new, fitted = stage.new_head, self.fitted
        assert new is not None and fitted is not None
        swap_in(stage, new.sculpt.name, lambda evaluated, progress: neutral_of_fit(new, fitted))

    def carry(self, stage: Stage) -> None:
        """Carry the open document onto the fitted head beside the frame loop, and open the result."""
        new, fitted, evaluated = stage.new_head, self.fitted, stage.opened.evaluated
        assert new is not None and fitted is not None
        folder = Path(self.folder).expanduser()

        def begin() -> None:
            stage.work.begin(
                f"Carrying onto {new.sculpt.name}",
                lambda progress: carry_new(evaluated, new, fitted, folder, progress),
                lambda path: begin_opening(stage, path), asks=True,
            )  # fmt: skip

        unless_unsaved(stage, begin, new_head=False)
