"""The whole chain on a real library, small: level 2, three shapes, one sculpt; `tests/chain_real.py` says what is done.

It takes two to three minutes, so it runs where `MOUE_CHAIN=1` asks for it.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.chain_real import MIX, run
from tests.real_library import real_folder, unpacked

SHAPES = tuple(dict.fromkeys(shape for _, shape, _ in MIX))


@pytest.mark.skipif(os.environ.get("MOUE_CHAIN") != "1", reason="LEFT OUT: MOUE_CHAIN=1 runs the chain, some minutes")
def test_the_sculpts_own_relief_is_in_every_carried_shape_and_mix_and_a_dab_comes_back(tmp_path: Path) -> None:
    real = real_folder()
    found = run(tmp_path, real, unpacked(real), number=1, second=None, level=2, finer=0, names=SHAPES)
    assert found["bad_faces"] == 0
    assert found["accepted_left_of_size"] <= 1e-5
    measured = [name.removesuffix("_gain") for name in found if name.endswith("_gain") and name != "planted_gain"]
    assert {"mix", "jawOpen"} <= set(measured)
    for name in measured:
        assert found[f"{name}_correlation"] > 0.99, name
        assert abs(found[f"{name}_gain"] - 1.0) < 0.02, name
