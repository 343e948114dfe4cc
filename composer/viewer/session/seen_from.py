"""From where places of the head are seen: facing the eye, and not hidden by anything else of the head."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from composer.viewer.render.camera import Eye, framed
from composer.viewer.render.picking import Frozen, Picker

LOOKED_AT = 12
"""How many places are asked whether they are seen. A design choice, no source."""
ENOUGH = 0.6
"""Share of them that has to be seen for a side to do. A design choice, no source."""
YAWS, PITCHES = (0.0, 30.0, -30.0, 60.0, -60.0, 100.0, -100.0), (0.0, 35.0, -35.0)
"""Turns in degrees from the present side that are tried, the nearest first."""
STEEPEST = 60.0


def eye_that_sees(
    eye: Eye, picker: Picker, positions: NDArray, normals: NDArray, vertices: NDArray, size: tuple[int, int],
    hidden: frozenset[str] = frozenset(), fill: float = 0.55, around_mm: float = 0.0,
) -> Eye:  # fmt: skip
    """The eye turned as little as lets it see `vertices` (k,) of a pose (n, 3) mm with normals (n, 3), and so near that
    they and `around_mm` about them fill the picture. Where no side sees enough of them, the one that sees most."""
    points = positions[vertices].astype(np.float64)
    places = vertices[np.linspace(0, len(vertices) - 1, min(LOOKED_AT, len(vertices))).astype(np.int64)]
    corners = around_mm * np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)])
    box = np.concatenate([points, points.mean(axis=0) + corners])
    frozen = picker.freeze(positions, hidden)
    best, most = eye, -1.0
    for turned in _sides(eye, normals[vertices].mean(axis=0)):
        near = framed(turned, box, size, fill)
        share = _share_seen(near, frozen, positions, normals, places)
        if share > most + 1e-9:
            best, most = near, share
        if share >= ENOUGH:
            break
    return best


def _sides(eye: Eye, out: NDArray) -> list[Eye]:
    """The sides to try: the present one, turns from it by ever more, and that which the skin itself faces."""
    turns = sorted(((yaw, pitch) for yaw in YAWS for pitch in PITCHES), key=lambda turn: abs(turn[0]) + abs(turn[1]))
    sides = [
        replace(eye, yaw=(eye.yaw + yaw + 180.0) % 360.0 - 180.0,
                pitch=float(np.clip(eye.pitch + pitch, -STEEPEST, STEEPEST)))
        for yaw, pitch in turns
    ]  # fmt: skip
    if float(np.linalg.norm(out)) > 0.1:
        flat = float(np.hypot(out[0], out[2]))
        pitch = float(np.clip(np.degrees(np.arctan2(out[1], flat)), -STEEPEST, STEEPEST))
        sides.insert(1, replace(eye, yaw=float(np.degrees(np.arctan2(out[0], out[2]))), pitch=pitch))
    return sides


def _share_seen(eye: Eye, frozen: Frozen, positions: NDArray, normals: NDArray, places: NDArray) -> float:
    """The share in [0, 1] of the places (k,), vertices, that face the eye with nothing in between."""
    seen = 0
    for place in places:
        point = positions[place].astype(np.float64)
        way = point - eye.place
        far = float(np.linalg.norm(way))
        if float(normals[place] @ way) > -0.1 * far:
            continue
        hit = frozen.pick(eye.place, way)
        seen += hit is None or hit.distance > far - 0.5
    return seen / max(len(places), 1)
