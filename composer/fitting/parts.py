"""Parts on the new head: eyeballs go into their sockets, teeth and tongue with the mouth, lashes with the lids.

- An *eyeball* follows its lids, by the similarity of the skin about it, and moves back, a little smaller, where it
  would stand through them (`eye_room`). Where the sculpt has a ball there, the eyeball takes that ball's place and
  size.
- *Teeth, gums and tongue* take one similarity together, that of the skin about the mouth, so that they still meet.
  Where they would stand through the new lips or cheeks they move back together.
- A *sheet over an eyeball* goes with that eyeball.
- A part that is *bound to the surface* (lashes) keeps its place beside the nearest skin, in the frame and the size of
  that skin.
- Any other part takes the similarity of the skin nearest to it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from composer.fitting.align import Similarity, similarity
from composer.fitting.closest import ClosestSurface
from composer.fitting.eye_room import room_behind_lids
from composer.fitting.sculpt import Ball, ball_through
from composer.fitting.skin import Skin
from composer.geometry.vectors import cross, unit_rows
from composer.head.head import Head, Part
from composer.head.understand.part_words import what_parts_are

Rows = NDArray[np.float64]
MOUTH = ("teeth", "gum", "tongue")
"""What parts are that go with the mouth."""
NEAR = 1.5
"""The skin of an eyeball lies within this many of its radii from its centre (our choice)."""
BACK_ROUNDS = 12
"""Most steps in which teeth move back behind the skin (our choice)."""
CLEAR, NEAR_SKIN, MOST_BACK = 1e-3, 0.02, 0.04
"""Shares of the head's diagonal (our choice): the gap between teeth and skin after a step back; the largest distance at
which the skin decides whether a tooth is behind it; and the distance moved after which the steps end."""
BALL_AWAY, BALL_RATIO = 1.0, (0.6, 1.6)
"""A ball of the sculpt is taken for an eyeball where its centre is within this many radii of the eyeball's, and the
ratio of the radii lies between these (our choice)."""
GROWTH = (0.5, 2.0)
"""Least and largest scale of a part that is bound to the surface (our choice): a collapsed triangle does not shrink it.
"""


def place_parts(
    head: Head, fitted: Rows, balls: Sequence[Ball] = (), free: NDArray | None = None
) -> tuple[Rows, list[str]]:
    """(n, 3) the fitted head (n, 3) mm with its parts placed, and a sentence for each kind of part.

    Of `fitted` the skin is used, not the rows of the parts. `balls` are those of the sculpt. `free` (n,) is 1 where the
    skin does not lie on the sculpt: no part follows it there.
    """
    at = np.array(fitted, dtype=np.float64)
    skin = Skin.of(head)
    if not head.parts or not len(skin.vertices):
        return at, []
    sure = skin.vertices if free is None else skin.vertices[np.asarray(free)[skin.vertices] < 0.5]
    sure = sure if len(sure) > 3 else skin.vertices
    notes: list[str] = []
    told = what_parts_are(head)
    eyes = [part for part in head.parts if told.get(part.name) == "eye"]
    mouth = [part for part in head.parts if told.get(part.name) in MOUTH]
    if mouth:
        points = np.concatenate([head.neutral[part.vertices] for part in mouth])
        move = _about(head, at, sure, points, float(np.linalg.norm(np.ptp(points, axis=0))) / 2)
        for part in mouth:
            at[part.vertices] = move(head.neutral[part.vertices])
        words = f"Teeth and tongue follow the skin about the mouth, {move.scale:.3f} times as large"
        back = _move_back(head, at, skin, sure, np.concatenate([part.vertices for part in mouth]))
        for part in mouth:
            at[part.vertices] += back
        back_mm = float(np.linalg.norm(back))
        notes.append(f"{words}, {back_mm:.1f} mm back behind the skin." if back_mm > 0 else f"{words}.")
    for part in eyes:
        at[part.vertices], words = _eyeball(head, at, sure, part, balls)
        notes.append(words)
    for part in head.parts:
        if part in mouth or part in eyes or part.follows == "surface" or not len(part.vertices):
            continue
        points = head.neutral[part.vertices]
        ball = ball_under(head, part, eyes) if told[part.name] == "ball_sheet" else None
        if ball is not None:
            at[part.vertices] = similarity(head.neutral[ball.vertices], at[ball.vertices])(points)
        else:
            size = float(np.linalg.norm(np.ptp(points, axis=0))) / 2
            at[part.vertices] = _about(head, at, sure, points, size)(points)
    bound = [part for part in head.parts if part.follows == "surface" and part not in mouth and part not in eyes]
    if bound:
        neutral_skin = ClosestSurface(head.neutral[skin.vertices], skin.polygons.triangles)
        for part in bound:
            at[part.vertices] = _beside(neutral_skin, at[skin.vertices], head.neutral[part.vertices])
        which = "1 part" if len(bound) == 1 else f"{len(bound)} parts"
        notes.append(f"{which} bound to the skin: moved along with it.")
    return at, notes


def ball_under(head: Head, sheet: Part, eyes: Sequence[Part]) -> Part | None:
    """The eyeball that a sheet lies on: the nearest one; None where there is none."""
    middle = head.neutral[sheet.vertices].mean(axis=0)
    away = {i: np.linalg.norm(head.neutral[eye.vertices].mean(axis=0) - middle)
            for i, eye in enumerate(eyes) if len(eye.vertices) > 3}  # fmt: skip
    return eyes[min(away, key=lambda i: away[i])] if away else None


def _move_back(head: Head, at: Rows, skin: Skin, sure: NDArray, inside: NDArray) -> Rows:
    """(3,) the shift that brings the vertices `inside` the head's skin inside the new skin `at` (n, 3)."""
    known = np.zeros(head.n_vertices, dtype=bool)
    known[sure] = True
    corners = skin.vertices[skin.polygons.triangles]
    corners = corners[known[corners].all(axis=1)]
    shift = np.zeros(3)
    if not len(corners):
        return shift
    old, new = ClosestSurface(head.neutral, corners), ClosestSurface(at, corners)
    closest = old.closest(head.neutral[inside])
    kept = inside[((head.neutral[inside] - closest.points) * closest.normal).sum(1) < 0.0]
    size = float(np.linalg.norm(np.ptp(at[skin.vertices], axis=0)))
    for _ in range(BACK_ROUNDS):
        closest = new.closest(at[kept] + shift, NEAR_SKIN * size)
        out = ((at[kept] + shift - closest.points) * closest.normal).sum(1)
        out[closest.on_border | (closest.distance > NEAR_SKIN * size)] = 0.0  # the side is unknown there
        worst = int(np.argmax(out)) if len(out) else -1
        if worst < 0 or out[worst] <= 0.0 or float(np.linalg.norm(shift)) > MOST_BACK * size:
            break
        through = out > 0.5 * out[worst]
        outward = unit_rows(closest.normal[through].mean(axis=0)[None])[0]
        shift = shift - (out[worst] + CLEAR * size) * outward
    return shift


