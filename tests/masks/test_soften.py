"""Ramps against closed forms."""

from __future__ import annotations

import pytest

from composer.errors import MoueError
from masks.soften import ramp, reramp, smoothstep
from tests.masks.surfaces import plane


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


def test_what_makes_no_sense_is_refused() -> None:
    with pytest.raises(MoueError, match="negative"):
        ramp([0.0], -2.0)
