"""The real library that measures read, and other people's neutrals on its topology.

`MOUE_REAL` names the folder that holds `library_a/` with `library_a.tar.xz`, `landmarks.toml` and
`earlier_heads.npz`.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.bench.real_files import ARCHIVE, real_files
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
    with real_files(f"{measure} is left out") as files:
        head = with_recognised_parts(open_library(files, recognise=False))
    folder = Path(os.environ["MOUE_REAL"]) / ARCHIVE.parent
    head = head.with_(landmarks=read_landmarks(folder / "landmarks.toml", UNIT_MM))
    return head, np.load(folder / "earlier_heads.npz")["heads"].astype(np.float64) * UNIT_MM