def _about(head: Head, at: Rows, sure: NDArray, points: Rows, width: float) -> Similarity:
    """The similarity of the skin about `points` (k, 3); its weights fall with the distance to their mean, as a Gaussian
    of `width` mm beyond the nearest skin."""
    away = np.linalg.norm(head.neutral[sure] - points.mean(axis=0), axis=1)
    away = np.maximum(away - float(away.min()), 0.0)
    weight = np.exp(-0.5 * (away / max(width, 1e-9)) ** 2)
    chosen = weight > 1e-4
    if chosen.sum() < 4:
        chosen = np.ones(len(sure), dtype=bool)
        weight = np.ones(len(sure))
    return similarity(head.neutral[sure[chosen]], at[sure[chosen]], weight[chosen])


def _eyeball(head: Head, at: Rows, sure: NDArray, part: Part, balls: Sequence[Ball]) -> tuple[Rows, str]:
    """(k, 3) the vertices of an eyeball on the new head, and a sentence about it."""
    points = head.neutral[part.vertices]
    eyeball = ball_through(points, 0)
    centre = points.mean(axis=0) if eyeball is None else eyeball.centre
    radius = float(np.median(np.linalg.norm(points - centre, axis=1)))
    near = np.linalg.norm(head.neutral[sure] - centre, axis=1) < NEAR * radius
    chosen = sure[near]
    move = similarity(head.neutral[chosen], at[chosen]) if len(chosen) > 8 else _about(head, at, sure, points, radius)
    moved_centre, size = move(centre), move.scale * radius
    matching = [
        ball
        for ball in balls
        if np.linalg.norm(ball.centre - moved_centre) < BALL_AWAY * size
        and BALL_RATIO[0] * size < ball.radius < BALL_RATIO[1] * size
    ]
    if matching:
        ball = min(matching, key=lambda b: float(np.linalg.norm(b.centre - moved_centre)))
        scale = ball.radius / radius
        placed = scale * ((points - centre) @ move.rotation.T) + ball.centre
        return placed, f"{part.name} takes the place of the sculpt's ball, radius {ball.radius:.1f} mm."
    back, times = room_behind_lids(points, centre, head.neutral[sure], at[sure], moved_centre, move)
    words = f"{part.name} follows its lids, {times * move.scale:.3f} times as large"
    back_mm = float(np.linalg.norm(back))
    placed = moved_centre + times * (move(points) - moved_centre) + back
    return placed, f"{words}, {back_mm:.1f} mm back behind them." if back_mm >= 0.05 else f"{words}."


def _beside(neutral_skin: ClosestSurface, fitted: Rows, points: Rows) -> Rows:
    """(k, 3) `points` (k, 3) beside the neutral skin, carried onto the `fitted` skin (s, 3) in the frames of their
    nearest triangles."""
    closest = neutral_skin.closest(points)
    corner = neutral_skin.triangles[closest.triangle]
    before, size = _frames(neutral_skin.positions, corner)
    after, fitted_size = _frames(fitted, corner)
    local = np.einsum("nij,nj->ni", before, points - closest.points)
    scale = np.clip(fitted_size / np.maximum(size, 1e-300), *GROWTH)
    foot = np.einsum("ij,ijk->ik", closest.bary, fitted[corner])
    return foot + scale[:, None] * np.einsum("nij,ni->nj", after, local)


def _frames(positions: Rows, corner: NDArray) -> tuple[Rows, Rows]:
    """(k, 3, 3) rows tangent, bitangent, normal of triangles, and (k,) the square root of their area."""
    a, b, c = (positions[corner[:, i]] for i in range(3))
    normal = cross(b - a, c - a)
    size = np.sqrt(np.linalg.norm(normal, axis=1))
    normal, along = unit_rows(normal), unit_rows(b - a)
    return np.stack([along, cross(normal, along), normal], axis=1), size
