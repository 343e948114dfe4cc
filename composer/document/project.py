"""A document in memory: a head's place, its regions and its recipes; frozen, sharing what does not change."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from numpy.typing import NDArray

from composer.errors import unknown
from composer.mixing.recipe import ALL, REMAINDER, Recipe
from masks.partition import FACE

VERSION = 1
RESERVED = (ALL, REMAINDER)


@dataclass(frozen=True)
class Region:
    """A named part of the face: `source` is the table of the document that says where its mask comes from
    (`from`, and what that needs), `set` whom it shares with, `locked` whether it keeps its raw mask."""

    name: str
    source: Mapping[str, Any]
    set: str = FACE
    locked: bool = False


@dataclass(frozen=True)
class Project:
    """A document: `head_path` as written, resolved beside the document; `unit` and `neutral` where said;
    `topology` the fingerprint or ""; `shapes` says which targets are in-betweens of which shape, and which shapes
    turn; `levels` where the same library lives at finer levels; `stored` the masks (n,) that a `.moue` file holds,
    by their place in it; `text` the document as it was read, so that its comments live on when it is saved."""

    path: Path
    head_path: Path
    unit: str | None = None
    neutral: str | None = None
    topology: str = ""
    regions: tuple[Region, ...] = ()
    recipes: tuple[Recipe, ...] = ()
    parts: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    shapes: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    levels: Mapping[int, Path] = field(default_factory=dict)
    stored: Mapping[str, NDArray] = field(default_factory=dict)
    text: str = ""

    def recipe(self, name: str) -> Recipe:
        """The recipe of this name. Raises MoueError with the nearest names."""
        for recipe in self.recipes:
            if recipe.name == name:
                return recipe
        raise unknown("recipe", name, [r.name for r in self.recipes], self.path)

    def with_(self, **changes: object) -> Project:
        """A project with some fields replaced."""
        return replace(self, **changes)  # type: ignore[arg-type]
