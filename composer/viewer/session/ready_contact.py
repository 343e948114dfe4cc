"""What parts a head is made beside the frame loop; until it is there, poses are shown without it."""

from __future__ import annotations

from collections.abc import Callable
from weakref import WeakSet

import numpy as np
from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_recipe import EvaluatedRecipe
from composer.head.head import Head
from composer.mixing.recipe import Recipe
from composer.viewer.session.joined import waits_for_contact
from composer.viewer.session.session import Session
from composer.viewer.session.work import Work

PREPARING = "Preparing contact"


_refused: WeakSet[Head] = WeakSet()
"""Heads for which it could not be made: told once, and not tried again."""


def keep_ready(work: Work, session: Session, say: Callable[[str], None]) -> None:
    """Make what parts the session's head where its recipe waits for it. The join that follows shows it; where it cannot
    be made, `say` gets the one line."""
    head = session.head
    if session.contact_missing and head not in _refused and all(job.name != PREPARING for job in work.jobs):

        def failed(words: str) -> None:
            _refused.add(head)
            say(words)

        work.begin(PREPARING, session.evaluated.make_contact, lambda _: None, failed, quiet=True)


def share_ready(work: Work) -> float:
    """How far that is, in [0, 1]."""
    return next((job.fraction for job in work.jobs if job.name == PREPARING), 0.0)


def pose_at_once(evaluated: EvaluatedDocument, recipe: Recipe) -> NDArray[np.float64]:
    """(n, 3) mm, the pose of a recipe for the frame loop: parted only where nothing has to be made for it. Raises
    MoueError where it cannot be mixed."""
    shown = recipe.with_(contact=False) if waits_for_contact(evaluated, recipe) else recipe
    return EvaluatedRecipe.of(evaluated, shown).pose
