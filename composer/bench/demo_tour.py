"""The whole demo written to a scratch folder, beside building its head alone."""

from __future__ import annotations

import tempfile
from pathlib import Path

from composer.bench.measure import Row, measure
from composer.demo.character import character
from composer.demo.neutral import build_neutral
from composer.demo.tour import tour


def rows() -> list[Row]:
    """At most a minute."""

    def write_all() -> None:
        with tempfile.TemporaryDirectory(prefix="moue-bench-") as folder:
            tour(Path(folder) / "demo", lambda done, words: None)

    return [
        measure(
            "moue demo --to DIR", write_all, "the neutral head alone", lambda: build_neutral(character("keeper")),
            repeats=2, warm=0, most_ms=60_000.0,
        )
    ]  # fmt: skip
