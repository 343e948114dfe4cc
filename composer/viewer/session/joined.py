"""The seamless join of the open recipe: its pose, what follows a drag, and the way from one picture to the next."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from composer.contact.lines import parts_nothing
from composer.document.evaluated import EvaluatedDocument
from composer.errors import MoueError
from composer.mixing.active import LivePose
from composer.mixing.columns import NOTHING, Range
from composer.mixing.contact import MixContact
from composer.mixing.linear import Mixer, moved
from composer.mixing.live_join import LiveJoin
from composer.mixing.recipe import Recipe
from composer.viewer.session.changed_cells import AT_ONCE

EASE_SECONDS = 0.2
"""How long the picture takes to a join that comes while something else is seen. A design choice, no source."""
EASE_FROM_MM = 0.02
"""Below this distance it goes there at once: less than a pixel of a face that fills a window. A design choice, no
source."""

LEAST_TOLD_MM = 0.05
"""What contact left is told from here on."""
PARTS_NOTHING, PLACE_THEM = "nothing: no lip or lid curves", "Place them under Landmarks."
LOWER = "lower the cells that press there, or sculpt a corrective for this recipe"
"""What contact cannot do, and what a person can."""


def is_finished_later(recipe: Recipe) -> bool:
    """Whether a recipe's pose is more than what is seen while a weight is dragged, and is finished beside that."""
    return recipe.join == "seamless" or recipe.contact


def waits_for_contact(evaluated: EvaluatedDocument, recipe: Recipe) -> bool:
    """Whether a recipe keeps contact, and what parts its head is still to be made, which takes seconds."""
    return recipe.contact and not parts_nothing(evaluated.head) and evaluated.contact_at_hand is None


@dataclass
class Joined:
    """A join: of which recipe by which mixer, its pose (n, 3) mm, how far it moved anything outside the ramps, mm, and
    what follows a drag from there, with the `masks` that it was made from. `seconds` is how much of a processor's time
    it took, `left` what contact left, in brief and as a sentence; `parted` is false where it could not be parted yet.
    """

    recipe: Recipe | None = None
    mixer: Mixer | None = None
    pose: NDArray[np.float32] | None = None
    outside_mm: float = 0.0
    seconds: float | None = None
    live: LiveJoin | None = None
    masks: Mapping[str, NDArray] = field(default_factory=dict)
    left: tuple[tuple[str, str], ...] = ()
    parted: bool = True

    def of(self, recipe: Recipe, mixer: Mixer) -> NDArray[np.float32] | None:
        """The joined pose (n, 3) mm of a recipe that is finished later; None where it is not there."""
        if not is_finished_later(recipe) or self.mixer is not mixer or self.recipe != recipe:
            return None
        return self.pose

    def left_in(self, recipe: Recipe, mixer: Mixer) -> tuple[tuple[str, str], ...]:
        """What contact left in the pose of a recipe, in brief and as a sentence; none while that is not finished."""
        if recipe.contact and (nothing := parts_nothing(mixer.head)):
            return ((PARTS_NOTHING, f"{nothing} {PLACE_THEM}"),)
        return self.left if recipe.contact and self.of(recipe, mixer) is not None else ()


def joined_recipe(evaluated: EvaluatedDocument, recipe: Recipe, parted: bool = True) -> Joined:
    """A recipe joined and parted as it says, or joined alone. Raises MoueError where it cannot be mixed."""
    if not parted and recipe.contact:
        joined = joined_recipe(evaluated, recipe.with_(contact=False))
        return replace(joined, recipe=recipe, parted=False)
    contact = evaluated.contact if recipe.contact else None  # made once a head, so it is no part of what a join takes
    if recipe.join == "linear":
        pose = evaluated.pose(recipe)
        return Joined(recipe, evaluated.mixer, pose.astype(np.float32), left=_left(contact, pose, recipe))
    began = time.thread_time()  # how busy the machine is does not decide how a recipe joins
    evaluated.check(recipe)
    mixer, join = evaluated.mixer, evaluated.seamless_join(recipe)
    live = LiveJoin(mixer, join, recipe)
    total, further = mixer.displacement(recipe), live.further
    mixer.standing.add_to(total, join.zone.free, further)
    pose = moved(mixer.head.neutral, total)
    seconds = time.thread_time() - began
    held = pose if contact is None else contact.parted(pose, recipe)
    furthest = float(join.outside(further).max(initial=0.0))
    masks = {region: evaluated.effective[region] for region in join.ramps}
    left = _left(contact, held, recipe)
    return Joined(recipe, mixer, held.astype(np.float32), furthest, seconds, live, masks, left)


def _left(contact: MixContact | None, pose: NDArray, recipe: Recipe) -> tuple[tuple[str, str], ...]:
    """What is left in a parted pose, in brief and as sentences with what to do; less than is written as 0.1 mm is not
    told."""
    if contact is None:
        return ()
    left = (each for each in contact.left(pose, recipe) if each.most_mm >= LEAST_TOLD_MM)
    return tuple((each.brief, f"{each.sentence}; {LOWER}") for each in left)


