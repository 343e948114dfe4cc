"""A document with its head open: raw masks made from their sources, shared, and ready to mix."""

from __future__ import annotations

from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.document.mask_file import read_mask
from composer.document.project import Project, Region
from composer.errors import MoueError, unknown
from composer.formats.library import Progress, open_library
from composer.head.fingerprint import fingerprint
from composer.head.head import FOLLOWS, Head, InBetween, Part, Shape
from composer.head.parts import with_recognised_parts
from composer.head.presets import lay_regions, region_preset
from composer.mixing.linear import Mixer
from composer.mixing.recipe import REMAINDER, Recipe
from masks.errors import MaskError
from masks.from_displacement import MovingRegions, from_displacement
from masks.from_groups import from_component, from_faces, from_vertices
from masks.mask import checked_values
from masks.partition import effective_masks, remainder

SOURCES = ("landmarks", "displacement", "group", "component", "vertices", "file")


class Ready:
    """A project, its head, and what its recipes need. Raises MoueError for whatever does not fit together."""

    def __init__(self, project: Project, head: Head) -> None:
        self.project, self.head = project, head
        self.notes: list[str] = list(head.notes)
        self._laid: dict[str, dict[str, NDArray[np.float64]]] = {}
        self._moving: dict[int, MovingRegions] = {}
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
        head = open_library(project.head_path, project.neutral, project.unit, progress=progress)
        parts = tuple(_part(name, dict(table), head, project.path) for name, table in project.parts.items())
        head = _with_inbetweens(head.with_(parts=parts) if parts else with_recognised_parts(head), project)
        ready = cls(project, head)
        _ = ready.effective  # a region that cannot be made is told now, whether a recipe uses it or not
        return ready

    @cached_property
    def raw(self) -> dict[str, NDArray[np.float64]]:
        """(n,) the raw mask of each region."""
        return {region.name: self._made(region) for region in self.project.regions}

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
        return Mixer(self.head, self.effective, mirror=self.mirror)

    @cached_property
    def mirror(self) -> NDArray[np.int32] | None:
        """(n,) the mirror map, where a recipe has mirrored cells."""
        if not any(cell.mirrored for recipe in self.project.recipes for cell in recipe.cells):
            return None
        from composer.head.symmetry import mirror_map

        return mirror_map(self.head.neutral)

    def pose(self, recipe: Recipe) -> NDArray[np.float64]:
        """(n, 3) mm, the pose of a recipe. Raises MoueError for a join that is not built yet."""
        if recipe.join != "linear":
            raise MoueError(
                f"recipe {recipe.name!r}: the join {recipe.join!r} is not built yet", self.project.path,
                mend='use join = "linear"',
            )  # fmt: skip
        try:
            return self.mixer.pose(recipe)
        except MoueError as error:
            raise error if error.where else MoueError(error.what, self.project.path, mend=error.mend) from None

    def _made(self, region: Region) -> NDArray[np.float64]:
        try:
            return checked_values(self._from(region), self.head.n_vertices, f"mask of region {region.name!r}")
        except MaskError as error:
            raise MoueError(f"region {region.name!r}: {error}", self.project.path) from None

    def _from(self, region: Region) -> NDArray[np.float64]:
        source, kind = region.source, region.source["from"]
        width = float(source.get("ramp_mm", 0.0))
        if kind == "group":
            return from_faces(self.head.surface, _group(str(source.get("group")), self.head, self.project.path), width)
        if kind == "component":
            return from_component(self.head.surface, int(source.get("component", -1)))
        if kind == "vertices":
            chosen = np.asarray(source.get("vertices", []), dtype=np.int64)
            return from_vertices(self.head.surface, chosen, width)
        if kind == "file":
            place = str(source.get("file"))
            held = self.project.stored.get(place)
            return np.asarray(held) if held is not None else read_mask(self.project.path.parent / place)
        if kind == "landmarks":
            return self._from_landmarks(region)
        if kind == "displacement":
            return self._from_displacement(region)
        if kind in ("loop", "image"):
            raise MoueError(f"region {region.name!r}: masks from {kind} are not built yet", self.project.path)
        raise unknown("source of masks", kind, SOURCES, self.project.path)

    def _from_landmarks(self, region: Region) -> NDArray[np.float64]:
        """A region of a preset, the preset laid once for all its regions."""
        wanted = str(region.source.get("preset", region.name))
        preset, name = region_preset(wanted)
        if preset.name not in self._laid:
            laid = lay_regions(self.head, preset)
            self.notes += [f"Region {key!r} was left out: {why}" for key, why in laid.left_out.items()]
            self._laid[preset.name] = dict(laid.masks)
        if name not in self._laid[preset.name]:
            raise MoueError(f"region {region.name!r}: its landmarks are missing", self.project.path)
        return self._laid[preset.name][name]

    def _from_displacement(self, region: Region) -> NDArray[np.float64]:
        """A region of what moves together, found once for each number of regions asked for."""
        count = int(region.source.get("regions", 12))
        if count not in self._moving:
            deltas = [shape.delta for shape in self.head.shapes]
            self._moving[count] = from_displacement(self.head.surface, deltas, count, skin=self.head.skin)
        masks = self._moving[count].masks
        wanted = str(region.source.get("moves", region.name))
        if wanted not in masks:
            raise unknown("region that moves together", wanted, masks, self.project.path)
        return masks[wanted]


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
        held[name] = Shape(name, held[name].delta, tuple(between))
    return head.with_(shapes=tuple(shape for shape in held.values() if shape.name not in used))


def _group(name: str, head: Head, path: Path) -> NDArray[np.int32]:
    if name not in head.groups:
        raise unknown("group", name, head.groups, path)
    return head.groups[name]


def _part(name: str, table: dict, head: Head, path: Path) -> Part:
    follows = table.get("follows", "skull")
    if follows not in FOLLOWS:
        raise unknown("way to follow", str(follows), FOLLOWS, path)
    if "group" in table:
        faces = np.isin(head.polygons.corner_face, _group(str(table["group"]), head, path))
        vertices = np.unique(head.polygons.indices[faces])
    elif "component" in table:
        vertices = np.flatnonzero(head.polygons.components == table["component"])
    else:
        vertices = np.asarray(table.get("vertices", []), dtype=np.int64)
    if not len(vertices) or vertices.min() < 0 or vertices.max() >= head.n_vertices:
        raise MoueError(f"part {name!r} names no vertices of this head", path)
    return Part(name, vertices.astype(np.int32), follows)
