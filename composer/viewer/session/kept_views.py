"""The views that the open document keeps: what the eye sees as one of them, and the eye that sees one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from composer.document.kept_view import KeptView
from composer.edits.views import delete_view, free_view_name, keep_view, rename_view
from composer.picture.views import kept_target, view_of_eye
from composer.viewer.render.camera import FURTHEST_MM, NEAREST_MM, Eye
from composer.viewer.session.stage import Stage

ALIKE = 1e-3
"""How far two eyes may differ that count as one, as a share; what a view is rounded to lies well below it."""


def view_now(stage: Stage, name: str) -> KeptView:
    """What the eye sees of the open head now, as a view of this name."""
    eye = stage.eye or Eye()
    turns = (eye.yaw, eye.pitch, eye.tilt)
    return view_of_eye(name, turns, np.array(eye.target), eye.distance, stage.opened.head.neutral, eye.lens)


def eye_of(stage: Stage, view: KeptView) -> Eye:
    """The eye that sees the open head as a kept view says."""
    eye = Eye()
    (x, y, z), distance = kept_target(view, stage.opened.head.neutral, eye.lens)
    distance = min(max(distance, NEAREST_MM), FURTHEST_MM)
    return replace(eye, target=(float(x), float(y), float(z)), distance=distance, yaw=view.around_deg,
                   pitch=view.above_deg, tilt=view.tilt_deg)  # fmt: skip


def go_to(stage: Stage, name: str) -> None:
    """Look as the kept view of this name says."""
    stage.guard(lambda: stage.go(eye_of(stage, stage.opened.project.view(name))))


def keep_now(stage: Stage, name: str = "") -> str:
    """Keep what the eye sees, in the place of the view of this name, or as a new one; the view's name, "" where it was
    refused."""
    name = name or free_view_name(stage.opened.history.committed)
    view = view_now(stage, name)
    return name if stage.do(lambda project: keep_view(project, view)) else ""


def rename(stage: Stage, name: str, to: str) -> str:
    """Rename a kept view; what is wrong with the new name, "" where it was taken."""
    return stage.fault_of(lambda project: rename_view(project, name, to))


def delete(stage: Stage, name: str) -> None:
    """Delete a kept view."""
    if stage.do(lambda project: delete_view(project, name)):
        stage.say(f"Deleted the view {name}; undo brings it back.")


def step_view(stage: Stage, by: int) -> str:
    """Go to the kept view so many places after the one that is seen, round and round; its name, "" without any."""
    views = stage.opened.project.views
    if not views:
        stage.say("This document keeps no view yet: Views, over the head, keeps what you see.")
        return ""
    seen = shown(stage)
    at = next((i for i, view in enumerate(views) if view.name == seen), -1 if by > 0 else 0)
    name = views[(at + by) % len(views)].name
    go_to(stage, name)
    return name


def shown(stage: Stage) -> str:
    """The name of the kept view that the eye sees now, "" where it is none."""
    views = stage.opened.project.views
    if not views or stage.eye is None:
        return ""
    return next((view.name for view in views if _alike(eye_of(stage, view), stage.eye)), "")


def _alike(one: Eye, other: Eye) -> bool:
    """Whether two eyes see the same, as far as anybody could tell."""
    axes = np.abs(one.axes - other.axes).max() < ALIKE
    off = np.abs(np.array(one.target) - np.array(other.target)).max() / one.distance
    return bool(axes and off < ALIKE and abs(one.distance / other.distance - 1.0) < ALIKE)
