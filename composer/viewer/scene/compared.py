"""The pose that the open one is compared with, as a picture from the same place."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.viewer.render.look import Look
from composer.viewer.render.view3d import View3D
from composer.viewer.session.compare import NEUTRAL, TARGET
from composer.viewer.session.joined import waits_for_contact
from composer.viewer.session.ready_contact import pose_at_once
from composer.viewer.session.same_key import same_key
from composer.viewer.session.session import Session
from composer.viewer.session.stage import Stage


class Compared:
    """The other pose of one window; made again only where it changed."""

    def __init__(self) -> None:
        self._key: tuple = ()
        self._pose: tuple[NDArray[np.float32], NDArray[np.float32]] | None = None
        self._drawn: tuple = ()
        self._texture: int | None = None

    def picture(self, stage: Stage, view: View3D, size_px: tuple[int, int]) -> int | None:
        """The GL name of the picture, None where nothing is compared, or there is nothing to compare with."""
        compare, eye = stage.compare, stage.eye
        if compare.how == "off" or stage.place != "mix" or eye is None or not stage.guard(lambda: self._make(stage)):
            compare.how = "off" if compare.how != "off" and stage.place == "mix" else compare.how
            return None
        if self._pose is None:
            return None
        drawn = (self._pose[0], eye, size_px, compare.how == "ghost", stage.hidden, stage.light)
        if not same_key(self._drawn, drawn) or self._texture is None:
            look = Look(hidden=stage.hidden, light=stage.light)
            self._texture = view.beside(*self._pose, look, eye, size_px, ground=compare.how != "ghost")
            self._drawn = drawn
        return self._texture

    def forget(self) -> None:
        """Another head is open."""
        self._key, self._pose, self._drawn, self._texture = (), None, (), None

    def _make(self, stage: Stage) -> None:
        session, whom = stage.opened, stage.compare.whom
        recipe = next((r for r in session.project.recipes if r.name == whom), None)
        parted = recipe is not None and not waits_for_contact(session.evaluated, recipe)
        key = (session.evaluated.mixer, session.head, whom, recipe, parted, session.target)
        if same_key(self._key, key):
            return
        self._key, positions = key, _positions(session, whom)
        self._pose = None if positions is None else (positions, session.normals_of(positions))


def _positions(session: Session, whom: str) -> NDArray[np.float32] | None:
    """(n, 3) mm of what is compared with; None where it is gone."""
    if whom == TARGET:
        return session.target
    if whom == NEUTRAL:
        return np.ascontiguousarray(session.head.neutral, dtype=np.float32)
    recipe = next((r for r in session.project.recipes if r.name == whom), None)
    if recipe is None:
        return None
    return np.ascontiguousarray(pose_at_once(session.evaluated, recipe), dtype=np.float32)
