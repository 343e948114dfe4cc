"""A real library carried onto other people's heads of its topology: how far from what is true, and whether lids close.

The folder is named by MOUE_REAL (`library_a/library_a.tar.xz`, `landmarks.toml`, `earlier_heads.npz`); without it the
rows are left out and the bench says so. The heads come from the same linear model as the library, in which a person's
expression is that person's neutral plus the library's own displacement: so that is the truth, but for contact.
"""

from __future__ import annotations

import os
import tarfile
import tempfile
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.bench.measure import Row, timed
from composer.errors import MoueError
from composer.fitting.carry import WAYS, Carrier
from composer.formats.library import open_library
from composer.head.head import Head
from composer.head.landmarks import read_landmarks
from composer.head.parts import with_recognised_parts

Floats = NDArray[np.float64]
UNIT_MM = 10.0
HEADS = (0, 1, 7)
"""Which of the twelve heads: an ordinary one, one whose lids gape most by plain addition, the smallest."""
FURTHEST = 3
"""Shapes that move the skin furthest, measured beside those that close the lids."""
AWAY_MM = 10.0
MOST_ERROR, MOST_GAP_MM = 0.1, 0.2


def rows() -> list[Row]:
    """A row a way: the time of a shape with contact beside that without; the note tells errors and gaps. Raises
    MoueError where MOUE_REAL names no such library."""
    folder = Path(os.environ.get("MOUE_REAL", "")) / "library_a"
    if not os.environ.get("MOUE_REAL") or not (folder / "library_a.tar.xz").is_file():
        raise MoueError("carry_real is left out: MOUE_REAL names no folder that holds library_a/library_a.tar.xz")
    with tempfile.TemporaryDirectory() as place:
        with tarfile.open(folder / "library_a.tar.xz") as tar:
            tar.extractall(place, filter="data")
        files = next(iter(Path(place).rglob("*.obj"))).parent
        head = with_recognised_parts(open_library(files, recognise=False))
        head = head.with_(landmarks=read_landmarks(folder / "landmarks.toml", UNIT_MM))
        heads = np.load(folder / "earlier_heads.npz")["heads"].astype(np.float64) * UNIT_MM
        return [_row(head, [heads[k] for k in HEADS], way) for way in WAYS]  # type: ignore[arg-type]


def lid_gap(head: Head, pose: NDArray, side: str) -> float:
    """Mean distance in mm of the upper lid's vertices to the lower lid's line and back, on a pose (n, 3)."""
    assert head.landmarks is not None
    upper, lower = (
        head.landmarks.curve_positions(f"{name}_lid_{side}", pose) for name in ("upper", "lower")
    )
    return float(np.concatenate([to_line(upper, lower), to_line(lower, upper)]).mean())


def to_line(points: NDArray, line: NDArray) -> Floats:
    """(p,) mm from points (p, 3) to a line through places (k, 3)."""
    start, way = line[:-1], line[1:] - line[:-1]
    along = ((points[:, None] - start) * way).sum(axis=2) / np.maximum((way**2).sum(axis=1), 1e-12)
    nearest = start + np.clip(along, 0.0, 1.0)[..., None] * way
    return np.asarray(np.linalg.norm(points[:, None] - nearest, axis=2).min(axis=1))


def closing(head: Head) -> dict[str, str]:
    """The shape that closes the lids of each side most, by side."""
    found = {}
    for side in ("left", "right"):
        gaps = [lid_gap(head, head.target(name), side) for name in head.shape_names]
        found[side] = head.shape_names[int(np.argmin(gaps))]
    return found


def error_away(head: Head, rest: NDArray, delta: NDArray, carried: NDArray) -> float:
    """The carried displacement's error (n, 3) against the true one, as a share of that, on the skin of a neutral
    `rest` (n, 3) further than AWAY_MM from the lines of lids and lips."""
    assert head.landmarks is not None
    lids = (f"{one}_lid_{side}" for one in ("upper", "lower") for side in ("left", "right"))
    names = ("lip_line_upper", "lip_line_lower", *lids)
    lines = np.concatenate([head.landmarks.curve_positions(name, rest) for name in names])
    far = np.flatnonzero(head.skin & (cKDTree(lines).query(rest)[0] > AWAY_MM))
    return float(np.linalg.norm((carried - delta)[far]) / max(float(np.linalg.norm(delta[far])), 1e-9))


def _row(head: Head, heads: list[Floats], way: str) -> Row:
    shuts = closing(head)
    far = sorted(head.shapes, key=lambda shape: -shape.furthest_mm)[:FURTHEST]
    names = [*dict.fromkeys([*shuts.values(), *(shape.name for shape in far)])]
    errors: dict[str, float] = {}
    wider, times, plain = [], [], []
    for rest in heads:
        carrier, free = Carrier(head, rest, way), Carrier(head, rest, way, contact=False)  # type: ignore[arg-type]
        for name in names:
            delta = head.shape(name).delta.astype(np.float64)
            held: list[Floats] = []
            plain.append(timed(lambda one=delta, by=free: by.carry(one)))  # type: ignore[misc]
            times.append(timed(lambda one=delta, by=carrier, to=held: to.append(by.carry(one))))  # type: ignore[misc]
            errors[name] = max(errors.get(name, 0.0), error_away(head, rest, delta, held[0]))
            for side in (side for side, shut in shuts.items() if shut == name):
                own = lid_gap(head, head.target(name), side)
                wider.append(lid_gap(head, rest + held[0], side) - own)
    blink = max(errors[name] for name in shuts.values())
    other = max((errors[name] for name in names if name not in shuts.values()), default=0.0)
    ours, reference = float(np.median(times)), float(np.median(plain))
    return Row(
        f"carry a real library by {way}, with contact", ours, float(np.ptp(np.quantile(times, [0.25, 0.75]))),
        "the same without contact", reference, ours / reference,
        f"blink errs <= {2 * MOST_ERROR:g}, others <= {MOST_ERROR:g}, lids <= {MOST_GAP_MM:g} mm wider than its own",
        blink <= 2 * MOST_ERROR and other <= MOST_ERROR and max(wider) <= MOST_GAP_MM,
        f"blink errs {blink:.3f}, others {other:.3f}, lids {max(wider):+.2f} mm, {len(heads)} heads",
    )  # fmt: skip
