"""Panels folded away, and shown again."""

from __future__ import annotations

from composer.viewer.session.stage import Stage


def fold(stage: Stage, side: str) -> None:
    """Fold the panel on a side of the view, in the place that is open; show it where it is folded. Where there is no
    room for all panels, the one shown last keeps its room, and others fold."""
    name, folded = f"{stage.place} {side}", stage.settings.folded
    if side in stage.room.folded:
        stage.asked_side = side
        if name in folded:
            folded.remove(name)
    elif stage.room.of(side):
        folded.append(name)
