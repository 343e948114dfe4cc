"""Ramps, growing, diffusion and harmonic weights against closed forms and libigl."""

from __future__ import annotations

import numpy as np
import pytest

from composer.errors import MoueError
from masks.soften import diffuse, grow, harmonic, ramp, reramp, shrink, smoothstep
from tests.masks.surfaces import cylinder, plane, sphere


def test_smoothstep() -> None:
    """3 x^2 - 2 x^3 (Perlin's ease curve of 1985, "An image synthesizer"; from memory): 5/32 at 1/4, 1/2 at 1/2."""
    assert smoothstep([-1, 0, 0.25, 0.5, 1, 2]) == pytest.approx([0, 0, 5 / 32, 0.5, 1, 1])


def test_a_ramp_is_centred_on_the_border() -> None:
    assert ramp([-5, -2.5, 0, 2.5, 5], 10.0) == pytest.approx([0, 5 / 32, 0.5, 27 / 32, 1])
    assert ramp([-1e-9, 0.0], 0.0).tolist() == [0.0, 1.0]


def test_reramp_on_a_plane() -> None:
    flat = plane(41, 11)
    hard = (flat.positions[:, 0] > 20.25).astype(float)
    soft = reramp(flat, hard, 8.0)
    assert soft == pytest.approx(ramp(flat.positions[:, 0] - 20.5, 8.0), abs=1e-6)


def test_grow_and_shrink_move_the_border() -> None:
    flat = plane(41, 11)
    hard = (flat.positions[:, 0] > 20.25).astype(float)
    wider = grow(flat, hard, 5.0)
    assert wider.sum() == pytest.approx(hard.sum() + 5 * 11)
    assert shrink(flat, hard, 5.0).sum() == pytest.approx(hard.sum() - 5 * 11)


def test_diffusion_keeps_the_mean_and_the_range() -> None:
    ball = sphere(4, 60.0)
    values = (ball.positions[:, 1] > 20).astype(float)
    soft = diffuse(ball, values, 6.0)
    assert soft @ ball.mass == pytest.approx(values @ ball.mass, rel=1e-9)
    assert soft.min() >= 0 and soft.max() <= 1
    assert diffuse(ball, values, 0.0).tolist() == values.tolist()


def test_diffusion_of_a_cosine() -> None:
    """Backward Euler divides a mode of curvature lambda by 1 + t lambda; cos(k z) on a cylinder has k^2 (calculus)."""
    tube = cylinder(40, 129, 10.0, 0.5)
    k = 2 * np.pi / 32.0
    wave = 0.5 + 0.4 * np.cos(k * tube.positions[:, 2])
    soft = diffuse(tube, wave, 3.0)
    middle = np.abs(tube.positions[:, 2] - 32.0) < 8
    expected = 0.5 + 0.4 * np.cos(k * tube.positions[:, 2]) / (1 + 4.5 * k**2)
    assert soft[middle] == pytest.approx(expected[middle], abs=2e-3)


def test_harmonic_between_circles() -> None:
    """On a cylinder between two rings the harmonic function is linear in height; in a flat annulus it is
    log(r / R) / log(q / R) (calculus).
    """
    tube = cylinder(24, 21, 10.0, 2.0)
    low, high = np.flatnonzero(tube.positions[:, 2] == 0), np.flatnonzero(tube.positions[:, 2] == 40)
    assert harmonic(tube, high, low) == pytest.approx(tube.positions[:, 2] / 40.0)
    radius = 10.0 + tube.positions[:, 2]
    flat = tube.at(np.stack([tube.positions[:, 0], tube.positions[:, 1], 0 * radius], 1) * (radius / 10)[:, None])
    assert harmonic(flat, high, low) == pytest.approx(np.log(radius / 10) / np.log(5), abs=6e-3)


def test_harmonic_is_libigls() -> None:
    igl = pytest.importorskip("igl", reason="libigl is not installed: harmonic weights are not compared with it")
    ball = sphere(3, 30.0)
    high, low = np.flatnonzero(ball.positions[:, 2] > 25), np.flatnonzero(ball.positions[:, 2] < -20)
    held = np.concatenate([high, low]).astype(np.int64)
    values = np.concatenate([np.ones(len(high)), np.zeros(len(low))])[:, None]
    theirs = igl.harmonic(ball.positions, np.ascontiguousarray(ball.triangles, dtype=np.int64), held, values, 1)
    assert harmonic(ball, high, low) == pytest.approx(np.asarray(theirs).ravel(), abs=1e-9)


def test_what_makes_no_sense_is_refused() -> None:
    flat = plane(4, 4)
    with pytest.raises(MoueError, match="both loops"):
        harmonic(flat, [0, 1], [1, 2])
    with pytest.raises(MoueError, match="negative"):
        diffuse(flat, np.zeros(16), -1.0)
    with pytest.raises(MoueError, match="negative"):
        ramp([0.0], -2.0)
