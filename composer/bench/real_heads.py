"""The real library that measures read, and other people's neutrals on its topology.

`MOUE_REAL` names the folder that holds `library_a/` with `library_a.tar.xz`, `landmarks.toml` and
`earlier_heads.npz`.
"""

from __future__ import annotations

import os
import tarfile
import tempfile
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.formats.library import open_library
from composer.head.head import Head
from composer.head.landmarks import read_landmarks
from composer.head.parts import with_recognised_parts

UNIT_MM = 10.0
"""The library's own files are in cm."""


def real_heads(measure: str) -> tuple[Head, NDArray[np.float64]]:
    """The library, its parts found and its own landmarks on it, and the neutrals (h, n, 3) mm of other people.

    Raises MoueError where MOUE_REAL names no such library; `measure` is what is left out then.
    """
    named = os.environ.get("MOUE_REAL", "")
    folder = Path(named) / "library_a"
    if not named or not (folder / "library_a.tar.xz").is_file():
        raise MoueError(f"{measure} is left out: MOUE_REAL names no folder that holds library_a/library_a.tar.xz")
    with tempfile.TemporaryDirectory() as place:
        with tarfile.open(folder / "library_a.tar.xz") as tar:
            tar.extractall(place, filter="data")
        files = next(iter(Path(place).rglob("*.obj"))).parent
        head = with_recognised_parts(open_library(files, recognise=False))
    head = head.with_(landmarks=read_landmarks(folder / "landmarks.toml", UNIT_MM))
    return head, np.load(folder / "earlier_heads.npz")["heads"].astype(np.float64) * UNIT_MM
