"""The keys `join`, `halo` and `contact`, which recipes and clips say in the same way."""

from __future__ import annotations

from typing import Any

from composer.document.values import Values
from composer.errors import unknown
from composer.mixing.clip import Clip
from composer.mixing.recipe import HALO, Recipe

JOINS = ("linear", "seamless")


def join_of(said: Values) -> str:
    """The join that a table says, linear unless said. Raises MoueError for one that is not known."""
    join = said.text("join") or "linear"
    if join not in JOINS:
        raise unknown("join", join, JOINS, said.path)
    return join


def join_keys(mixed: Recipe | Clip) -> dict[str, Any]:
    """The three keys, without what they leave as it is by default."""
    said: dict[str, Any] = {}
    if mixed.join != "linear":
        said["join"] = mixed.join
    if mixed.halo != HALO:
        said["halo"] = mixed.halo
    if mixed.contact:
        said["contact"] = True
    return said
