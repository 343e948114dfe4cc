"""Small pictures of shapes and recipes on the open head: a few are drawn each frame, and they are kept.

A shape's picture is cropped to what moves; a recipe's shows the face. A recipe's old picture stays until the new one
is there; it shows the linear join, which waits for nothing. Pictures are asked for by what is seen, so three hundred
shapes cost no more than those that are looked at. Those of a large head are drawn, and their normals made, on its
coarser level: they are small.
"""

from __future__ import annotations

import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.document.evaluated_recipe import EvaluatedRecipe
from composer.errors import MoueError
from composer.head.head import Head
from composer.head.understand.veils import veils_of
from composer.mixing.recipe import Recipe
from composer.viewer.render.camera import Eye, framed, named_eye
from composer.viewer.render.look import Look, Mark
from composer.viewer.render.view3d import View3D
from composer.viewer.session.rough_normals import RoughNormals, rough_normals
from composer.viewer.session.same_key import same_key
from composer.viewer.session.session import Session
from composer.viewer.ui.imgui_pyglet import delete_texture, picture_texture
from composer.viewer.ui.theme import RAISED

SIDE_PX = 168
BUDGET_SECONDS = 0.010
FRAMED_BY = 50_000
"""Of many more vertices than this, some are framed for all. Our choice."""
MOVING, SMALLEST, LEAST_MM, FACE, LOUPE = 0.12, 0.30, 0.02, 0.3, 0.07


