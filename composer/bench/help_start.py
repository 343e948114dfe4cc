"""`moue --help` from nothing, beside a Python that starts and does nothing."""

from __future__ import annotations

import subprocess
import sys

from composer.bench.measure import Row, measure

CODE = "from composer.cli.main import main; main(['--help'])"


def rows() -> list[Row]:
    """At most 300 ms."""

    def python(code: str) -> object:
        return subprocess.run([sys.executable, "-c", code], capture_output=True, check=True)

    return [
        measure(
            "moue --help", lambda: python(CODE), "an empty Python", lambda: python("pass"), repeats=7, most_ms=300.0
        )
    ]
