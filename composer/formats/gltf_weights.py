"""Weights over time in glTF: a mesh written with an animation of its morph weights, and such animations read.

Specification: Khronos 2021, "glTF 2.0 Specification", sections 3.11 (animations: `weights` of a node, one value a
target at each time, in the targets' order) and appendix C (STEP, LINEAR, CUBICSPLINE: tangents scaled by the time
between keys).
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from composer.formats.gltf_file import GltfFile
from composer.formats.gltf_read import target_names
from composer.formats.weight_track import Between, WeightTrack

BETWEEN: dict[str, Between] = {"STEP": "hold", "LINEAR": "linear", "CUBICSPLINE": "cubic"}


@dataclass(frozen=True, eq=False)
class WeightAnimation:
    """The weights (f, t) of all targets of a mesh at `times` (f,) seconds, rising from 0 or later; straight between."""

    name: str
    times: NDArray
    weights: NDArray


def read_gltf_weights(path: Path) -> list[WeightTrack]:
    """The weights of the first animation that has any, a track a target by its name.

    Raises MoueError where the file cannot be used, or animates no weights.
    """
    file = GltfFile(path)
    for animation in file.items("animations"):
        tracks: dict[str, WeightTrack] = {}
        for channel in file.items("channels", dict, animation):
            goal = channel.get("target")
            if isinstance(goal, dict) and goal.get("path") == "weights":
                tracks |= {track.name: track for track in _tracks(file, animation, channel, goal)}
        if tracks:
            return list(tracks.values())
    raise file.wrong("animates no morph weights", "export the animation of shapes along")


def _tracks(
    file: GltfFile, animation: dict[str, Any], channel: dict[str, Any], goal: dict[str, Any]
) -> list[WeightTrack]:  # fmt: skip
    samplers = file.items("samplers", dict, animation)
    number = file.number(channel, "sampler")
    if number >= len(samplers):
        raise file.wrong(f"uses sampler {number} of {len(samplers)}")
    sampler = samplers[number]
    mesh = file.item("meshes", file.item("nodes", goal.get("node")).get("mesh"))
    extras = mesh["extras"] if isinstance(mesh.get("extras"), dict) else {}
    names = target_names(file, mesh, extras, [])
    times = file.accessor(sampler.get("input"), 1)[:, 0].astype(np.float64)
    values = file.accessor(sampler.get("output"), 1)[:, 0].astype(np.float64)
    kind = str(sampler.get("interpolation", "LINEAR"))
    if kind not in BETWEEN:
        raise file.wrong(f"has an animation of the unknown interpolation {kind[:20]!r}")
    if not len(times) or (np.diff(times) <= 0.0).any() or not np.isfinite(times).all():
        raise file.wrong("has an animation whose times do not rise")
    parts = 3 if kind == "CUBICSPLINE" else 1
    if len(values) != parts * len(times) * len(names) or not np.isfinite(values).all():
        wanted = f"{parts * len(times) * len(names):,}"
        raise file.wrong(f"has {len(values):,} weights for {len(times):,} times and {len(names)} targets, not {wanted}")
    table = values.reshape(len(times), parts, len(names))
    middle = table[:, 1 if parts == 3 else 0]
    tracks = []
    for place, name in enumerate(names):
        slopes = (table[:, 0, place], table[:, 2, place]) if parts == 3 else (None, None)
        tracks.append(WeightTrack(name, times, middle[:, place], BETWEEN[kind], *slopes))
    return tracks


def animation_tree(builder: Any, animation: WeightAnimation) -> dict[str, Any]:
    """The animation as glTF's JSON, its numbers added to the `builder` of the file's accessors."""
    times = builder.accessor(animation.times.astype("<f4"), None, bounds=True)
    weights = builder.accessor(animation.weights.astype("<f4").reshape(-1), None)
    return {
        "name": animation.name,
        "samplers": [{"input": times, "output": weights, "interpolation": "LINEAR"}],
        "channels": [{"sampler": 0, "target": {"node": 0, "path": "weights"}}],
    }
