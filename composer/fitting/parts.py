"""Parts follow onto the new head: eyeballs into their sockets, teeth and tongue with the mouth, lashes with the lids.

- An *eyeball* goes to the ball that the sculpt has nearest to where its lids put it, with that ball's size; otherwise
  it follows its lids: the similarity of the skin about it.
- *Teeth, gums and tongue* take one similarity together, that of the skin about the mouth, so that they keep meeting;
  where they would stand through the new lips or cheeks they go back together until they do not.
- A *sheet that follows an eyeball* goes with it.
- What is *bound to the surface* (lashes) keeps its place beside the nearest skin, in that skin's own frame and size.
- Anything else takes the similarity of the skin nearest to it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from composer.fitting.align import Similarity, similarity
from composer.fitting.closest import ClosestSurface
from composer.fitting.sculpt import Ball, ball_through
from composer.fitting.skin import Skin
from composer.geometry.vectors import cross, unit_rows
from composer.head.head import Head, Part

Rows = NDArray[np.float64]
MOUTH = ("teeth", "gum", "tongue")
NEAR = 1.5
"""An eyeball's skin is what lies within this many of its radii from its centre."""
BACK_ROUNDS, CLEAR, NEAR_SKIN, MOST_BACK = 12, 1e-3, 0.02, 0.04
"""Steps in which teeth go back behind the skin; of the head's diagonal: what is then left between, how near the skin
has to be to say on which side they are, and the most they go."""
BALL_AWAY, BALL_RATIO = 1.0, (0.6, 1.6)
"""A ball of the sculpt is an eyeball's where it is nearer than this many radii and of a like size."""


def place_parts(
    head: Head, fitted: Rows, balls: Sequence[Ball] = (), free: NDArray | None = None
) -> tuple[Rows, list[str]]:
    """(n, 3) the fitted head (n, 3) mm with its parts where they belong, and a sentence for each kind of part.

    `fitted` holds the skin; the parts' own rows in it are ignored. `balls` are those of the sculpt; `free` (n,) is 1
    where skin does not lie on the sculpt: it is not gone by.
    """
    at = np.array(fitted, dtype=np.float64)
    skin = Skin.of(head)
    if not head.parts or not len(skin.vertices):
        return at, []
    sure = skin.vertices if free is None else skin.vertices[np.asarray(free)[skin.vertices] < 0.5]
    sure = sure if len(sure) > 3 else skin.vertices
    notes: list[str] = []
    mouth = [part for part in head.parts if part.name.startswith(MOUTH)]
    if mouth:
        points = np.concatenate([head.neutral[part.vertices] for part in mouth])
        move = _about(head, at, sure, points, float(np.linalg.norm(np.ptp(points, axis=0))) / 2)
        for part in mouth:
            at[part.vertices] = move(head.neutral[part.vertices])
        words = f"Teeth and tongue follow the skin about the mouth, {move.scale:.3f} times their size"
        back = _back(head, at, skin, sure, np.concatenate([part.vertices for part in mouth]))
        for part in mouth:
            at[part.vertices] += back
        far = float(np.linalg.norm(back))
        notes.append(f"{words}, {far:.1f} mm back so that none stands through the skin." if far > 0 else f"{words}.")
    for part in head.parts:
        if part in mouth:
            continue
        if part.name.startswith("eye"):
            at[part.vertices], words = _eyeball(head, at, sure, part, balls)
            notes.append(words)
    for part in head.parts:
        if part in mouth or part.name.startswith("eye") or part.follows == "surface":
            continue
        points = head.neutral[part.vertices]
        ball = _ball_under(head, part)
        if ball is not None:
            at[part.vertices] = similarity(head.neutral[ball.vertices], at[ball.vertices])(points)
        else:
            size = float(np.linalg.norm(np.ptp(points, axis=0))) / 2
            at[part.vertices] = _about(head, at, sure, points, size)(points)
    bound = [part for part in head.parts if part.follows == "surface" and part not in mouth]
    if bound:
        own = ClosestSurface(head.neutral[skin.vertices], skin.polygons.triangles)
        for part in bound:
            at[part.vertices] = _beside(own, at[skin.vertices], head.neutral[part.vertices])
        notes.append(f"{len(bound)} part{'s' if len(bound) > 1 else ''} bound to the skin went with it.")
    return at, notes


def _ball_under(head: Head, part: Part) -> Part | None:
    """The eyeball that a sheet lies on, by their names; None for what is no sheet."""
    word, _, side = part.name.rpartition("_")
    eyes = [eye for eye in head.parts if eye.name == f"eye_{side}" and len(eye.vertices) > 3]
    return eyes[0] if word == "ball_sheet" and eyes else None


