"""A clip while it is looked at: its poses one after the other, with all that frames share made once.

A frame of `EvaluatedClip.pose` is a fresh evaluation, which is the truth. Here columns of cells are summed in float32,
and a seamless join follows the weights (`composer.mixing.live_join`), so that a frame costs a few sums.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.document.evaluated_clip import EvaluatedClip
from composer.mixing.active import LivePose
from composer.mixing.live_join import LiveJoin
from composer.mixing.recipe import Recipe


class MovingClip:
    """The poses of one clip, asked for one after the other; made by one thread, used by one at a time."""

    def __init__(self, clip: EvaluatedClip, finished: bool = True) -> None:
        """`finished` poses are joined and parted as the clip says; else they are joined linearly, which needs no
        preparation. Raises MoueError where the clip cannot be mixed."""
        evaluated, whole = clip.evaluated, clip.recipe_of(np.ones(len(clip.cells)))
        self.finished = finished or (clip.clip.join == "linear" and not clip.clip.contact)
        self._head, self._mixer = evaluated.head, evaluated.mixer
        self._contact = evaluated.contact if finished and clip.clip.contact else None
        self._live = LivePose(evaluated.mixer, whole.with_(contact=False, join="linear"))
        self._join: LiveJoin | None = None
        if finished and clip.clip.join == "seamless":
            join = evaluated.seamless_join(whole)
            self._join = LiveJoin(evaluated.mixer, join, whole)
            self._join.follow(evaluated.mixer, clip.recipe_of(np.zeros(len(clip.cells))))

    def at(self, recipe: Recipe) -> NDArray[np.float32]:
        """(n, 3) mm, the pose of a frame's recipe."""
        self._live.set_recipe(recipe.with_(contact=False, join="linear"))
        if self._join is None and self._contact is None:
            return self._live.positions.copy()
        total = self._live.moved.copy()
        if self._join is not None:
            self._mixer.standing.add_to(total, self._join.join.zone.free, self._join.follow(self._mixer, recipe))
        total += self._head.neutral
        pose = total.astype(np.float32)
        if self._contact is not None:
            for vertices, correction in self._contact.corrections(total, recipe):
                pose[vertices] += correction.astype(np.float32)
        return pose
