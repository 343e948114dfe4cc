"""Colours as numbers: sRGB and linear light, and the contrast between two colours.

sRGB's curve: IEC 61966-2-1:1999. Contrast: Web Content Accessibility Guidelines 2.1 (W3C, 2018), the
definitions of "relative luminance" and "contrast ratio"; body text needs 4.5 at level AA (success criterion
1.4.3).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Rgb = tuple[int, int, int]
_LUMINANCE = np.array([0.2126, 0.7152, 0.0722])


def to_linear(srgb: ArrayLike) -> Floats:
    """Linear light in [0, 1] from sRGB values in [0, 1], any shape."""
    s = np.asarray(srgb, dtype=np.float64)
    return np.where(s <= 0.04045, s / 12.92, ((np.maximum(s, 0.0) + 0.055) / 1.055) ** 2.4)


def to_srgb(linear: ArrayLike) -> Floats:
    """sRGB values in [0, 1] from linear light, clipped to [0, 1], any shape; in single precision for such light."""
    given = np.asarray(linear)
    x = np.clip(given if given.dtype == np.float32 else given.astype(np.float64), 0.0, 1.0)
    return np.where(x <= 0.0031308, x * 12.92, 1.055 * x ** (1.0 / 2.4) - 0.055)


def rgb(*values: int) -> Floats:
    """(3,) linear light from three sRGB values 0 to 255."""
    return to_linear(np.array(values) / 255.0)


def luminance(colour: Rgb) -> float:
    """Relative luminance in [0, 1] of an sRGB colour 0 to 255."""
    return float(to_linear(np.array(colour[:3]) / 255.0) @ _LUMINANCE)


def contrast(one: Rgb, other: Rgb) -> float:
    """Contrast ratio of two sRGB colours, from 1 (the same) to 21 (black on white)."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)
