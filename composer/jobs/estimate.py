"""How long a job takes, and how much memory a head: a first guess, which the heads that are done make better."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from composer.jobs.job import JobHead


@dataclass(frozen=True)
class Size:
    """What the work grows with: vertices of the head, shapes, recipes."""

    vertices: int
    shapes: int
    recipes: int


@dataclass
class Estimate:
    """Seconds by step, for heads of a `size`. `faster` says by step how many times as long as guessed it took."""

    size: Size
    taken: dict[str, float] = field(default_factory=dict)
    guessed: dict[str, float] = field(default_factory=dict)

    def seconds(self, head: JobHead, step: str) -> float:
        """How long a step of a head is likely to take."""
        known = self.taken.get(step)
        times = 1.0 if known is None else known / max(self.guessed[step], 1e-9)
        return times * _guess(self.size, head, step)

    def learn(self, head: JobHead, seconds: Mapping[str, float]) -> None:
        """Take in how long the steps of a head have taken."""
        for step, each in seconds.items():
            self.taken[step] = self.taken.get(step, 0.0) + each
            self.guessed[step] = self.guessed.get(step, 0.0) + _guess(self.size, head, step)

    @property
    def bytes(self) -> int:
        """How much memory one head is likely to need, until one is done."""
        return int(3e8 + self.size.vertices * (1.6e4 + 60.0 * self.size.shapes))


def _guess(size: Size, head: JobHead, step: str) -> float:
    """Seconds of processor time, as measured on one machine with two heads of 10,000 and 27,000 vertices."""
    n = size.vertices / 1e4
    level = head.setting(step, "level")
    finer = 4.0 ** (level if isinstance(level, int) else 1 if step == "fit" else 0)
    return {
        "fit": 6.0 + n * (4.0 + 0.5 * finer) + _megabytes(head.sculpt),
        "carry": 4.0 + 0.5 * n * size.shapes,
        "check": 6.0 + 0.5 * n * max(size.recipes, 1),
        "bake": 0.5 + 0.1 * n * finer * (size.recipes + 1),
        "sheet": 1.0 + 0.35 * max(size.recipes, 1),
        "clip": 2.0 + 2.0 * n * finer,
    }[step]


def _megabytes(file: Path | None) -> float:
    try:
        return 0.0 if file is None else file.stat().st_size / 1e6
    except OSError:
        return 0.0
