"""Writes a demo library as a folder of OBJ targets: `neutral.obj`, one file a shape, and `landmarks.toml`.

An in-between goes beside its shape as `NAME_50.obj`, the share of the whole in percent. Recorded head motions of
the expressions go to `head_motion.csv`, so that found motions can be compared with them.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from composer.demo.expressions import EXPRESSIONS, HeadMotion
from composer.formats.mesh import mesh_of
from composer.formats.obj import write
from composer.head.atomic import write_whole
from composer.head.folders import make_folder
from composer.head.head import Head, Shape
from composer.head.landmarks import write_landmarks
from composer.progress import Progress


def inbetween_name(shape: str, at: float) -> str:
    """The file name, without suffix, of a shape's in-between: `joy_50` for joy at 0.5."""
    return f"{shape}_{round(100 * at)}"


def write_library(folder: Path | str, head: Head, unit: str = "mm", progress: Progress | None = None) -> list[Path]:
    """Write the neutral, every shape and in-between, landmarks and head motions; the paths written, neutral first.

    Positions are in `unit`. Raises MoueError where the folder cannot be made or written, or the unit is unknown.
    """
    folder = Path(folder)
    make_folder(folder)
    paths = [folder / "neutral.obj"]
    write(paths[0], mesh_of(head, unit=unit))
    for done, shape in enumerate(head.shapes):
        if progress is not None:
            progress(done / len(head.shapes), f"writing {shape.name}")
        paths += _write_shape(folder, head, shape, unit)
    if head.landmarks is not None:
        paths.append(folder / "landmarks.toml")
        write_landmarks(paths[-1], head.landmarks)
    paths.append(folder / "head_motion.csv")
    write_whole(paths[-1], lambda file: file.write(_motions(head).encode()))
    return paths


def _write_shape(folder: Path, head: Head, shape: Shape, unit: str) -> list[Path]:
    files = [(shape.name, shape.delta)]
    files += [(inbetween_name(shape.name, between.at), between.delta) for between in shape.inbetweens]
    for name, delta in files:
        write(folder / f"{name}.obj", mesh_of(head, head.neutral + delta, unit=unit))
    return [folder / f"{name}.obj" for name, _ in files]


def _motions(head: Head) -> str:
    rows = ["shape," + ",".join(f"m{i}{j}" for i in range(3) for j in range(4))]
    for each in EXPRESSIONS:
        if each.motion != HeadMotion() and each.name in head.shape_index:
            rows.append(each.name + "," + ",".join(f"{v:.9g}" for v in np.ravel(each.motion.matrix()[:3])))
    return "\n".join(rows) + "\n"
