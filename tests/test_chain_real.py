"""The whole chain on a real library, small: level 2, five shapes, one sculpt; `tests/chain_real.py` says what is done.
"""

from __future__ import annotations

from pathlib import Path

from tests.chain_real import MIX, SHOWN, run
from tests.real_library import real_folder, unpacked

EVERY = tuple(dict.fromkeys([*SHOWN, *(shape for _, shape, _ in MIX)]))


def test_the_sculpts_own_relief_is_in_every_carried_shape_and_mix_and_a_dab_comes_back(tmp_path: Path) -> None:
    real = real_folder()
    found = run(tmp_path, real, unpacked(real), number=1, second=None, level=2, finer=0, names=EVERY)
    assert found["bad_faces"] == 0
    assert found["accepted_left_of_size"] <= 1e-5
    for name in ("mix", *SHOWN):
        assert found[f"{name}_correlation"] > 0.95, name
        assert abs(found[f"{name}_gain"] - 1.0) < 0.05, name
