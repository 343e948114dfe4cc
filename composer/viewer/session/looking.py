"""Where the eye goes: to a named side, a region, a finding."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from composer.checks.finding import Finding
from composer.head.places import resolve
from composer.mixing.recipe import ALL
from composer.viewer.render.camera import framed, named_eye
from composer.viewer.session.seen_from import eye_that_sees
from composer.viewer.session.stage import Stage

INSIDE = 0.3
"""Weight of a mask from which a vertex counts as lying in the region that is framed; chosen by eye."""

MIDLINE = 0.01
"""A region whose middle lies nearer to the midline than this share of the head's diagonal has no side; chosen by eye.
"""

FRAMED_BY = 50_000
"""Of a head of many more vertices than this, some are framed for all. Our choice."""

CLOSE = 0.12
"""What a close look at a landmark shows to either side, as a share of the sculpt's diagonal; chosen by eye."""


def look_from(stage: Stage, view: str, at_once: bool = False) -> None:
    """Look from a named side, the whole head in the picture."""
    if stage.session is not None:
        new = stage.new_head if stage.place == "new" else None
        points = stage.session.head.neutral if new is None else new.sculpt.neutral
        points = points[:: max(len(points) // FRAMED_BY, 1)]
        right = new is None and lies_right(stage)
        name = ("profile_right" if right else "profile") if view == "side" else view
        eye = named_eye(name, points, stage.view_size)
        if view == "three_quarter" and right:
            eye = framed(replace(eye, yaw=-eye.yaw), points, stage.view_size)
        stage.go(eye, at_once)


def lies_right(stage: Stage) -> bool:
    """Whether the chosen region lies on the head's right: its middle, by how much of it there is at each place."""
    session = stage.opened
    mask = session.evaluated.effective.get(session.region) if session.region != ALL else None
    if mask is None or not mask.any():
        return False
    middle = float(np.average(session.head.neutral[:, 0], weights=mask))
    return middle < -MIDLINE * session.head.diagonal


def frame_region(stage: Stage) -> None:
    """Look closely at the chosen region from where the eye is; at the whole head where it is the base row."""
    session = stage.session
    if session is None or stage.eye is None:
        return
    mask = session.evaluated.effective.get(session.region)
    points = session.positions()
    if mask is not None and (mask > INSIDE).any():
        points = points[mask > INSIDE]
    stage.go(framed(stage.eye, points, stage.view_size, 0.6 if mask is not None else 0.8))


def look_at_landmark(stage: Stage, name: str) -> None:
    """Look closely at the place of a landmark on a new head's sculpt, from where the eye is."""
    new = stage.new_head
    if new is None or stage.eye is None or name not in new.marks.places:
        return
    point = resolve(new.marks.places[name], new.sculpt.neutral)
    reach = CLOSE * new.surface.diagonal
    box = point + reach * np.array([[-1.0, -1.0, 0.0], [1.0, 1.0, 0.0]])
    stage.go(framed(stage.eye, box, stage.view_size, 0.8))


def look_at_finding(stage: Stage, finding: Finding) -> None:
    """Take the eye to where a finding is, turned as little as lets it be seen."""
    session, picker = stage.opened, stage.picker
    if stage.eye is None or picker is None or not len(finding.vertices):
        return
    vertices = finding.vertices
    if finding.amounts is not None:
        vertices = vertices[np.argsort(-np.abs(finding.amounts), kind="stable")]
    vertices = vertices[: max(len(vertices) // 2, 1)].astype(np.int64)
    positions = np.asarray(session.positions())
    around = 0.06 * session.head.diagonal
    stage.go(eye_that_sees(
        stage.eye, picker, positions, session.normals_of(positions), vertices, stage.view_size, stage.hidden,
        around_mm=around,
    ))  # fmt: skip
