"""Names and cells of the other side: brow_left and brow_right, left.brow, browLeft, brow_L."""

from __future__ import annotations

import re
from collections.abc import Collection

from composer.mixing.recipe import Cell

LETTER = r"[^\W\d_]"
_WORDS = re.compile(
    rf"(?<!{LETTER})(?:left|right|Left|Right|LEFT|RIGHT)(?!{LETTER})|(?<=[a-z])(?:Left|Right)(?![a-z])"
    rf"|(?<!{LETTER})[LR](?!{LETTER})"
)
_OTHER = {"left": "right", "Left": "Right", "LEFT": "RIGHT", "L": "R"}
_OTHER |= {right: left for left, right in _OTHER.items()}


def other_side(name: str) -> str | None:
    """The name with left and right swapped wherever they are separate words; None if there is neither.

    Applied twice it gives the name back.
    """
    turned = _WORDS.sub(lambda found: _OTHER[found[0]], name)
    return turned if turned != name else None


def partner(name: str, names: Collection[str]) -> str | None:
    """The name of the other side where both are among `names`, else None."""
    other = other_side(name)
    return other if other is not None and other in names and name in names else None


def mirror_cell(cell: Cell, regions: Collection[str], shapes: Collection[str]) -> Cell:
    """The mirror image of a cell, with the same weight.

    Region and shape are replaced by their partners among `regions` and `shapes`. A shape without a partner is
    mirrored, and a mirrored one unmirrored. Applied twice it gives the cell back.
    """
    region = partner(cell.region, regions) or cell.region
    shape = partner(cell.shape, shapes)
    if shape is not None:
        return Cell(region, shape, cell.weight, cell.mirrored)
    return Cell(region, cell.shape, cell.weight, not cell.mirrored)


def linked(cell: Cell, regions: Collection[str], shapes: Collection[str], mirror_shapes: bool = False) -> Cell | None:
    """The cell to set together with this one when sides are linked: its partner on the other side, or None.

    A shape without a partner is used as it is, which is right for a symmetric shape; with `mirror_shapes` it is
    mirrored, which needs a symmetric head. A cell without a side has no partner.
    """
    other = mirror_cell(cell, regions, shapes)
    if other.shape == cell.shape and other.region == cell.region:
        return None
    if other.shape == cell.shape and not mirror_shapes:
        return Cell(other.region, other.shape, other.weight, cell.mirrored)
    return other
