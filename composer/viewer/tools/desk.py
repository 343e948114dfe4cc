"""What a tool works with: the stage, and what the person has set up for trying, painting and fitting."""

from __future__ import annotations

from dataclasses import dataclass, field

from composer.viewer.session.fitting import Fitting
from composer.viewer.session.painting import Painting
from composer.viewer.session.stage import Stage
from composer.viewer.session.trying import Trying


@dataclass
class GaugeReading:
    """What the gauge shows while it is held: the cell, its weight before and now, and where it stands (window
    points)."""

    key: tuple[str, str, bool] | None = None
    before: float = 0.0
    weight: float = 0.0
    x: float = 0.0
    y: float = 0.0


@dataclass
class PullReading:
    """What is drawn while a place is pulled: whether it is `held`, the `goal` under the pointer and what of the way was
    `reached` (window points), and `words` where it does not arrive."""

    held: bool = False
    goal: tuple[float, float] = (0.0, 0.0)
    reached: tuple[float, float] = (0.0, 0.0)
    words: str = ""


@dataclass
class Desk:
    """One window's own."""

    stage: Stage
    trying: Trying = field(default_factory=Trying)
    painting: Painting = field(default_factory=Painting)
    fitting: Fitting = field(default_factory=Fitting)
    gauge: GaugeReading = field(default_factory=GaugeReading)
    pulling: PullReading = field(default_factory=PullReading)
