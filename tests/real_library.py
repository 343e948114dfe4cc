"""A real library, for the tests that must hold on a head that nobody here made.

`MOUE_REAL` names the folder that holds it: `library_a/library_a.tar.xz`, its `landmarks.toml` and what DEVELOPERS.md
lists. Without it these tests are skipped, and say so. The archive is unpacked once into the system's temporary folder,
and the head is read once a session.
"""

from __future__ import annotations

import os
import tarfile
import tempfile
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from composer.formats.library import open_library
from composer.formats.registry import read_mesh
from composer.geometry.polygons import Polygons
from composer.head.head import Head
from composer.head.landmarks import Landmarks, read_landmarks
from composer.head.parts import with_recognised_parts

ARCHIVE = "library_a.tar.xz"
UNIT_MM = 10.0
"""The library's own files are in cm."""


def real_folder() -> Path:
    """The folder of the real library. Skips the test, loudly, where there is none."""
    named = os.environ.get("MOUE_REAL", "")
    folder = Path(named) / "library_a"
    if not named or not (folder / ARCHIVE).is_file():
        pytest.skip(f"LEFT OUT: no real library (MOUE_REAL={named!r} names no folder that holds library_a/{ARCHIVE})")
    return folder


def unpacked(folder: Path) -> Path:
    """The folder of OBJ files that a real library's archive holds, unpacked where that has not been done."""
    archive = folder / ARCHIVE
    known = archive.stat()
    place = Path(tempfile.gettempdir()) / f"moue-real-{os.getuid()}-{known.st_size}-{known.st_mtime_ns}"
    if not place.is_dir():
        fresh = Path(tempfile.mkdtemp(dir=place.parent, prefix="moue-real-"))
        with tarfile.open(archive) as tar:
            tar.extractall(fresh, filter="data")
        try:
            fresh.rename(place)
        except OSError:  # another run was quicker
            if not place.is_dir():
                raise
    inside = [each.parent for each in place.rglob("*.obj")]
    return inside[0]


@pytest.fixture(scope="session")
def real_files() -> Path:
    """The folder of the real library's OBJ files."""
    return unpacked(real_folder())


def real_neutral() -> tuple[Polygons, NDArray[np.float64]]:
    """The polygons and the neutral (26719, 3) in mm, read without the shapes."""
    mesh = read_mesh(unpacked(real_folder()) / "generic_neutral_mesh.obj")
    return mesh.polygons, mesh.positions * UNIT_MM


@pytest.fixture(scope="session")
def real_head(real_files: Path) -> Head:
    """The real library as it opens, unmarked, its parts found."""
    return with_recognised_parts(open_library(real_files, recognise=False))


@pytest.fixture(scope="session")
def real_marks() -> Landmarks:
    """The real library's own landmarks."""
    return read_landmarks(real_folder() / "landmarks.toml", UNIT_MM)


def other_people() -> NDArray[np.float64]:
    """(12, 26719, 3) mm, the neutrals of twelve other people on the real library's topology."""
    return np.load(real_folder() / "earlier_heads.npz")["heads"].astype(np.float64) * UNIT_MM
