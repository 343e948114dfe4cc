"""What became of one head of a job."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from composer.jobs.record import Found

State = Literal["done", "unchanged", "failed", "left out", "to do"]
Kind = Literal["failed", "stopped by findings", "done", "unchanged"]


@dataclass(frozen=True)
class HeadResult:
    """By step what became of it, in order, and what it found. Where a step failed, `at` names it and `why` says why;
    where findings ended the head, `at` names the step and `stopped` is true. `seconds` by step and the most `bytes` of
    memory that the head needed are for estimates alone, and are written nowhere."""

    name: str
    states: Mapping[str, State]
    found: Mapping[str, Sequence[Found]] = field(default_factory=dict)
    at: str = ""
    why: str | None = None
    stopped: bool = False
    seconds: Mapping[str, float] = field(default_factory=dict)
    bytes: int = 0

    @property
    def kind(self) -> Kind:
        """What became of the head as a whole."""
        if self.why is not None:
            return "failed"
        if self.stopped:
            return "stopped by findings"
        return "unchanged" if all(state == "unchanged" for state in self.states.values()) else "done"
