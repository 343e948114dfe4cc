"""Numbers that went through four bytes, against numpy's shortest decimal of a float32."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from composer.plain_number import as_meant


@given(st.floats(width=32, allow_nan=False, allow_infinity=False))
def test_a_number_of_four_bytes_is_written_as_numpy_writes_it(value):
    assert as_meant(value) == float(str(np.float32(value)))
    assert np.float32(as_meant(value)) == np.float32(value)


@given(st.integers(-2000, 2000))
def test_hundredths_survive_four_bytes(hundredths):
    assert as_meant(float(np.float32(hundredths / 100))) == hundredths / 100


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_what_did_not_go_through_four_bytes_stays(value):
    assert as_meant(value) == value or np.float32(value) == value
