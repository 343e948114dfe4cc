"""A document in memory: its head's path, regions and recipes; frozen, so that versions share what does not change."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, TypeVar

from numpy.typing import NDArray

from composer.document.kept_view import KeptView
from composer.document.reference_picture import ReferencePicture
from composer.errors import unknown
from composer.head.axes import FileAxes
from composer.head.places import Place
from composer.mixing.clip import Clip
from composer.mixing.corrective import Corrective
from composer.mixing.recipe import ALL, REMAINDER, Recipe
from masks.partition import FACE

VERSION = 1
RESERVED = (ALL, REMAINDER)


@dataclass(frozen=True)
class Region:
    """A named part of the face. `source` is the table of the document that defines its mask (`from`, and its keys),
    `set` the set of regions with which it shares, `locked` whether it keeps its raw mask. `number` (from 1) and
    `colour` (from 1 to HUES) are the signs by which it is known on screen and in pictures; None until they are kept
    (`composer.document.region_signs`)."""

    name: str
    source: Mapping[str, Any]
    set: str = FACE
    locked: bool = False
    number: int | None = None
    colour: int | None = None


Named = TypeVar("Named", Region, Recipe, Clip, KeptView, ReferencePicture)


@dataclass(frozen=True)
class EarlierFile:
    """The file of an earlier head on the document's topology: a mesh, or a library of one file, of which the neutral is
    taken. `unit` is that of a file that does not state its own, by default the head's."""

    path: Path
    unit: str | None = None


@dataclass
class OnDisk:
    """What a document's files were when they were opened, or written last by what was opened then: SHA-256 in hex, by
    path. All versions of a project that come of one opening share it."""

    hashes: dict[Path, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Project:
    """A document.

    `head_path` is resolved from the document's folder; `unit`, `neutral` and `axes` (how the head stands in its files)
    are None where not given; `topology` is the fingerprint or "". `shapes` holds by name in-betweens, hinges, how a
    shape is shown, and shapes kept from a pose. `levels` are the folders of the same library at finer levels. `earlier`
    are heads on the same topology that the document knows by name, such as those that it had before
    (`composer.document.earlier_heads`). `stored` holds masks (n,) and kept shapes (n, 3) in mm of a `.moue` file, by
    their place in it. `text` is the document as read, so that a save keeps its comments. `landmarks` are points (at a
    vertex, or on a triangle) that add to the head's own or replace them; `curves` are landmark curves, as vertices in
    order; `guesses` are the names of those that Moue guessed and nobody has looked at. `correctives` are shapes with
    the cells that trigger them. `clips` are weights over time, `views` those that it keeps of its head, `references`
    pictures that lie under or over the view. `on_disk` tells whether somebody else has written the file since."""

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
    earlier: Mapping[str, EarlierFile] = field(default_factory=dict)
    stored: Mapping[str, NDArray] = field(default_factory=dict)
    text: str = ""
    landmarks: Mapping[str, Place] = field(default_factory=dict)
    curves: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    guesses: frozenset[str] = frozenset()
    correctives: tuple[Corrective, ...] = ()
    axes: FileAxes | None = None
    clips: tuple[Clip, ...] = ()
    views: tuple[KeptView, ...] = ()
    references: tuple[ReferencePicture, ...] = ()
    on_disk: OnDisk = field(default_factory=OnDisk, compare=False, repr=False)

    def region(self, name: str) -> Region:
        """The region of this name. Raises MoueError with the nearest names."""
        return self._named("region", self.regions, name)

    def recipe(self, name: str) -> Recipe:
        """The recipe of this name. Raises MoueError with the nearest names."""
        return self._named("recipe", self.recipes, name)

    def clip(self, name: str) -> Clip:
        """The clip of this name. Raises MoueError with the nearest names."""
        return self._named("clip", self.clips, name)

    def view(self, name: str) -> KeptView:
        """The kept view of this name. Raises MoueError with the nearest names."""
        return self._named("view", self.views, name)

    def reference(self, name: str) -> ReferencePicture:
        """The reference picture of this name. Raises MoueError with the nearest names."""
        return self._named("reference", self.references, name)

    def _named(self, what: str, held: Sequence[Named], name: str) -> Named:
        for each in held:
            if each.name == name:
                return each
        raise unknown(what, name, [each.name for each in held], self.path)

    def with_(self, **changes: object) -> Project:
        """A project with some fields replaced."""
        return replace(self, **changes)  # type: ignore[arg-type]
