"""Colours against their standards."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from composer.picture.colour import contrast, luminance, to_linear, to_srgb
from composer.picture.labels import DARK, ENOUGH, QUIET, ink_on
from composer.picture.palette import OKABE_ITO, VIRIDIS, region_colour, viridis
from composer.picture.render import BACKGROUND


def wcag_contrast(one, other):
    # Web Content Accessibility Guidelines 2.1 (W3C 2018), "contrast ratio" and "relative luminance", as written.
    def lum(colour):
        parts = []
        for value in colour:
            s = value / 255.0
            parts.append(s / 12.92 if s <= 0.03928 else ((s + 0.055) / 1.055) ** 2.4)
        return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]

    a, b = sorted((lum(one), lum(other)), reverse=True)
    return (a + 0.05) / (b + 0.05)


byte = st.integers(0, 255)
colour = st.tuples(byte, byte, byte)


@given(colour, colour)
def test_contrast_is_the_guidelines(one, other):
    assert contrast(one, other) == pytest.approx(wcag_contrast(one, other), rel=1e-6)


def test_black_on_white_is_21():
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21.0)  # the guidelines' own upper end


def test_mid_grey_of_srgb():
    # IEC 61966-2-1: the sRGB value 0.5 is linear 0.2140 (printed in many tables, from memory).
    assert float(to_linear(0.5)) == pytest.approx(0.2140, abs=5e-5)
    assert luminance((255, 255, 255)) == pytest.approx(1.0)


@given(st.floats(0.0, 1.0))
def test_srgb_and_linear_undo_each_other(x):
    assert float(to_srgb(to_linear(x))) == pytest.approx(x, abs=1e-6)


@given(colour)
def test_one_of_the_two_inks_can_be_read_on_any_ground(ground):
    assert wcag_contrast(ink_on(ground), ground) >= ENOUGH


def test_every_ink_in_use_reaches_the_guidelines_on_its_ground():
    for ink in (DARK, QUIET):
        assert wcag_contrast(ink, BACKGROUND) >= ENOUGH
    for i in range(len(OKABE_ITO)):
        assert wcag_contrast(ink_on(region_colour(i)), region_colour(i)) >= ENOUGH


def test_viridis_has_its_published_ends_and_rises_evenly_in_lightness():
    # matplotlib 2.0's viridis (Smith and van der Walt 2015, CC0): #440154 to #fde725.
    np.testing.assert_array_equal(np.round(VIRIDIS[[0, -1]] * 255), [[0x44, 0x01, 0x54], [0xFD, 0xE7, 0x25]])
    y = to_linear(VIRIDIS) @ [0.2126, 0.7152, 0.0722]
    lightness = np.where(y > 216 / 24389, 116 * np.cbrt(y) - 16, y * 24389 / 27)  # CIE 1976 L*
    assert (np.diff(lightness) > -0.05).all()
    straight = np.linspace(lightness[0], lightness[-1], 256)
    assert np.abs(lightness - straight).max() < 2.0


def test_viridis_is_clipped_and_leaves_out_what_is_not_a_number():
    np.testing.assert_array_equal(viridis([-1.0, 2.0]), VIRIDIS[[0, -1]])
    assert np.isnan(viridis([np.nan])).all()


def test_region_colours_are_okabe_and_itos():
    # Okabe and Ito, Color Universal Design (2008), figure 16, sRGB; black is left out.
    assert set(OKABE_ITO) == {
        (230, 159, 0), (86, 180, 233), (0, 158, 115), (240, 228, 66), (0, 114, 178), (213, 94, 0), (204, 121, 167),
    }  # fmt: skip
