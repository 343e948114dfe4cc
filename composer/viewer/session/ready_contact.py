"""What parts a head is made beside the frame loop; until it is there, poses are shown without it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_recipe import EvaluatedRecipe
from composer.mixing.recipe import Recipe
from composer.viewer.session.joined import waits_for_contact
from composer.viewer.session.session import Session
from composer.viewer.session.work import Work

PREPARING = "Preparing contact"


def keep_ready(work: Work, session: Session) -> None:
    """Make what parts the session's head where its recipe waits for it. The join that follows shows it."""
    if session.contact_missing and all(job.name != PREPARING for job in work.jobs):
        work.begin(PREPARING, session.evaluated.make_contact, lambda _: None, quiet=True)


def share_ready(work: Work) -> float:
    """How far that is, in [0, 1]."""
    return next((job.fraction for job in work.jobs if job.name == PREPARING), 0.0)


def pose_at_once(evaluated: EvaluatedDocument, recipe: Recipe) -> NDArray[np.float64]:
    """(n, 3) mm, the pose of a recipe for the frame loop: parted only where nothing has to be made for it. Raises
    MoueError where it cannot be mixed."""
    shown = recipe.with_(contact=False) if waits_for_contact(evaluated, recipe) else recipe
    return EvaluatedRecipe.of(evaluated, shown).pose