class ShownJoin:
    """The joined pose as it is seen. Where the recipe has changed since its last join, what that join adds follows the
    weights; a join that comes later is reached in EASE_SECONDS, not in a jump."""

    def __init__(self) -> None:
        self.joined = Joined()
        self._followed: tuple[object, ...] = ()
        self._pose: NDArray[np.float32] | None = None
        self._way: NDArray[np.float32] | None = None
        self._began: float | None = None
        self._left = 0.0

    def take(self, joined: Joined, evaluated: EvaluatedDocument) -> None:
        """Keep a join that was made in another thread, where it still fits the masks."""
        fits = all(evaluated.effective.get(region) is mask for region, mask in joined.masks.items())
        joined.seconds = self.joined.seconds = joined.seconds or self.joined.seconds
        if fits and (joined.mixer is evaluated.mixer if joined.live is None else joined.live.fits(evaluated.mixer)):
            self.joined, self._way = joined, None

    def serves(self, evaluated: EvaluatedDocument, recipe: Recipe) -> bool:
        """Whether the last join can follow to a recipe: the masks are the same, and few cells have changed."""
        joined = self.joined
        if recipe.join != "seamless" or joined.live is None or not joined.live.fits(evaluated.mixer):
            return False
        if joined.live.changes(recipe) > AT_ONCE:
            return False
        return all(evaluated.effective.get(region) is mask for region, mask in joined.masks.items())

    def lacks(self, evaluated: EvaluatedDocument, recipe: Recipe) -> bool:
        """Whether a recipe needs another join than the last one, which stands in for it as far as it can."""
        live = self.joined.live
        return live is None or not self.serves(evaluated, recipe) or not live.covers(recipe, evaluated.spots)

    def shown(self, evaluated: EvaluatedDocument, recipe: Recipe) -> bool:
        """Whether a joined pose of a recipe can be seen."""
        return self.joined.of(recipe, evaluated.mixer) is not None or self.serves(evaluated, recipe)

    def missing(self, evaluated: EvaluatedDocument, recipe: Recipe, held: bool) -> bool:
        """Whether a join is to be made: of the recipe as it stands, or, while something is held, of its regions."""
        if held or not is_finished_later(recipe):
            return recipe.join == "seamless" and self.lacks(evaluated, recipe)
        if recipe.join == "linear" and (waits_for_contact(evaluated, recipe) or parts_nothing(evaluated.head)):
            return False
        if self.joined.of(recipe, evaluated.mixer) is None:
            return True
        return not self.joined.parted and not waits_for_contact(evaluated, recipe)

    def pose(
        self, live: LivePose, evaluated: EvaluatedDocument, recipe: Recipe, version: int, dragged: bool = False
    ) -> NDArray[np.float32] | None:  # fmt: skip
        """(n, 3) mm, the joined pose of a recipe: as it was made, or followed from there over the linear pose `live`;
        None where there is neither. `version` says whether anything has changed since the last call, `dragged` whether
        more changes follow soon."""
        pose = self.joined.of(recipe, evaluated.mixer)
        if pose is None:
            pose = self._follow(live, evaluated, recipe, version, dragged)
        if pose is None or self._way is None:
            return pose
        return pose + self._left * self._way

    def _follow(
        self, live: LivePose, evaluated: EvaluatedDocument, recipe: Recipe, version: int, dragged: bool
    ) -> NDArray[np.float32] | None:  # fmt: skip
        if not self.serves(evaluated, recipe):
            return None
        join, key = self.joined.live, (self.joined, version)
        assert join is not None
        if self._followed != key:
            try:
                further = join.follow(evaluated.mixer, recipe)
            except MoueError:
                return None
            total = live.moved.copy()
            evaluated.mixer.standing.add_to(total, join.join.zone.free, further)
            total += evaluated.head.neutral
            if self._pose is None or self._pose.shape != total.shape:
                self._pose = np.empty(total.shape, dtype=np.float32)
            self._pose[:] = total
            parted = [] if live.contact is None else live.contact.corrections(total, recipe, dragged)
            for vertices, correction in parted:
                self._pose[vertices] += correction.astype(np.float32)
            self._followed = key
        return self._pose

    def ease(self, way: NDArray[np.float32]) -> None:
        """Begin to go over a distance (n, 3) mm: that of what was seen from what is there now."""
        far = bool((np.abs(way) > EASE_FROM_MM).any())
        self._way, self._began, self._left = (way, None, 1.0) if far else (None, None, 0.0)

    def step(self, now: float) -> bool:
        """Go on towards the pose that is there, at a time in seconds; whether anything moved."""
        if self._way is None:
            return False
        self._began = now if self._began is None else self._began
        t = min((now - self._began) / EASE_SECONDS, 1.0)
        self._left = 1.0 - t * t * (3.0 - 2.0 * t)
        if t >= 1.0:
            self._way = None
        return True

    @property
    def reach(self) -> Range:
        """The range of vertices that a join which follows may move."""
        if self.joined.live is None or not len(self.joined.live.join.zone.free):
            return NOTHING
        free = self.joined.live.join.zone.free
        moved = np.concatenate([free, self.joined.live.mixer.standing.on(free)])
        return int(moved.min()), int(moved.max()) + 1

    @property
    def easing(self) -> bool:
        """Whether the picture is on its way to the pose."""
        return self._way is not None
