"""A picture in texture coordinates read as a region's mask, and a mask copied from one region to another."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.document.mask_file import read_picture
from composer.document.project import Project
from composer.edits.regions import set_mask
from composer.errors import MoueError
from composer.head.head import Head
from masks.from_image import from_image


def mask_of_picture(head: Head, path: Path) -> tuple[NDArray[np.float64], int]:
    """(n,) in [0, 1], white is 1, and how many vertices of the skin have no place on the picture (they get 0).

    Raises MoueError for a file that is no picture, a head without texture coordinates, and a picture on which no
    vertex of the skin has a place.
    """
    if head.uv is None:
        raise MoueError("the head has no texture coordinates", head.path, hint="a picture needs them to find its place")
    mask, placed = from_image(head.polygons, read_picture(path), head.uv.uv, head.uv.indices)
    lost = int((~placed & head.skin).sum())
    if lost == int(head.skin.sum()):
        raise MoueError("no vertex of the skin has a place on a picture", head.path)
    return np.where(head.skin, mask, 0.0), lost


def copy_mask(project: Project, name: str, to: str, values: NDArray) -> Project:
    """The project with the raw mask `values` (n,) of region `name` as that of region `to` too.

    Raises MoueError for unknown regions, the same one twice, and one that is locked.
    """
    project.region(name)
    if name == to:
        raise MoueError(f"region {name!r} cannot be copied onto itself", project.path)
    if project.region(to).locked:
        raise MoueError(f"region {to!r} is locked", project.path, hint="unlock it to give it another mask")
    return set_mask(project, to, values)