def _back(head: Head, at: Rows, skin: Skin, sure: NDArray, inside: NDArray) -> Rows:
    """(3,) how far vertices that lie `inside` the head's skin have to go to lie inside the new one."""
    known = np.zeros(head.n_vertices, dtype=bool)
    known[sure] = True
    corners = skin.vertices[skin.polygons.triangles]
    corners = corners[known[corners].all(axis=1)]
    shift = np.zeros(3)
    if not len(corners):
        return shift
    own, new = ClosestSurface(head.neutral, corners), ClosestSurface(at, corners)
    found = own.closest(head.neutral[inside])
    kept = inside[((head.neutral[inside] - found.points) * found.normal).sum(1) < 0.0]
    size = float(np.linalg.norm(np.ptp(at[skin.vertices], axis=0)))
    for _ in range(BACK_ROUNDS):
        found = new.closest(at[kept] + shift)
        out = ((at[kept] + shift - found.points) * found.normal).sum(1)
        out[found.on_border | (found.distance > NEAR_SKIN * size)] = 0.0  # there the skin does not tell the side
        worst = int(np.argmax(out)) if len(out) else -1
        if worst < 0 or out[worst] <= 0.0 or float(np.linalg.norm(shift)) > MOST_BACK * size:
            break
        through = out > 0.5 * out[worst]
        way = unit_rows(found.normal[through].mean(axis=0)[None])[0]
        shift = shift - (out[worst] + CLEAR * size) * way
    return shift


def _about(head: Head, at: Rows, sure: NDArray, points: Rows, width: float) -> Similarity:
    """The similarity of the skin about `points` (k, 3): weights fall with the distance to their middle."""
    away = np.linalg.norm(head.neutral[sure] - points.mean(axis=0), axis=1)
    away = np.maximum(away - float(away.min()), 0.0)
    weight = np.exp(-0.5 * (away / max(width, 1e-9)) ** 2)
    chosen = weight > 1e-4
    if chosen.sum() < 4:
        chosen = np.ones(len(sure), dtype=bool)
        weight = np.ones(len(sure))
    return similarity(head.neutral[sure[chosen]], at[sure[chosen]], weight[chosen])


def _eyeball(head: Head, at: Rows, sure: NDArray, part: Part, balls: Sequence[Ball]) -> tuple[Rows, str]:
    points = head.neutral[part.vertices]
    own = ball_through(points, 0)
    centre = points.mean(axis=0) if own is None else own.centre
    radius = float(np.median(np.linalg.norm(points - centre, axis=1)))
    near = np.linalg.norm(head.neutral[sure] - centre, axis=1) < NEAR * radius
    chosen = sure[near]
    move = similarity(head.neutral[chosen], at[chosen]) if len(chosen) > 8 else _about(head, at, sure, points, radius)
    there, size = move(centre), move.scale * radius
    fitting = [
        ball
        for ball in balls
        if np.linalg.norm(ball.centre - there) < BALL_AWAY * size
        and BALL_RATIO[0] * size < ball.radius < BALL_RATIO[1] * size
    ]
    if fitting:
        ball = min(fitting, key=lambda b: float(np.linalg.norm(b.centre - there)))
        scale = ball.radius / radius
        placed = scale * ((points - centre) @ move.rotation.T) + ball.centre
        return placed, f"{part.name} is the sculpt's ball of {ball.radius:.1f} mm."
    return move(points), f"{part.name} follows its lids, {move.scale:.3f} times its size."


def _beside(own: ClosestSurface, fitted: Rows, points: Rows) -> Rows:
    """(k, 3) `points` (k, 3) beside the skin, carried in the frames of their nearest triangles."""
    found = own.closest(points)
    corner = own.triangles[found.triangle]
    before, size = _frames(own.positions, corner)
    after, grown = _frames(fitted, corner)
    local = np.einsum("nij,nj->ni", before, points - found.points)
    scale = np.clip(grown / np.maximum(size, 1e-300), 0.5, 2.0)
    foot = np.einsum("ij,ijk->ik", found.bary, fitted[corner])
    return foot + scale[:, None] * np.einsum("nij,ni->nj", after, local)


def _frames(positions: Rows, corner: NDArray) -> tuple[Rows, Rows]:
    """(k, 3, 3) rows tangent, bitangent, normal of triangles, and (k,) the square root of their area."""
    a, b, c = (positions[corner[:, i]] for i in range(3))
    normal = cross(b - a, c - a)
    size = np.sqrt(np.linalg.norm(normal, axis=1))
    normal, along = unit_rows(normal), unit_rows(b - a)
    return np.stack([along, cross(normal, along), normal], axis=1), size
