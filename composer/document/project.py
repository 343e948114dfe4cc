"""A document in memory: a head's place, its regions and its recipes; frozen, sharing what does not change."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from numpy.typing import NDArray

from composer.errors import unknown
from composer.head.places import Place
from composer.mixing.corrective import Corrective
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
    `topology` the fingerprint or ""; `shapes` says which targets are in-betweens of which shape, which shapes turn,
    how they are shown, and which were kept from a pose; `levels` where the same library lives at finer levels;
    `stored` the masks (n,) and kept shapes (n, 3) in mm that a `.moue` file holds, by their place in it; `text` the
    document as it was read, so that its comments live on when it is saved; `landmarks` the points (at a vertex, or
    on a triangle) that the document adds to the head's own, or puts in their place; `curves` the same for landmark
    curves, as vertices in order; `correctives` the shapes that come
    in by the cells that trigger them."""

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
    landmarks: Mapping[str, Place] = field(default_factory=dict)
    curves: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    correctives: tuple[Corrective, ...] = ()

    def region(self, name: str) -> Region:
        """The region of this name. Raises MoueError with the nearest names."""
        for region in self.regions:
            if region.name == name:
                return region
        raise unknown("region", name, [r.name for r in self.regions], self.path)

    def recipe(self, name: str) -> Recipe:
        """The recipe of this name. Raises MoueError with the nearest names."""
        for recipe in self.recipes:
            if recipe.name == name:
                return recipe
        raise unknown("recipe", name, [r.name for r in self.recipes], self.path)

    def with_(self, **changes: object) -> Project:
        """A project with some fields replaced."""
        return replace(self, **changes)  # type: ignore[arg-type]
