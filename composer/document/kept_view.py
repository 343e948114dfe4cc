"""A view that a document keeps: the table [views.NAME], read and written.

It says from where the head is seen, and what of it, in angles and in shares of the head's own box: so it shows the same
place of another head, and of this one at another size.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from composer.document.values import Values
from composer.errors import MoueError, shorten
from composer.head.named_views import VIEWS

LONGEST = 80
"""The most letters of a view's name (our choice)."""
RANGES = {"around_deg": 180.0, "above_deg": 90.0, "tilt_deg": 180.0}
FURTHEST = 50.0
"""How many of the box's sides the middle may lie away from the head (a safety limit)."""
LEAST, MOST = 1e-3, 100.0
"""The least and the largest height of a picture, in diagonals of the head's box (safety limits)."""


@dataclass(frozen=True)
class KeptView:
    """A view by `name`. The eye lies `around_deg` from the front towards the subject's left and `above_deg` up, and is
    turned by `tilt_deg` against the clock about where it looks. The `middle` of the picture lies so many sides of the
    head's box from that box's middle (x, y, z; 0.5 is a side of the box), and the picture is `height` diagonals of the
    box high there."""

    name: str
    around_deg: float = 0.0
    above_deg: float = 0.0
    tilt_deg: float = 0.0
    middle: tuple[float, float, float] = (0.0, 0.0, 0.0)
    height: float = 1.0


KEYS = tuple(field.name for field in fields(KeptView))[1:]


def views_of(whole: Values) -> tuple[KeptView, ...]:
    """The views of a document. Raises MoueError as `view_of`, and for a name that a view may not have."""
    tables = whole.tables("views")
    for name in tables:
        check_view_name(name, whole.path)
    return tuple(view_of(name, each) for name, each in tables.items())


def view_of(name: str, said: Values) -> KeptView:
    """The view in the table [views.NAME]. Raises MoueError where its values are out of range or of another kind."""
    said.only(KEYS)
    around, above, tilt = (said.number(key, 0.0, -most, most) for key, most in RANGES.items())
    x, y, z = said.three("middle") if "middle" in said.table else [0.0, 0.0, 0.0]
    if max(abs(x), abs(y), abs(z)) > FURTHEST:
        raise said.error(f"has a middle further than {FURTHEST:g} sides of the head's box from the head")
    return KeptView(name, around, above, tilt, (x, y, z), said.number("height", 1.0, LEAST, MOST))


def check_plain_name(name: str, kind: str, path: Path | None = None) -> None:
    """Raises MoueError for a name of a `kind` of thing that is empty, too long, or of more than one line. No file is
    named after it."""
    if not name.strip() or name != name.strip() or not name.isprintable():
        raise MoueError(f"a {kind} may not be named {shorten(repr(name), 40)}", path, hint="give it plain words")
    if len(name) > LONGEST:
        raise MoueError(f"the name of {kind} {shorten(repr(name), 40)} is too long", path, hint=f"{LONGEST} letters do")


def check_view_name(name: str, path: Path | None = None) -> None:
    """Raises MoueError as `check_plain_name`, and for the name of a view that every head has."""
    check_plain_name(name, "view", path)
    if name in VIEWS:
        raise MoueError(f"a view may not be named {name!r}", path, hint="every head has a view of that name")


def view_table(view: KeptView) -> dict[str, Any]:
    """The table of a view, without a tilt that there is not."""
    table: dict[str, Any] = {"around_deg": view.around_deg, "above_deg": view.above_deg}
    if view.tilt_deg:
        table["tilt_deg"] = view.tilt_deg
    return table | {"middle": list(view.middle), "height": view.height}
