"""Regions from displacement: found beside laid from landmarks, and judged by a hundred random mixes of six cells.

On the demo, and on a real library where MOUE_REAL names the folder that holds it (`library_a`, its OBJ files unpacked
or a folder of them beside the archive); without it that row is left out. The note tells what turned over; the goal is
no face where a ramp should bear the mismatch, and no more faces in all than with the landmark regions of the head.
"""

from __future__ import annotations

import os
import tarfile
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from composer.bench.demo_surface import demo_head
from composer.bench.measure import Row, measure
from composer.bench.random_mixes import random_mixes
from composer.bench.real_files import ARCHIVE
from composer.document.masks_of import moving_regions
from composer.document.region_sources import MOVING_REGIONS
from composer.head.find_landmarks.found import find_landmarks
from composer.head.head import Head
from composer.head.presets import lay_regions, region_set

MOST_MS = 5000.0


def rows() -> list[Row]:
    """One row a head; at most 5 s each, all that opening a library may take."""
    return [_row(head) for head in _heads()]


def _heads() -> Iterator[Head]:
    yield demo_head(0, shapes=True)
    folder = os.environ.get("MOUE_REAL")
    archive = Path(folder) / ARCHIVE if folder else None
    if archive is not None and archive.is_file():
        from composer.formats.library import open_library

        with tempfile.TemporaryDirectory() as place, tarfile.open(archive) as tar:
            tar.extractall(place, filter="data")
            yield open_library(next(Path(place).rglob("*.obj")).parent)


def _row(head: Head) -> Row:
    found = moving_regions(head, MOVING_REGIONS)
    marked = head if head.landmarks else head.with_(landmarks=find_landmarks(head).landmarks)
    laid = lay_regions(marked, region_set())
    deltas = [shape.delta for shape in head.shapes]
    ours = random_mixes(head.surface, head.skin, deltas, found.masks, found.ramps_mm)
    theirs = random_mixes(head.surface, head.skin, deltas, laid.masks)
    row = measure(
        f"{len(found.masks)} regions from displacement, {len(head.shapes)} shapes of {head.n_vertices:,} vertices",
        lambda: moving_regions(head, MOVING_REGIONS), "regions from landmarks",
        lambda: lay_regions(marked, region_set()), repeats=2, warm=0, most_ms=MOST_MS,
        note=f"{ours.words}; from landmarks: {theirs.words}",
    )  # fmt: skip
    good = not ours.tame_turned.any() and ours.turned.sum() <= theirs.turned.sum()
    return replace(row, holds=bool(row.holds and good), goal=f"{row.goal}, no fold that a ramp should bear")
