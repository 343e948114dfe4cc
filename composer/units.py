"""Units of length: millimetres inside, whatever the files say at the boundary."""

from __future__ import annotations

from composer.errors import MoueError, nearest

MM_PER_UNIT: dict[str, float] = {"mm": 1.0, "cm": 10.0, "dm": 100.0, "m": 1000.0, "in": 25.4, "ft": 304.8}

# A head and neck as sculpted measures 250 to 600 mm across its bounding box (head length 190 mm, head breadth
# 150 mm, head height about 230 mm, plus neck and perhaps shoulders; common practice, no source).
HEAD_DIAGONAL_MM = (200.0, 1000.0)


def mm_per(unit: str, where: str | None = None) -> float:
    """Millimetres in one `unit`. Raises MoueError for an unknown one."""
    if unit not in MM_PER_UNIT:
        raise MoueError(f"unit {unit!r} is not known", where=where, hint=nearest(unit, MM_PER_UNIT))
    return MM_PER_UNIT[unit]


def guess_unit(diagonal: float) -> str | None:
    """The unit in which a head with this bounding-box diagonal (in its file's unit, > 0) has a human size.

    Tried in the order mm, cm, m, dm, in; None where no unit gives a plausible head. Advisory: say it.

    >>> guess_unit(42.0), guess_unit(0.42), guess_unit(420.0)  # a head of 420 mm, in three units
    ('cm', 'm', 'mm')
    """
    low, high = HEAD_DIAGONAL_MM
    for unit in ("mm", "cm", "m", "dm", "in"):
        if low <= diagonal * MM_PER_UNIT[unit] < high:
            return unit
    return None
