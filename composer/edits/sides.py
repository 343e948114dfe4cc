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
    """The name with left and right turned round wherever they stand as words of their own; None where neither does.

    Twice gives the name back.
    """
    turned = _WORDS.sub(lambda found: _OTHER[found[0]], name)
    return turned if turned != name else None


def partner(name: str, names: Collection[str]) -> str | None:
    """The name of the other side where both are among `names`, else None."""
    other = other_side(name)
    return other if other is not None and other in names and name in names else None


def mirror_cell(cell: Cell, regions: Collection[str], shapes: Collection[str]) -> Cell:
    """The cell that does on the other side what this one does here, of the same weight.

    Region and shape go over to their partner among `regions` and `shapes`; a shape without one comes as its mirror
    image, and a mirrored one as itself. Twice gives the cell back.
    """
    region = partner(cell.region, regions) or cell.region
    shape = partner(cell.shape, shapes)
    if shape is not None:
        return Cell(region, shape, cell.weight, cell.mirrored)
    return Cell(region, cell.shape, cell.weight, not cell.mirrored)


def linked(
    cell: Cell, regions: Collection[str], shapes: Collection[str], mirror_shapes: bool = False
) -> Cell | None:
    """The cell to set along with this one where sides are linked: its partner on the other side, None without one.

    A shape that has no partner of its own goes over as it is, which is right for one that is alike on both sides;
    with `mirror_shapes` as its mirror image, which needs a symmetric head. A cell without a side has no partner.
    """
    other = mirror_cell(cell, regions, shapes)
    if other.shape == cell.shape and other.region == cell.region:
        return None
    if other.shape == cell.shape and not mirror_shapes:
        return Cell(other.region, other.shape, other.weight, cell.mirrored)
    return other
