"""The clip that the strip of time shows, ready to be posed: it follows the document, and makes again only what changed.

While a seamless join or contact is being prepared beside the frame loop, the face is joined linearly; what is prepared
for some cells and masks serves all edits of keys that use the same.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.document.evaluated_clip import EvaluatedClip
from composer.document.moving_clip import MovingClip
from composer.errors import MoueError
from composer.mixing.recipe import Recipe
from composer.viewer.session.same_key import same_key
from composer.viewer.session.stage import Stage

PREPARING = "Preparing the clip"


class ClipOnFace:
    """One clip of the open document. `made` is None where there is none or it cannot be used: `fault` says why."""

    def __init__(self) -> None:
        self.made: EvaluatedClip | None = None
        self.fault = ""
        self._of: tuple = ()
        self._moving: MovingClip | None = None
        self._moving_of: tuple = ()
        self._asked: tuple = ()

    def follow(self, stage: Stage, name: str) -> bool:
        """Take the clip of this name as it now stands; whether anything about it has changed."""
        session = stage.opened
        project = session.project
        clip = next((each for each in project.clips if each.name == name), None)
        of = (clip, session.evaluated.mixer, project.regions, *(project.recipe(r) for r in _used(stage, name)))
        if same_key(self._of, of):
            self._prepare(stage)
            return False
        self._of, self.made, self.fault = of, None, ""
        if clip is not None:
            try:
                self.made = EvaluatedClip(session.evaluated, clip)
            except MoueError as error:
                self.fault = str(MoueError(error.what, hint=error.hint))
        self._prepare(stage)
        return True

    def pose(self, recipe: Recipe) -> NDArray[np.float32]:
        """(n, 3) mm, the pose of a frame's recipe."""
        assert self._moving is not None
        return self._moving.at(recipe)

    @property
    def poser(self) -> object:
        """What poses the clip now; another object where its poses may differ."""
        return self._moving

    @property
    def ready(self) -> bool:
        """Whether poses are joined and parted as the clip says."""
        return self._moving is not None and self._moving.finished

    def _prepare(self, stage: Stage) -> None:
        """Have something that poses the clip: at once a linear one, then, from another thread, the clip's own."""
        made = self.made
        if made is None:
            return
        clip = made.clip
        rows = tuple((region, row.kind, row.amount) for region, row in made.rows.items())
        of = (made.evaluated.mixer, clip.join, clip.halo, clip.contact, tuple(made.cells), rows, made.strength)
        if not same_key(self._moving_of, of):
            self._moving, self._moving_of = MovingClip(made, finished=False), of
        if self.ready or self._asked is self._moving_of:
            return
        key = self._asked = self._moving_of

        def take(moving: MovingClip) -> None:
            if self._moving_of is key:
                self._moving, self._of = moving, ()

        stage.work.begin(PREPARING, lambda progress: MovingClip(made), take, quiet=True)


def _used(stage: Stage, name: str) -> list[str]:
    """The recipes of the document that a clip uses."""
    project = stage.opened.project
    known = {recipe.name for recipe in project.recipes}
    return [r for clip in project.clips if clip.name == name for r in clip.recipes if r in known]
