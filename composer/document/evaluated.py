"""An evaluated document: its head is open, raw masks are made from their sources, shared, and prepared for mixing.

An edited document is evaluated `again` from the state before. Everything that the edit did not touch is reused, down to
the same arrays, so that a change of a weight costs microseconds and a painted mask only the sharing of its set.
"""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from composer.contact.lines import parts_nothing
from composer.document.head_of import DocumentHead, head_of, unknown_shown
from composer.document.hinges import KnownHinges, hinges_of
from composer.document.masks_of import MaskSources
from composer.document.project import Project, Region
from composer.document.region_sources import SPOT
from composer.errors import MoueError, unknown
from composer.formats.arrival import HeadArrival
from composer.formats.library import open_library
from composer.head.axes import FileAxes
from composer.head.fingerprint import fingerprint
from composer.head.folders import is_there
from composer.head.head import Head
from composer.head.symmetry import MOST_WITHOUT, MirrorMap, mirror_of
from composer.mixing.contact import MixContact
from composer.mixing.contact_cache import MixContacts
from composer.mixing.corrective import Correctives, felt_in
from composer.mixing.hinge import Hinge
from composer.mixing.linear import Mixer, moved
from composer.mixing.recipe import ALL, REMAINDER, Recipe
from composer.mixing.seamless import SeamlessJoin, further_than_linear, seamless_displacement
from composer.mixing.seamless_cache import SeamlessJoins
from composer.progress import Progress
from composer.units import mm_per
from masks.from_displacement import MovingRegions
from masks.partition import FACE, effective_masks, remainder, share_filled

Mask = NDArray[np.float64]


