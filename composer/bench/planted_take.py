"""A performance of known weights: cells that come and go, noise, and a head that moves; made frame by frame."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from composer.formats.frame_sequence import FrameSequence
from composer.formats.mesh import Mesh
from composer.mixing.linear import Mixer
from composer.mixing.recipe import Cell, CellKey, Recipe


@dataclass(frozen=True, eq=False)
class PlantedTake:
    """The `weights` (f, c) of `cells` at `times` (f,) s, `noise_mm` of one coordinate, and the head's motions: rotation
    vectors (f, 3) rad and shifts (f, 3) mm."""

    mixer: Mixer
    cells: tuple[CellKey, ...]
    times: NDArray[np.float64]
    weights: NDArray[np.float64]
    noise_mm: float
    turns: NDArray[np.float64]
    shifts: NDArray[np.float64]
    seed: int

    @property
    def sequence(self) -> FrameSequence:
        """The frames in mm."""
        head = self.mixer.head
        mesh = Mesh(head.polygons, head.neutral, unit="mm", name="planted")
        names = [f"frame {number}" for number in range(len(self.times))]
        return FrameSequence(Path("planted.npz"), mesh, names, self.times, self.frames)

    def frames(self) -> Iterator[NDArray[np.float64]]:
        """The vertices (n, 3) mm of one frame after the other; the same ones each time."""
        rng = np.random.default_rng(self.seed)
        for row, turn, shift in zip(self.weights, self.turns, self.shifts, strict=True):
            cells = tuple(Cell(*key[:2], float(w)) for key, w in zip(self.cells, row, strict=True))
            pose = self.mixer.head.neutral + self.mixer.displacement(Recipe("planted", cells))
            frame = pose + self.noise_mm * rng.normal(size=pose.shape)
            yield Rotation.from_rotvec(turn).apply(frame) + shift


def planted_take(
    mixer: Mixer, cells: Sequence[CellKey], frames: int = 240, fps: float = 24.0, *, noise_mm: float = 0.2,
    turn_deg: float = 8.0, shift_mm: float = 15.0, seed: int = 1,
) -> PlantedTake:  # fmt: skip
    """Each cell comes and goes at its own pace, at rest between, with peaks of 0.3 to 1; the head turns and shifts by
    slow waves of at most `turn_deg` and `shift_mm`."""
    rng = np.random.default_rng(seed)
    times = np.arange(frames) / fps
    weights = np.zeros((frames, len(cells)))
    for column in range(len(cells)):
        period, start, peak = rng.uniform(1.0, 4.0), rng.uniform(0.0, 6.28), rng.uniform(0.3, 1.0)
        wave = np.sin(2.0 * np.pi * times / period + start) - rng.uniform(-0.2, 0.4)
        weights[:, column] = np.clip(peak * wave, 0.0, 1.0)

    def waves(most: float) -> NDArray[np.float64]:
        periods, starts = rng.uniform(2.0, 5.0, 3), rng.uniform(0.0, 6.28, 3)
        along = np.sin(2.0 * np.pi * times[:, None] / periods + starts)
        return most / np.sqrt(3.0) * along

    turns, shifts = waves(np.deg2rad(turn_deg)), waves(shift_mm)
    return PlantedTake(mixer, tuple(cells), times, weights, noise_mm, turns, shifts, seed)
