"""The fit: planted maps (`fit_planted`), and where `MOUE_REAL` is set people whose true form is known (`fit_real`)."""

from __future__ import annotations

import os

from composer.bench import fit_planted, fit_real
from composer.bench.measure import Row


def rows() -> list[Row]:
    """The rows of both. Raises MoueError where MOUE_REAL is set and names no such library."""
    return [*fit_planted.rows(), *(fit_real.rows() if os.environ.get("MOUE_REAL") else [])]
