"""Which way the files of a head stand, told from the head's own frame."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.head.axes import FileAxes
from composer.head.coarse_head import seen_coarse
from composer.head.head import Head
from composer.head.understand.anatomy import anatomy_of


def found_axes(head: Head) -> tuple[FileAxes | None, str]:
    """How a head, read as its files stand, stands in them, and a sentence on it; None and "" where it stands as Moue
    does, or where form and motion do not tell: a head without shapes, eyes and mouth is left as it is.

    Motion does not tell how far a head nods. Where it stands askew, eyes at rest are taken to look level.
    """
    if not head.shapes:
        return None, ""
    anatomy = anatomy_of(seen_coarse(head))
    frame = anatomy.frame
    if frame.as_the_file or not frame.sure:
        return None, ""
    evidence, rows = frame.evidence, frame.axes
    if not frame.along_the_file and anatomy.gaze.seen:
        rows, evidence = _by_gaze(rows, anatomy.gaze.axes), (*evidence, "the eyes look ahead")
    axes, why = FileAxes.of_rows(rows), "; ".join(evidence)
    return axes, (
        f"In the files {axes.words} ({why}): Moue turns the head upright, and writes files back as they came. "
        "Say otherwise with up and ahead in library.toml or in the document."
    )


def _by_gaze(rows: NDArray[np.float64], axes: tuple[NDArray[np.float64], ...]) -> NDArray[np.float64]:
    """(3, 3) the frame `rows`, nodded about its left so that the mean of the eyes' `axes` lies level."""
    left = rows[0]
    ahead = np.mean(axes, axis=0)
    ahead = ahead - (ahead @ left) * left
    ahead /= np.linalg.norm(ahead)
    return np.stack([left, np.cross(ahead, left), ahead])
