"""What a check is: a name, why it matters, and a function that yields findings."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from composer.checks.finding import Finding
from composer.checks.subject import CheckSubject


@dataclass(frozen=True)
class Check:
    """One check: `name` (its findings' codes begin with it), `title` and `why` in words, and `run`."""

    name: str
    title: str
    why: str
    run: Callable[[CheckSubject], Iterator[Finding]]
