"""Places that keep the library's form: its own shape, carried by the skin about them, and joined without a step."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.bench.cube_sphere import cube_sphere
from composer.fitting.library_form import with_library_form
from composer.geometry.rigid import nearest_rotation
from composer.head.head import Head

CAGE, AT = cube_sphere(15)
HEAD = Head("cage", CAGE, AT)
TOP = int(np.argmax(AT[:, 2]))
ZONE = (np.linalg.norm(AT - AT[TOP], axis=1) < 45.0).astype(float)
WHOLE = CAGE.n_vertices


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 2**31), st.floats(0.3, 3.0))
def test_a_similar_copy_with_a_dent_gets_the_library_s_form_back(seed: int, size: float) -> None:
    rng = np.random.default_rng(seed)
    turn, _ = nearest_rotation(rng.normal(size=(3, 3)))
    copy = size * AT @ turn.T + rng.normal(size=3) * 50.0
    dented = copy + ZONE[:, None] * rng.normal(size=(WHOLE, 3)) * 5.0 * size
    restored = with_library_form(HEAD, dented, ZONE)
    np.testing.assert_allclose(restored, copy, atol=2e-3 * size * 200.0)
    assert np.array_equal(restored[ZONE == 0], dented[ZONE == 0])


def test_half_a_zone_goes_half_the_way() -> None:
    bumped = AT + ZONE[:, None] * [0.0, 0.0, 8.0]
    whole, half = with_library_form(HEAD, bumped, ZONE), with_library_form(HEAD, bumped, 0.5 * ZONE)
    np.testing.assert_allclose(half, 0.5 * (whole + bumped), atol=1e-9)


def test_nothing_painted_and_everything_painted_leave_the_cage_as_it_is() -> None:
    cage = AT * [1.0, 1.1, 0.9]
    assert np.array_equal(with_library_form(HEAD, cage, np.zeros(WHOLE)), cage)
    assert np.array_equal(with_library_form(HEAD, cage, np.ones(WHOLE)), cage)
