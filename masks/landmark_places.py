"""Where the landmarks of a face lie on its skin, and what a region's seeds still need, in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from composer.errors import MoueError
from composer.geometry.surface import Floats, Surface
from masks.region_preset import Seed

Need = frozenset[str]
"""Landmarks and curves, in words, that are all needed for one place."""
MOST_WAYS = 3
"""Alternatives that a sentence names."""


class Marks:
    """Landmarks on the skin: points as positions, curves as vertices (k,)."""

    def __init__(
        self, surface: Surface, points: Mapping[str, ArrayLike], curves: Mapping[str, ArrayLike], skin: NDArray
    ) -> None:
        self.surface = surface
        self.allowed = np.flatnonzero(skin)
        self.tree = cKDTree(surface.positions[self.allowed])
        self.points = {name: np.asarray(at, dtype=np.float64).reshape(3) for name, at in points.items()}
        lines = {name: self._as_vertices(line) for name, line in curves.items()}
        self.curves = {name: line for name, line in lines.items() if len(line)}

    def _as_vertices(self, line: ArrayLike) -> NDArray[np.int64]:
        given = np.asarray(line)
        if given.ndim == 2:
            given = self.nearest_one(given)
        if len(given) and not (int(given.min()) >= 0 and int(given.max()) < self.surface.n_vertices):
            raise MoueError(f"a curve names vertex {int(given.max())} of {self.surface.n_vertices}")
        keep = np.r_[True, given[1:] != given[:-1]] if len(given) else np.zeros(0, dtype=bool)
        return given[keep].astype(np.int64)

    def nearest(self, positions: NDArray) -> tuple[NDArray[np.int64], Floats]:
        """The skin's vertices (k,) about each position (m, 3), and how much further than the nearest each is, mm.

        A position on a vertex has that one alone; one between vertices has all that are nearly as near, so that a
        place on the midline leans to neither side.
        """
        sought = np.asarray(positions, dtype=np.float64).reshape(-1, 3)
        count = min(12, len(self.allowed))
        away, at = (each.reshape(len(sought), count) for each in self.tree.query(sought, k=count))
        edge = self.surface.mean_edge_mm
        more = away - away[:, :1]
        near = more <= np.where(away[:, :1] > 0.05 * edge, 0.5, 1e-3) * edge
        cut_off = near[:, -1:] & (away >= away[:, -1:] - 1e-6 * edge) & (more > 1e-6 * edge)
        near &= ~cut_off
        return self.allowed[at[near]].astype(np.int64), more[near]

    def nearest_one(self, positions: NDArray) -> NDArray[np.int64]:
        """(m,) the skin's nearest vertex to each position (m, 3)."""
        return self.allowed[self.tree.query(np.asarray(positions, dtype=np.float64))[1]].astype(np.int64)

    def place(self, name: str, side: str) -> tuple[NDArray | None, Need]:
        """(3,) a landmark, or the place midway between several joined by `+`; None and what is missing of it."""
        asked = [one + side if side and (one + side in self.points or one not in self.points) else one
                 for one in name.split("+")]  # fmt: skip
        missing = frozenset(f"the landmark {one}" for one in asked if one not in self.points)
        return (None if missing else np.mean([self.points[one] for one in asked], axis=0)), missing

    def curve(self, name: str, side: str) -> NDArray[np.int64] | None:
        """(k,) the vertices of a curve of this side; None where it is missing."""
        return self.curves.get(name + side if side and name + side in self.curves else name)

    def seed(self, seed: Seed, side: str) -> tuple[tuple[NDArray, Floats] | None, list[Need]]:
        """Vertices (k,) of a seed and how far each is from the place meant, mm (k,); and what is missing of it.

        A place is a landmark as given, or lies midway between landmarks, then perhaps below the skin; the nearest skin
        stands for it. A place that is missing breaks the line: across the gap it would lead through the head.
        """
        if seed.curve:
            return self._along_curve(seed, side)
        places = [self.place(name, side) for name in seed.points]
        lacking = [missing for _, missing in places if missing]
        runs: list[list[NDArray]] = [[]]
        for at, _ in places:
            if at is None:
                runs.append([])
            else:
                runs[-1].append(at)
        lines = [_line(np.array(run), max(self.surface.mean_edge_mm, 1e-6)) for run in runs if run]
        return (self.nearest(np.concatenate(lines)), lacking) if lines else (None, lacking)

    def _along_curve(self, seed: Seed, side: str) -> tuple[tuple[NDArray, Floats] | None, list[Need]]:
        line = self.curve(seed.curve, side)
        if line is None or len(line) < 2:
            return None, [frozenset([f"the curve {seed.curve}{side}"])]
        at = self.surface.positions[line]
        along = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(at, axis=0), axis=1))]
        part = along / max(along[-1], 1e-12)
        keep = (part >= seed.span[0] - 1e-9) & (part <= seed.span[1] + 1e-9)
        if keep.any():
            return (line[keep], np.zeros(int(keep.sum()))), []
        nearest = int(np.argmin(np.abs(part - sum(seed.span) / 2)))
        return (line[nearest : nearest + 1], np.zeros(1)), []


def _line(stops: NDArray, step: float) -> NDArray:
    """(m, 3) places no further apart than `step` along the broken line through `stops` (k, 3)."""
    pieces = [stops[:1]]
    for a, b in zip(stops[:-1], stops[1:], strict=True):
        count = max(1, int(np.ceil(np.linalg.norm(b - a) / step)))
        pieces.append(a + (b - a) * (np.arange(1, count + 1) / count)[:, None])
    return np.concatenate(pieces)


def any_of(needs: Sequence[Need]) -> str:
    """What would do in words: "the landmark pogonion", or "the landmarks a and b, or the curve c"."""
    least = [need for need in dict.fromkeys(needs) if not any(other < need for other in needs)]
    return ", or ".join(_all_of(need) for need in least[:MOST_WAYS])


def each_of(needs: Sequence[Need]) -> str:
    """Everything that is missing in words, each once."""
    return _all_of(list(dict.fromkeys(name for need in needs for name in sorted(need))))


def _all_of(names: Iterable[str]) -> str:
    points = sorted(name.removeprefix("the landmark ") for name in names if name.startswith("the landmark "))
    others = sorted(name for name in names if not name.startswith("the landmark "))
    word = ["the landmark " + points[0]] if len(points) == 1 else []
    if len(points) > 1:
        word = [f"the landmarks {', '.join(points[:-1])} and {points[-1]}"]
    return " and ".join(word + others)
