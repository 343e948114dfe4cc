"""Landmarks that are found on heads nobody marked, against those that are true of them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh

from composer.edits.lay_regions import laid_regions
from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.head.find_landmarks.found import FoundLandmarks, find_landmarks
from composer.head.head import Head, Shape
from composer.head.landmarks import Landmarks
from composer.head.parts import recognise_parts
from composer.head.presets import lay_regions, region_set
from tests.awkward_heads import awkward

HEADS = [
    (), ("three_shapes",), ("half_closed",), ("bust",), ("lopsided",), ("z_up",), ("inches",), ("head_drift",),
    ("triangles_only",), ("open_mask",),
]  # fmt: skip
SURE = ("stomion", "pronasale", "gnathion", "cheilion_left", "cheilion_right")
"""Places that form marks sharply on every head here."""


def misses(head: Head, found: FoundLandmarks, truth: Landmarks) -> dict[str, float]:
    """mm between each found point, or each vertex of a true curve and the found curve, in the mean."""
    out = {}
    for name in truth.points:
        if name in found.landmarks.points:
            out[name] = float(
                np.linalg.norm(truth.position(name, head.neutral) - found.landmarks.position(name, head.neutral))
            )
    for name in truth.curves:
        if name in found.landmarks.curves:
            line = found.landmarks.curve_positions(name, head.neutral)
            out[name] = float(np.mean([_to_line(p, line) for p in truth.curve_positions(name, head.neutral)]))
    return out


def _to_line(point: np.ndarray, line: np.ndarray) -> float:
    start, way = line[:-1], np.diff(line, axis=0)
    share = np.clip(((point - start) * way).sum(1) / np.maximum((way**2).sum(1), 1e-12), 0.0, 1.0)
    return float(np.linalg.norm(start + share[:, None] * way - point, axis=1).min())


@pytest.mark.parametrize("traits", HEADS, ids=lambda traits: "+".join(traits) or "demo")
def test_landmarks_are_near_the_true_ones_and_give_the_forty_regions(traits: tuple[str, ...]) -> None:
    a = awkward(*traits)
    found = find_landmarks(a.head)
    miss = misses(a.head, found, a.landmarks)
    measured = [each for name, each in miss.items() if name not in found.guesses]
    assert len(measured) >= 25 and np.median(measured) < 2.0 and not found.missing
    assert max(miss[name] for name in SURE) < 3.0
    for name in found.landmarks.points:
        if name.endswith("_left"):
            assert found.landmarks.position(name, a.head.neutral)[0] > 0.0, name
    laid = lay_regions(a.head, region_set("face"), found.landmarks)
    assert len(laid.masks) >= 36


def test_a_real_librarys_landmarks_are_near_its_own(real_head: Head, real_marks: Landmarks) -> None:
    found = find_landmarks(real_head)
    miss = misses(real_head, found, real_marks)
    measured = {name: each for name, each in miss.items() if name not in found.guesses}
    assert np.median(list(miss.values())) < 3.0 and len(miss) >= 28
    assert np.median(list(measured.values())) < 1.5 and max(measured.values()) < 4.0
    assert max(miss[name] for name in miss if "lid" in name) < 0.6
    assert any(name.startswith("brow") for name in found.guesses)
    assert any("aurale" in name for name in found.guesses)


def test_an_unmarked_real_library_gets_its_forty_regions(real_head: Head, tmp_path: Path) -> None:
    project, notes = laid_regions(real_head, tmp_path / "a.toml", "landmarks")
    assert len(project.regions) >= 36
    assert any("guessed" in note for note in notes)
    assert set(project.curves) >= {"upper_lip", "lip_line_upper", "upper_lid_left"}


def test_what_no_motion_tells_is_not_invented() -> None:
    """Without a shape that opens the mouth there is no mouth; a head without anything to go by has no landmark."""
    a = awkward("three_shapes")
    still = a.head.with_(shapes=())
    found = find_landmarks(still)
    assert "stomion" not in found.landmarks.points and "mouth, nose and chin" in found.missing
    with pytest.raises(MoueError, match="landmarks|needs"):
        bare = still.with_(neutral=np.random.default_rng(0).normal(size=still.neutral.shape))
        laid_regions(bare, Path("a.toml"), "landmarks")


@pytest.mark.parametrize("seed", range(3))
def test_no_face_is_seen_in_what_is_none(seed: int) -> None:
    """A ball that bulges here and there has no eye, no mouth, no part."""
    ball = trimesh.creation.icosphere(subdivisions=3, radius=90.0)
    rng = np.random.default_rng(seed)
    at, faces = np.asarray(ball.vertices) * [0.8, 1.2, 1.0], np.asarray(ball.faces)
    bumps = [np.exp(-((at - at[rng.integers(len(at))]) ** 2).sum(axis=1) / 800.0)[:, None] for _ in range(5)]
    shapes = tuple(Shape(f"s{i}", (8.0 * bump * rng.normal(size=3)).astype(np.float32)) for i, bump in enumerate(bumps))
    head = Head("ball", Polygons(np.full(len(faces), 3), faces.ravel(), len(at)), at, shapes)
    found = find_landmarks(head)
    assert not found.landmarks and len(found.missing) == 3
    assert not recognise_parts(head)
