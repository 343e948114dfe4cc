"""How new recipes join their regions: seamlessly, where the join is ready in time on this head."""

from __future__ import annotations

from typing import Literal

from composer.viewer.session.session import Session
from composer.viewer.session.stage import Stage

READY_SECONDS = 1.5
"""A join that takes longer than this after a weight has changed is not ready in time. A design choice, no source."""
READY_VERTICES = 150_000
"""On a head with more vertices it is not tried: there a join of the whole face was measured to take several seconds."""


def ready_in_time(session: Session) -> bool:
    """Whether the seamless join of this head is ready soon after a weight has changed: judged by how long the joins so
    far took, before the first by the size of the head."""
    if session.joined.seconds is not None:
        return session.joined.seconds <= READY_SECONDS
    return session.head.n_vertices <= READY_VERTICES


def new_join(session: Session) -> Literal["linear", "seamless"]:
    """The join of a new recipe."""
    return "seamless" if ready_in_time(session) else "linear"


def say_join(stage: Stage, name: str) -> None:
    """Tell how a new recipe joins, and why."""
    session = stage.opened
    if session.project.recipe(name).join == "seamless":
        stage.say(f"{name} joins its regions seamlessly; Linear below the recipes takes that back.")
        return
    long = f"takes {session.joined.seconds:.1f} s" if session.joined.seconds is not None else "takes long"
    stage.say(f"{name} joins its regions linearly: the seamless join {long} on this head. Seamless asks for it.")
