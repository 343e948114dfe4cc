"""Rays are cast by threads; a process that is forked afterwards casts its own."""

from __future__ import annotations

import os

import numpy as np
import pytest

from composer.picture import rays
from tests.faults.killed import apart


@pytest.mark.skipif(not hasattr(os, "fork"), reason="a process is forked")
def test_a_fork_of_a_process_that_has_cast_rays_can_cast_them() -> None:
    """Threads are not forked (POSIX.1-2017, fork): a pool that was kept would wait for ever."""
    many = 3 * rays._CHUNK

    def cast() -> float:
        told = rays.Rays._spread(np.zeros((many, 3)), np.ones((many, 3)), lambda o, d: o.sum() + d.sum())
        return float(np.sum(told))

    assert cast() == 3.0 * many
    assert apart(cast).gave == 3.0 * many
