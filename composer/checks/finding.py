"""What a check found: one thing that is wrong, or that could not be looked at, and where."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Severity = Literal["error", "warning", "note"]
SEVERITIES: tuple[Severity, ...] = ("error", "warning", "note")
_NONE: NDArray[np.int32] = np.zeros(0, dtype=np.int32)
_NONE.setflags(write=False)


@dataclass(frozen=True, eq=False)
class Finding:
    """One finding.

    `code` is `check.kind`; `words` say what is wrong; `hint` what to do about it; `vertices` (k,) are the
    places and `amounts` (k,) how bad each is, in the unit of `value`, which is the worst of them; `unit` is
    mm, degrees, percent, percent more (than the shapes do) or "" for a count;
    `where` names the region or the part, or else the pose; `place` is a
    point in mm on the pose at the worst of it, for a camera to look at, None where there are no vertices; `step`
    is the step of a sweep at which it is seen, 0 elsewhere; `ramp_mm` is the width of ramp of the region `where` that
    would mend it, 0 where none would.
    """

    code: str
    severity: Severity
    words: str
    hint: str = ""
    vertices: NDArray[np.int32] = field(default_factory=lambda: _NONE)
    amounts: NDArray[np.float64] | None = None
    value: float = 0.0
    unit: str = ""
    where: str = ""
    place: tuple[float, float, float] | None = None
    step: int = 0
    ramp_mm: float = 0.0

    @property
    def rank(self) -> tuple[int, float]:
        """For sorting, worst first: the severity, then the larger value."""
        return SEVERITIES.index(self.severity), -self.value

    @property
    def measure(self) -> str:
        """The value with its unit, "" where there is none."""
        if not self.unit:
            return ""
        if self.value > 100.0 and self.unit in ("percent", "percent more"):
            whole = self.unit == "percent"
            return f"{self.value / 100.0:.1f} times the whole" if whole else f"{1.0 + self.value / 100.0:.1f} times"
        whole = self.unit in ("percent", "percent more", "degrees")
        return f"{self.value:.0f} {self.unit}" if whole else f"{self.value:.2f} {self.unit}"

    def as_dict(self) -> dict[str, object]:
        """Plain values for JSON; the vertices as a list."""
        return {
            "code": self.code, "severity": self.severity, "words": self.words, "hint": self.hint,
            "value": self.value, "unit": self.unit, "where": self.where, "place": self.place,
            "vertices": self.vertices.tolist(),
        }  # fmt: skip