class EvaluatedDocument:
    """A project, its head, and all that its recipes need. Raises MoueError where the parts do not fit together.

    `library` is the head as read from its files, `head` the same with the document's parts, in-betweens, kept shapes
    and landmarks.
    """

    def __init__(self, project: Project, library: Head, before: EvaluatedDocument | None = None) -> None:
        """`before` is an earlier state of the document on the same library, whose results are reused."""
        self.project, self.library, self._before = project, library, before
        self._topology: str = fingerprint(library.polygons) if before is None else before._topology
        if project.topology and project.topology != self._topology:
            raise MoueError(
                f"was made for topology {project.topology[:8]}, its head is {self._topology[:8]}", project.path,
                hint="its masks are for other vertices",
            )  # fmt: skip
        self._dressed: DocumentHead = head_of(project, library, None if before is None else before._dressed)
        self.head: Head = self._dressed.head
        self._sources: MaskSources = MaskSources(project, self.head, None if before is None else before._sources)
        if before is not None and "_seamless" in vars(before) and before._seamless.serves(self.head):
            vars(self)["_seamless"] = before._seamless
        self._contacts: MixContacts = MixContacts() if before is None else before._contacts
        self.notes: list[str] = [*self.head.notes, *self._dressed.notes, *unknown_shown(project, self.head)]
        if not project.topology and project.regions:
            words = "The document does not say for which mesh its masks were made"
            self.notes.append(f"{words}: look whether they lie where they should.")

    @classmethod
    def open(
        cls, project: Project, progress: Progress | None = None, told: HeadArrival | None = None
    ) -> EvaluatedDocument:
        """Open the project's head, with the parts that the document declares, or else those recognised; progress and
        `told` as `open_library`."""
        if project.unit is not None:
            mm_per(project.unit, str(project.path))
        if not is_there(project.head_path):
            hint = f"{project.path.name} names it as its head; put it back, or change `head`"
            raise MoueError("is not there", project.head_path, hint=hint)
        library = open_library(
            project.head_path, project.neutral, project.unit, progress=progress, recognise=not project.parts,
            axes=project.axes or (FileAxes() if _says_hinges(project) else None), told=told,
        )  # fmt: skip
        return cls(project, library)._made()

    def take_moving(self, count: int, found: MovingRegions, coarse: bool = False) -> None:
        """Take regions, at most `count`, that are already found from displacement, perhaps on a `coarse` level; they
        are not searched again."""
        self._sources.take_moving(count, found, coarse)

    def again(self, project: Project) -> EvaluatedDocument:
        """The edited `project` of the same head, evaluated; everything that did not change is shared with this one.

        Equal to a fresh `EvaluatedDocument` on the same library. Raises MoueError, with this one unchanged, where
        the parts do not fit together, and for a project of another head.
        """
        ours, theirs = self.project, project
        other_place = ours.head_path != theirs.head_path and ours.head_path.resolve() != theirs.head_path.resolve()
        if other_place or (ours.neutral, ours.unit, ours.axes) != (theirs.neutral, theirs.unit, theirs.axes):
            raise MoueError("is of another head", project.path, hint="open it again")
        return EvaluatedDocument(project, self.library, self)._made()

    def _made(self) -> EvaluatedDocument:
        """Itself, with masks and hinges computed now, so that errors show up whether a recipe uses them or not."""
        try:
            _ = self.effective, self.hinges, self.correctives
        except MoueError as error:
            raise error.at(self.project.path) from None
        with suppress(MoueError):  # a missing mirror map is an error of the recipe that needs it
            _ = self.mixer
        self._before = None
        if any(recipe.contact for recipe in self.project.recipes) and (nothing := parts_nothing(self.head)):
            self.notes.append(f"{nothing} Place them in the window, under Landmarks.")
        return self

    @property
    def topology(self) -> str:
        """The fingerprint of the head's polygons."""
        return self._topology

    @cached_property
    def raw(self) -> dict[str, Mask]:
        """(n,) the raw mask of each region, read-only."""
        masks = {region.name: self._sources.of(region) for region in self.project.regions}
        self.notes += self._sources.notes
        return masks

    @cached_property
    def effective(self) -> dict[str, Mask]:
        """(n,) the effective mask of each region, and of `remainder`."""
        regions, before = self.project.regions, self._before
        if before is not None and self._shares_as(before, None):
            return before.effective
        found: dict[str, Mask] = {}
        for name in dict.fromkeys(region.set for region in regions):
            members = [region for region in regions if region.set == name]
            if before is not None and self._shares_as(before, name):
                found |= {region.name: before.effective[region.name] for region in members}
                continue
            shared = self._shared(members)
            found |= {region.name: mask for region, mask in zip(members, shared, strict=True)}
        face = [found[region.name] for region in regions if region.set == FACE]
        rest = remainder(np.array(face), None, self.head.n_vertices)
        return {region.name: found[region.name] for region in regions} | {REMAINDER: rest}

    def _shared(self, members: list[Region]) -> NDArray[np.float64]:
        """(r, n) the effective masks of one set. Where some are softened, their neighbours fill what they give up."""
        raw, locked = [self.raw[r.name] for r in members], [r.locked for r in members]
        if len(members) < 2 or not any(self.is_softened(r) for r in members):
            return effective_masks(raw, locked)
        return share_filled(raw, [self.plain(r) for r in members], locked)

    def is_softened(self, region: Region) -> bool:
        """Whether the ramp of a region is made on its mask, as the document says, and not by its source."""
        return self._sources.is_softened(region)

    def plain(self, region: Region) -> Mask:
        """(n,) the raw mask of a region without its softness, read-only."""
        return self._sources.plain(region)

    def _shares_as(self, before: EvaluatedDocument, set_name: str | None) -> bool:
        """Whether the regions of a set (of all sets for None) have the same masks and locks as before."""
        ours, theirs = ([r for r in each.project.regions if set_name in (None, r.set)] for each in (self, before))
        return len(ours) == len(theirs) and all(
            a.name == b.name and a.set == b.set and a.locked == b.locked and self.raw[a.name] is before.raw[b.name]
            for a, b in zip(ours, theirs, strict=True)
        )

    @cached_property
    def mixer(self) -> Mixer:
        """The head with its masks, ready to mix."""
        before = self._before
        held: Mixer | None = vars(before).get("mixer") if before is not None else None
        given = self.project.correctives
        if before is not None and held is not None and before.project.correctives == given:
            same = before.effective is self.effective and before.hinges is self.hinges
            if same and held.head is self.head and held.mirror is self.mirror:
                return held
        made = Mixer(self.head, self.effective, mirror=self.mirror, hinges=self.hinges, correctives=given)
        if held is not None:
            _take_over(made, held)
        return made

    @cached_property
    def hinges(self) -> dict[str, Hinge]:
        """The hinge of each shape that has one in the document; a hinge "auto" is estimated."""
        before = self._before
        known = None if before is None else KnownHinges(before.project, before.head, before.hinges)
        return hinges_of(self.project, self.head, known)

    @cached_property
    def correctives(self) -> Correctives:
        """The document's correctives, solved together. Raises MoueError, with the corrective's name, for a trigger on
        an unknown region or shape, and as `Correctives`."""
        for one in self.project.correctives:
            for name in (one.shape, *(trigger.shape for trigger in one.triggers)):
                if name not in self.head.shape_index:
                    raise unknown("shape", name, self.head.shape_names, f"{self.project.path} corrective {one.shape}")
            for trigger in one.triggers:
                if trigger.region != ALL and trigger.region not in self.effective:
                    where = f"{self.project.path} corrective {one.shape}"
                    raise unknown("region", trigger.region, [ALL, *self.effective], where)
        return Correctives(self.project.correctives)

    def corrective_weights(self, recipe: Recipe) -> dict[str, float]:
        """The weight k in [0, 1] of every corrective at a recipe, by the name of its shape."""
        return self.correctives.weights(felt_in(recipe))

    @cached_property
    def mirror(self) -> MirrorMap | None:
        """The mirror map, where a recipe or a clip has mirrored cells."""
        in_recipes = any(cell.mirrored for recipe in self.project.recipes for cell in recipe.cells)
        if not in_recipes and not any(key.mirrored for clip in self.project.clips for key in clip.keys):
            return None
        return self.mirror_map

    @property
    def mirror_map(self) -> MirrorMap:
        """The head's mirror map, whether a recipe needs it or not; a note says where vertices have no partner."""
        mirror = mirror_of(self.head)
        note = mirror.note(self.head.neutral)
        if note is not None and note not in self.notes:
            self.notes.append(note)
        return mirror

    def check(self, recipe: Recipe) -> None:
        """Raises MoueError, with the document's path, where a recipe cannot be mixed: for an unknown region or shape,
        or a shape that is an in-between of another.
        """
        path = self.project.path
        for cell in recipe.cells:
            if cell.shape in self._between:
                name, at = self._between[cell.shape]
                hint = f"use {name!r} at weight {at}"
                raise MoueError(f"{cell.shape!r} is an in-between of {name!r}", path, hint=hint)
            if cell.shape not in self.head.shape_index:
                raise unknown("shape", cell.shape, self.head.shape_names, path)
        try:
            self.mixer.shares(recipe)
        except MoueError as error:
            raise error.at(path) from None
        self._check_mirrored(recipe)

    def _check_mirrored(self, recipe: Recipe) -> None:
        """Raises MoueError where more than `MOST_WITHOUT` of the area that mirrored cells move has no partner."""
        cells = [cell for cell in recipe.cells if cell.mirrored and cell.weight != 0.0]
        if not cells or not len(self.mirror_map.without):
            return
        moves, shares = np.zeros(self.head.n_vertices, dtype=bool), self.mixer.shares(recipe)
        for cell in cells:
            moves |= (self.mixer.motion(cell).at(cell.weight) != 0.0).any(axis=1) & (shares[cell.region] > 0.0)
        share = self.mirror_map.share_without(np.where(moves, self.head.surface.mass, 0.0))
        if share > MOST_WITHOUT:
            lost = self.mirror_map.without[moves[self.mirror_map.without]]
            what = f"recipe {recipe.name!r}: {share:.0%} of what its mirrored cells move has no mirror partner"
            hint = f"first at vertex {lost[0]}; make the topology of both sides alike there, or use unmirrored cells"
            raise MoueError(what, self.project.path, hint=hint)

    def pose(self, recipe: Recipe, strength: float | None = None) -> NDArray[np.float64]:
        """(n, 3) mm, the pose of a recipe, by default at its own strength. Raises MoueError as `check`."""
        self.check(recipe)
        if recipe.join == "linear":
            joined = self.mixer.pose(recipe, strength)
        else:
            total = seamless_displacement(self.mixer, self.seamless_join(recipe), recipe, strength)
            joined = moved(self.head.neutral, total)
        return self._parted(joined, recipe, strength)

    def _parted(self, joined: NDArray[np.float64], recipe: Recipe, strength: float | None) -> NDArray[np.float64]:
        if not recipe.contact:
            return joined
        at = recipe if strength is None else recipe.with_(strength=float(strength))
        return self.contact.parted(joined, at)

    @property
    def contact(self) -> MixContact:
        """What keeps contact in the head's mixes, made at its first use, by one thread at a time."""
        return self._contacts.of(self.mixer)

    @property
    def contact_at_hand(self) -> MixContact | None:
        """The same where it is made already."""
        return self._contacts.at_hand(self.mixer)

    def make_contact(self, progress: Progress) -> None:
        """Make it now, and tell how far it is."""
        self._contacts.of(self.mixer, progress)

    def seamless_join(self, recipe: Recipe) -> SeamlessJoin:
        """The join of the regions that a recipe uses, with its halo; made once for their masks. Spots take no part: a
        spot is one wide ramp, and the join would take most of its movement away."""
        masks = {region: self.effective[region] for region in recipe.regions if region not in (ALL, *self.spots)}
        return self._seamless.of(masks, recipe.halo)

    @property
    def spots(self) -> list[str]:
        """The names of the regions that are spots."""
        return [region.name for region in self.project.regions if region.source.get("from") == SPOT.name]

    @property
    def joins(self) -> SeamlessJoins:
        """The seamless joins of the head, each made at its first use."""
        return self._seamless

    def seamless(self, recipe: Recipe) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """(n, 3) mm, the pose of a recipe with the seamless join, whatever its own join is, and (n,) mm, how far the
        join moved each vertex outside the ramps, 0 on them. The recipe's contact is kept. Raises MoueError as
        `check`.
        """
        self.check(recipe)
        join = self.seamless_join(recipe)
        total, further = self.mixer.displacement(recipe), further_than_linear(self.mixer, join, recipe)
        self.mixer.standing.add_to(total, join.zone.free, further)
        return self._parted(moved(self.head.neutral, total), recipe, None), join.outside(further)

    @cached_property
    def _seamless(self) -> SeamlessJoins:
        return SeamlessJoins(self.head)

    @cached_property
    def _between(self) -> dict[str, tuple[str, float]]:
        """The shape and the weight of each target that the document names as an in-between."""
        said = self.project.shapes.items()
        return {each["target"]: (name, each["at"]) for name, own in said for each in own.get("inbetweens", [])}


def _says_hinges(project: Project) -> bool:
    """Whether the document holds hinges as places: those of one without axes are in the axes of the files."""
    return any(isinstance(said.get("hinge"), Mapping) for said in project.shapes.values())


def _take_over(mixer: Mixer, before: Mixer) -> None:
    """Reuse in a mixer the motions of shapes that did not change, and the anchors where parts and landmarks did not."""
    known = before.head.shape_index
    for name, motion in before._motions.items():
        same = name in mixer.head.shape_index and mixer.head.shape(name) is before.head.shapes[known[name]]
        if same and mixer.hinges.get(name) is before.hinges.get(name):
            mixer._motions[name] = motion
    same_places = mixer.head.parts is before.head.parts and mixer.head.landmarks is before.head.landmarks
    if same_places and "anchors" in vars(before):
        vars(mixer)["anchors"] = before.anchors
