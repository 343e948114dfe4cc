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
from composer.formats.library import Progress, open_library
from composer.head.fingerprint import fingerprint
from composer.head.head import FOLLOWS, Head, InBetween, Part, Shape
from composer.head.symmetry import mirror_map
from composer.mixing.hinge import Hinge
from composer.mixing.linear import Mixer
from composer.mixing.recipe import REMAINDER, Recipe
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

    def check_join(self, recipe: Recipe) -> None:
        """Raises MoueError for a join that is not built yet."""
        if recipe.join != "linear":
            raise MoueError(
                f"recipe {recipe.name!r}: the join {recipe.join!r} is not built yet", self.project.path,
                mend='use join = "linear"',
            )  # fmt: skip

    def pose(self, recipe: Recipe, strength: float | None = None) -> NDArray[np.float64]:
        """(n, 3) mm, the pose of a recipe, at its own strength or another.

        Raises MoueError for a join that is not built yet.
        """
        self.check_join(recipe)
        try:
            return self.mixer.pose(recipe, strength)
        except MoueError as error:
            raise self._told(error) from None

    def _told(self, error: MoueError) -> MoueError:
        """An error with the document's path; a shape that became an in-between is told as that."""
        for name, said in self.project.shapes.items():
            for entry in said.get("inbetweens", []):
                if f"shape is named {entry['target']!r}" in error.what:
                    mend = f"use {name!r} at weight {entry['at']}"
                    return MoueError(f"{entry['target']!r} is an in-between of {name!r}", self.project.path, mend=mend)
        return error.at(self.project.path) if error.where != self.head.path else MoueError(
            error.what, self.project.path, mend=error.mend
        )  # fmt: skip


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
