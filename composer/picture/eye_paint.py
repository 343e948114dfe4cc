"""An eye as a ray sees it: through the cornea to the iris that lies below it, white about it, and a wet line.

An eye is coloured without a texture, by where the refracted ray meets the disc of the iris (Snell's law): pupil, iris
with its fibres and dark limbus; about it white that is warmer towards the corners. The cornea is a ball of its own
(`eye_light.py`) whether the head has modelled one or not. The window's shader does the same, line by line.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.picture import eye_light as eye
from composer.picture.camera import unit
from composer.picture.colour import rgb
from composer.picture.eyeball import Eyeball, gaze_frame
from composer.picture.lid_edges import PLACES

Floats = NDArray[np.float64]
IRIS_IN, IRIS_OUT, LIMBUS, PUPIL, WHITE, CORNER = (
    rgb(*(int(each) for each in srgb))
    for srgb in (eye.IRIS_IN_SRGB, eye.IRIS_OUT_SRGB, eye.LIMBUS_SRGB, eye.PUPIL_SRGB, eye.WHITE_SRGB, eye.CORNER_SRGB)
)


@dataclass(frozen=True, eq=False)
class Seen:
    """What k rays see of an eye: its `albedo` (k, 3) in linear light, the normals (k, 3) that it is lit by and those of
    its wet surface, its places `below` the upper and `above` the lower lid (k,), and `line` (k,), how much of the wet
    line is there."""

    albedo: Floats
    lit_by: Floats
    wet: Floats
    below: Floats
    above: Floats
    line: Floats

    @property
    def open(self) -> Floats:
        """(k,) how much of the sky the lids let through."""
        upper = eye.UPPER_SHADE + (1.0 - eye.UPPER_SHADE) * _step(self.below, 0.0, eye.UPPER_REACH)
        return upper * (eye.LOWER_SHADE + (1.0 - eye.LOWER_SHADE) * _step(self.above, 0.0, eye.LOWER_REACH))

    @property
    def lit(self) -> Floats:
        """(k,) how much of the window the upper lid lets through."""
        return _step(self.below, eye.SHADOW_FROM, eye.SHADOW_TO)


def seen_of(ball: Eyeball, lids: Floats, points: Floats, sight: Floats, window: Floats, pixel_mm: float) -> Seen:
    """What rays along unit `sight` (k, 3) see of a ball that they meet at `points` (k, 3) mm. `lids` (32, 2) are the
    heights of its lids, `window` (3,) the direction to the light, and `pixel_mm` what a pixel covers."""
    axes = gaze_frame(ball.axis)
    out = unit(points - ball.centre)
    place = (points - ball.centre) @ axes.T / ball.radius
    along = sight @ axes.T
    surface, through = _cornea(place, along)
    angle = np.degrees(np.arctan2(np.linalg.norm(surface[:, :2], axis=1), surface[:, 2]))
    white = np.where(through, _step(angle, eye.IRIS_DEG - eye.EDGE_DEG, eye.IRIS_DEG), 1.0)
    iris = _iris(surface, along, window @ axes.T)
    sclera = _blend(np.broadcast_to(WHITE, out.shape), CORNER, _step(angle, 40.0, 70.0))
    bulge = (surface - [0.0, 0.0, eye.CORNEA_AHEAD]) / eye.CORNEA @ axes
    flat = out[:, :2] / (1.0 + np.maximum(out[:, 2:], -0.5))
    upper, lower = (np.interp(flat[:, 0], PLACES, side) for side in lids.T)
    above = flat[:, 1] - lower
    breadth = max(eye.LINE, 0.35 * pixel_mm / ball.radius)
    line = np.exp(-((above / breadth) ** 2)) * (eye.LINE / breadth)
    line *= _step(upper - lower, eye.LINE_FROM, eye.LINE_TO)
    return Seen(
        _blend(iris, sclera, white), unit(_blend(np.broadcast_to(ball.axis, out.shape), out, white)),
        unit(_blend(bulge, out, white)), upper - flat[:, 1], above, line,
    )  # fmt: skip


def _cornea(place: Floats, along: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Where rays meet the wet surface (k, 3), in radii and in the gaze's frame, and whether that is the cornea."""
    from_middle = place - [0.0, 0.0, eye.CORNEA_AHEAD]
    b = np.einsum("ij,ij->i", from_middle, along)
    inside = b * b - np.einsum("ij,ij->i", from_middle, from_middle) + eye.CORNEA**2
    met = place - (b + np.sqrt(np.maximum(inside, 0.0)))[:, None] * along
    through = (inside > 0.0) & (met[:, 2] > eye.RIM_COSINE)
    return np.where(through[:, None], met, place), through


def _iris(surface: Floats, along: Floats, window: Floats) -> Floats:
    """(k, 3) what is seen through the cornea at `surface` (k, 3)."""
    normal = (surface - [0.0, 0.0, eye.CORNEA_AHEAD]) / eye.CORNEA
    facing = np.clip(-np.einsum("ij,ij->i", normal, along), 0.0, 1.0)
    bent = 1.0 - (1.0 - facing**2) / eye.INDEX**2
    inner = along / eye.INDEX + (facing / eye.INDEX - np.sqrt(bent))[:, None] * normal
    depth = np.maximum(surface[:, 2] - eye.IRIS_AHEAD, 0.0) / np.maximum(-inner[:, 2], 0.05)
    across = (surface[:, :2] + depth[:, None] * inner[:, :2]) / eye.RIM_SINE
    out = np.linalg.norm(across, axis=1)
    turn = np.arctan2(across[:, 1], across[:, 0])
    part = np.clip((out - eye.PUPIL) / (1.0 - eye.PUPIL), 0.0, 1.0)
    fibres = 1.0 + 0.10 * np.sin(turn * 37.0 + 2.0 * np.sin(turn * 9.0)) + 0.07 * np.sin(turn * 61.0 + 1.3)
    fibres *= 1.0 + 0.16 * np.exp(-(((part - 0.22 - 0.03 * np.sin(turn * 11.0)) / 0.10) ** 2))
    toward = across @ window[:2] / np.maximum(out, 1e-5)
    iris = _blend(np.broadcast_to(IRIS_IN, surface.shape), IRIS_OUT, part)
    iris = iris * (fibres * (1.0 - eye.CAUSTIC * part * toward))[:, None]
    iris = _blend(iris, LIMBUS, 0.85 * _step(out, 0.80, 1.02))
    return _blend(iris, PUPIL, 1.0 - _step(out, eye.PUPIL - 0.025, eye.PUPIL + 0.025))


def _step(x: Floats, low: float, high: float) -> Floats:
    t = np.clip((x - low) / (high - low), 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


def _blend(one: Floats, other: Floats, amount: Floats) -> Floats:
    return np.asarray(one + amount[:, None] * (other - one))