class Thumbs:
    """The pictures of one window; needs its GL context."""

    def __init__(self, view: View3D) -> None:
        self._view = view
        self._made: dict[tuple[str, str], tuple[object, int]] = {}
        self._wanted: OrderedDict[tuple[str, str], object] = OrderedDict()
        self._session: Session | None = None
        self._rough: RoughNormals | None = None
        self.by_chance: Callable[[str], Recipe | None] = lambda name: None
        self._plain = Look()
        self._ground = np.array([round(255 * c) for c in RAISED[:3]], dtype=np.float64)

    def open(self, session: Session) -> None:
        """Forget the pictures of another head."""
        self.close()
        self._session = session
        self._rough = rough_normals(session.head)
        seen = session.head if self._rough is None else self._rough.head
        self._plain = Look(hidden=veils_of(seen))
        self._face = named_eye("front", face_points(seen), (SIDE_PX, SIDE_PX), 0.94)

    def of(self, kind: str, name: str) -> int | None:
        """The GL name of a picture, None until it is drawn; asking for it queues it."""
        session = self._session
        if session is None:
            return None
        sign = self._sign(session, kind, name)
        held = self._made.get((kind, name))
        if held is None or not same_key(held[0], sign):
            self._wanted[(kind, name)] = sign
            self._wanted.move_to_end((kind, name), last=held is None)
        return held[1] if held else None

    def step(self) -> bool:
        """Make pictures for a few milliseconds; whether more are wanted."""
        session, begin = self._session, time.perf_counter()
        while session is not None and self._wanted and time.perf_counter() - begin < BUDGET_SECONDS:
            key, sign = self._wanted.popitem(last=False)
            pixels = self._picture(session, *key)
            old = self._made.pop(key, None)
            if old is not None:
                delete_texture(old[1])
            if pixels is not None:
                self._made[key] = (sign, picture_texture(pixels))
        return bool(self._wanted)

    @property
    def waiting(self) -> int:
        """How many pictures are still to be drawn."""
        return len(self._wanted)

    def close(self) -> None:
        """Give every picture back."""
        for _, texture in self._made.values():
            delete_texture(texture)
        self._made.clear()
        self._wanted.clear()

    def _sign(self, session: Session, kind: str, name: str) -> object:
        """What a picture depends on: it is drawn again where this differs."""
        if kind == "landmark":
            marks = session.head.landmarks
            return (marks.points.get(name), marks.curves.get(name)) if marks else None
        if kind == "shape":
            number = session.head.shape_index.get(name)
            return None if number is None else session.head.shapes[number].delta
        return (self._recipe(session, kind, name), session.evaluated.mixer)

    def _recipe(self, session: Session, kind: str, name: str) -> Recipe | None:
        """The recipe of a picture: of the document, or found by chance."""
        if kind == "chance":
            return self.by_chance(name)
        return next((r for r in session.history.committed.recipes if r.name == name), None)

    def _picture(self, session: Session, kind: str, name: str) -> NDArray[np.uint8] | None:
        neutral = session.head.neutral
        look = self._plain
        if kind == "landmark":
            marks = session.head.landmarks
            if not marks or (name not in marks.points and name not in marks.curves):
                return None
            positions = neutral.astype(np.float32)
            eye, look = self._loupe(session, name)
        elif kind == "shape":
            if name not in session.head.shape_index:
                return None
            positions = (neutral + session.head.shape(name).delta).astype(np.float32)
            if self._rough is None:
                eye = self._close(neutral, positions, session.head.skin)
            else:
                at = self._rough.vertices
                eye = self._close(neutral[at], positions[at], session.head.skin[at])
        else:
            recipe = self._recipe(session, kind, name)
            if recipe is None:
                return None
            try:
                plain = recipe.with_(join="linear", contact=False)
                positions = EvaluatedRecipe.of(session.evaluated, plain).pose.astype(np.float32)
            except MoueError:
                return None
            eye = self._face
        rough = self._rough if kind != "landmark" else None
        if rough is None:
            normals = session.normals_of(positions)
        else:
            rough.into(normals := np.zeros_like(positions), positions)
        raw = self._view.picture(positions, normals, look, eye, (SIDE_PX, SIDE_PX), rough is not None)
        share = raw[:, :, 3:] / 255.0
        pixels = np.full_like(raw, 255)
        pixels[:, :, :3] = np.round(raw[:, :, :3] * share + self._ground * (1.0 - share))
        return pixels

    def _loupe(self, session: Session, name: str) -> tuple[Eye, Look]:
        """The eye before a landmark of the neutral, and the mark on it; before the middle of a curve, and marks along
        it, the first a large one."""
        head = session.head
        assert head.landmarks is not None
        if name in head.landmarks.curves:
            line = head.landmarks.curve_positions(name, head.neutral)
            along = cKDTree(head.neutral).query(line)[1]
            vertex, at = int(along[len(along) // 2]), line.mean(axis=0)
            reach = max(0.6 * float(np.ptp(line, axis=0).max()), LOUPE * head.diagonal)
        else:
            vertex, reach = head.landmarks.vertex(name, head.neutral), LOUPE * head.diagonal
            at, along = head.landmarks.position(name, head.neutral), np.array([vertex])
        out = session.normals_of(head.neutral.astype(np.float32))[vertex]
        yaw = float(np.clip(np.degrees(np.arctan2(out[0], max(float(out[2]), 0.25))), -62.0, 62.0))
        pitch = float(np.clip(np.degrees(np.arcsin(np.clip(out[1], -1.0, 1.0))), -25.0, 25.0))
        corners = at + reach * np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)])
        eye = framed(Eye(yaw=yaw, pitch=pitch), corners, (SIDE_PX, SIDE_PX), 0.95)
        marks = (
            Mark(np.array([each]), np.array([1.0]), (227, 188, 133, 255), 7.0 if i else 13.0)
            for i, each in enumerate(along)
        )
        return eye, replace(self._plain, marks=tuple(marks))

    def _close(self, neutral: NDArray, pose: NDArray, skin: NDArray) -> Eye:
        """The eye that holds what moves, before and after, with some of the face around it."""
        moved = np.sqrt(np.einsum("ij,ij->i", pose - neutral, pose - neutral))
        furthest = float(moved.max(initial=0.0))
        if furthest < LEAST_MM:
            return self._face
        on = moved >= MOVING * furthest
        points = np.concatenate([neutral[on], pose[on]])
        low, high = points.min(axis=0), points.max(axis=0)
        centre, half = 0.5 * (low + high), 0.5 * (high - low)
        least = 0.5 * SMALLEST * float(np.ptp(neutral[skin, 1] if skin.any() else neutral[:, 1]))
        half[:2] = np.maximum(half[:2], least)
        corners = centre + half * np.array([[x, y, 1.0] for x in (-1.0, 1.0) for y in (-1.0, 1.0)])
        eye = framed(self._face, corners, (SIDE_PX, SIDE_PX), 0.9)
        return eye if eye.distance < self._face.distance else self._face


def face_points(head: Head) -> NDArray[np.float64]:
    """(k, 3) mm, the part of the skin that the shapes move most often, all of it where there are none: what a picture
    of an expression has to show."""
    skin = np.flatnonzero(head.skin) if head.skin.any() else np.arange(head.n_vertices)
    often = np.zeros(len(skin), dtype=np.float32)
    for shape in head.expressions[:: max(len(head.expressions) // 40, 1)]:
        moved = np.abs(shape.delta[skin]).max(axis=1)
        furthest = float(moved.max(initial=0.0))
        if furthest > LEAST_MM:
            often += moved / furthest
    on = often > FACE * float(often.max(initial=0.0))
    face = skin[on] if on.sum() > 8 else skin
    return head.neutral[face[:: max(len(face) // FRAMED_BY, 1)]]
