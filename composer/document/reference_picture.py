"""A reference picture that a document lays under or over the view of its head: the table [references.NAME].

Its place is on the view and not in space: the head is turned and brought nearer before it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from composer.document.kept_view import check_plain_name
from composer.document.values import Values

KEYS = ("file", "opacity", "over", "middle", "height", "hidden")
OPACITY = 0.6
"""How opaque a picture is unless said otherwise (our choice)."""
FURTHEST = 10.0
"""How many heights of the view a picture may lie from its middle (a safety limit)."""
LEAST, MOST = 0.02, 20.0
"""The least and the largest height of a picture, in heights of the view (safety limits)."""


@dataclass(frozen=True)
class ReferencePicture:
    """The picture in `file`, a path from the document's folder, by `name`: how opaque it is (`opacity`, 0 to 1),
    whether it lies `over` the head in place of behind it, where its `middle` lies from that of the view (right, up)
    and how high it is, both in heights of the view, and whether it is `hidden` for now."""

    name: str
    file: str
    opacity: float = OPACITY
    over: bool = False
    middle: tuple[float, float] = (0.0, 0.0)
    height: float = 1.0
    hidden: bool = False


def references_of(whole: Values) -> tuple[ReferencePicture, ...]:
    """The reference pictures of a document. Raises MoueError as `reference_of`, and for a name that is no plain one."""
    tables = whole.tables("references")
    for name in tables:
        check_plain_name(name, "reference", whole.path)
    return tuple(reference_of(name, each) for name, each in tables.items())


def reference_of(name: str, said: Values) -> ReferencePicture:
    """The picture in the table [references.NAME]. Raises MoueError where it names no file, or its values are out of
    range or of another kind."""
    said.only(KEYS)
    file = said.text("file")
    if file is None:
        raise said.error("names no file", 'add file = "PICTURE.png"')
    across, up = said.numbers("middle", 2, -FURTHEST, FURTHEST) if "middle" in said.table else (0.0, 0.0)
    return ReferencePicture(
        name, file, said.number("opacity", OPACITY, 0.0, 1.0), said.flag("over"), (across, up),
        said.number("height", 1.0, LEAST, MOST), said.flag("hidden"),
    )  # fmt: skip


def reference_table(held: ReferencePicture) -> dict[str, Any]:
    """The table of a reference picture, without what it leaves as it is by default."""
    table: dict[str, Any] = {"file": held.file, "opacity": held.opacity}
    if held.over:
        table["over"] = True
    table |= {"middle": list(held.middle), "height": held.height}
    return table | ({"hidden": True} if held.hidden else {})
