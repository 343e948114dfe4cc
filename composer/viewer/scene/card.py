"""Large heads posed by the graphics card: when that is worth it, and what it is given."""

from __future__ import annotations

from composer.errors import MoueError
from composer.viewer.render.gpu_pose import GpuPose
from composer.viewer.session.session import Session

FROM_VERTICES = 150_000
"""From here on the card makes poses and normals; below, the processor is as quick and holds the only truth."""


class Card:
    """The pose of one session, made on the card as often as it changes."""

    def __init__(self, session: Session) -> None:
        """Raises MoueError where the card has too little memory."""
        self._session = session
        self.pose = GpuPose(session.head.neutral, session.head.polygons)
        self._version = -1
        session.on_card = True

    def follow(self) -> bool:
        """Bring the pose up to date; whether it changed."""
        live = self._session.live
        if live is None or self._session.version == self._version:
            return False
        self.pose.set_columns(live.columns)
        self.pose.pose(live.weights, live.recipe.strength)
        self._version = self._session.version
        return True

    def close(self) -> None:
        """Give the card's memory back; poses are made by the processor again."""
        self._session.on_card = False
        self.pose.close()


def card_for(session: Session, software: bool, least: int = FROM_VERTICES) -> Card | None:
    """The card's pose for a head of `least` vertices or more, None for smaller ones, on a rasteriser that runs on the
    processor, and where the card has too little memory."""
    if software or session.head.n_vertices < least:
        return None
    try:
        return Card(session)
    except MoueError:
        return None
