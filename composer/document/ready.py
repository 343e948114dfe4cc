"""A document with its head open: raw masks made from their sources, shared, and ready to mix."""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from composer.document.hinges import hinges_of
from composer.document.masks_of import MaskSources, group_of
from composer.document.project import Project
from composer.document.values import Values
from composer.errors import MoueError, unknown
from composer.formats.library import open_library
from composer.head.fingerprint import fingerprint
from composer.head.head import FOLLOWS, Head, InBetween, Part, Shape
from composer.head.symmetry import mirror_map
from composer.mixing.hinge import Hinge
from composer.mixing.linear import Mixer
from composer.mixing.recipe import REMAINDER, Recipe
from composer.progress import Progress
from composer.units import mm_per
from masks.partition import effective_masks, remainder


class Ready:
    """A project, its head, and what its recipes need. Raises MoueError for whatever does not fit together."""

    def __init__(self, project: Project, head: Head) -> None:
        self.project, self.head = project, head
        self._sources = MaskSources(project, head)
        self.notes: list[str] = self._sources.notes
        self.notes += head.notes
        own = fingerprint(head.polygons)
        if project.topology and project.topology != own:
            raise MoueError(
                f"was made for topology {project.topology[:8]}, its head is {own[:8]}", project.path,
                mend="its masks would land elsewhere",
            )  # fmt: skip
        if not project.topology and project.regions:
            self.notes.append("The document carries no topology; its masks are taken on trust.")

    @classmethod
    def open(cls, project: Project, progress: Progress | None = None) -> Ready:
        """Open the project's head, with the parts that the document declares, or those it is found to have."""
        said = project.parts
        if project.unit is not None:
            mm_per(project.unit, str(project.path))
        place, neutral = project.head_path, project.neutral
        head = open_library(place, neutral, project.unit, progress=progress, recognise=not said)
        tables = {name: Values(table, project.path, f"part {name!r}") for name, table in said.items()}
        parts = tuple(_part(table, name, head) for name, table in tables.items())
        head = _with_inbetweens(head.with_(parts=parts) if parts else head, project)
        ready = cls(project, head)
        try:
            _ = ready.effective, ready.hinges  # told now, whether a recipe uses them or not
        except MoueError as error:
            raise error.at(project.path) from None
        return ready

    @cached_property
    def raw(self) -> dict[str, NDArray[np.float64]]:
        """(n,) the raw mask of each region."""
        return {region.name: self._sources.of(region) for region in self.project.regions}

    @cached_property
    def effective(self) -> dict[str, NDArray[np.float64]]:
        """(n,) the effective mask of each region, and of `remainder`."""
        regions = self.project.regions
        sets = [region.set for region in regions]
        shared = effective_masks(list(self.raw.values()), [r.locked for r in regions], sets)
        rest = remainder(shared, sets, self.head.n_vertices)
        return dict(zip(self.raw, shared, strict=True)) | {REMAINDER: rest}

    @cached_property
    def mixer(self) -> Mixer:
        """The head with its masks, ready to mix."""
        return Mixer(self.head, self.effective, mirror=self.mirror, hinges=self.hinges)

    @cached_property
    def hinges(self) -> dict[str, Hinge]:
        """The hinge of each shape that the document says turns; one said as "auto" is estimated here."""
        return hinges_of(self.project, self.head)

    @cached_property
    def mirror(self) -> NDArray[np.int32] | None:
        """(n,) the mirror map, where a recipe has mirrored cells."""
        if not any(cell.mirrored for recipe in self.project.recipes for cell in recipe.cells):
            return None
        return mirror_map(self.head.neutral)

    def check(self, recipe: Recipe) -> None:
        """Raises MoueError, with the document's path, where a recipe cannot be mixed: a join that is not built yet,
        a region or shape that is not there, a shape that is an in-between of another.
        """
        path = self.project.path
        if recipe.join != "linear":
            raise MoueError(
                f"recipe {recipe.name!r}: the join {recipe.join!r} is not built yet", path, mend='use join = "linear"'
            )
        for cell in recipe.cells:
            if cell.shape in self._between:
                name, at = self._between[cell.shape]
                mend = f"use {name!r} at weight {at}"
                raise MoueError(f"{cell.shape!r} is an in-between of {name!r}", path, mend=mend)
            if cell.shape not in self.head.shape_index:
                raise unknown("shape", cell.shape, self.head.shape_names, path)
        try:
            self.mixer.shares(recipe)
        except MoueError as error:
            raise error.at(path) from None

    def pose(self, recipe: Recipe, strength: float | None = None) -> NDArray[np.float64]:
        """(n, 3) mm, the pose of a recipe, at its own strength or another. Raises MoueError as `check`."""
        self.check(recipe)
        return self.mixer.pose(recipe, strength)

    @cached_property
    def _between(self) -> dict[str, tuple[str, float]]:
        """The shape and the weight of each target that the document names as an in-between."""
        said = self.project.shapes.items()
        return {each["target"]: (name, each["at"]) for name, own in said for each in own.get("inbetweens", [])}


def _with_inbetweens(head: Head, project: Project) -> Head:
    """The head with the targets that the document names as in-betweens put into their shapes."""
    held = {shape.name: shape for shape in head.shapes}
    used: set[str] = set()
    for name, said in project.shapes.items():
        entries = sorted(said.get("inbetweens", []), key=lambda entry: float(entry["at"]))
        between = []
        for entry in entries:
            target = entry["target"]
            for wanted in (name, target):
                if wanted not in held:
                    raise unknown("shape", wanted, held, project.path)
            between.append(InBetween(float(entry["at"]), held[target].delta))
            used.add(target)
        places = [each.at for each in between]
        if len(set(places)) < len(places) or any(at in (0.0, 1.0) for at in places):
            raise MoueError(f"in-betweens of {name!r} need different weights, none of them 0 or 1", project.path)
        if name not in held:
            raise unknown("shape", name, held, project.path)
        held[name] = Shape(name, held[name].delta, tuple(between))
    return head.with_(shapes=tuple(shape for shape in held.values() if shape.name not in used))


def _part(said: Values, name: str, head: Head) -> Part:
    follows = said.text("follows") or "skull"
    if follows not in FOLLOWS:
        raise unknown("way to follow", follows, FOLLOWS, said.path)
    if "group" in said.table:
        faces = np.isin(head.polygons.corner_face, group_of(said.text("group") or "", head, said.path))
        vertices = np.unique(head.polygons.indices[faces])
    elif "component" in said.table:
        vertices = np.flatnonzero(head.polygons.components == said.whole("component", 0)).astype(np.int32)
    else:
        vertices = np.asarray(said.wholes("vertices"), dtype=np.int32)
    if not len(vertices) or vertices.max() >= head.n_vertices:
        raise said.error("names no vertices of this head")
    return Part(name, vertices.astype(np.int32), follows)  # type: ignore[arg-type]
