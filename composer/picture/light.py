"""The light of a picture: a window at three quarters, the sky all round, a warm floor below; and the tone curve.

All directions are in the camera's frame (right, up, back), so the head is lit from the viewer's upper left in every
view. Colours and strengths are linear light, chosen by eye.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.picture.camera import Camera, unit

Floats = NDArray[np.float64]

WINDOW = (-0.62, 0.55, 0.66)  # the middle of the window, from the head
WINDOW_HALF = (0.16, 0.20)  # half its width and height, at unit distance
WINDOW_LIGHT = np.array([1.02, 0.985, 0.94]) * 1.00
SKY_LIGHT = np.array([0.90, 0.95, 1.00]) * 0.27
FLOOR_LIGHT = np.array([1.00, 0.94, 0.88]) * 0.11
FILL, FILL_LIGHT = (0.75, 0.10, 0.55), np.array([0.95, 0.97, 1.00]) * 0.10
RIM, RIM_LIGHT = (0.55, 0.45, -0.75), np.array([0.95, 0.97, 1.00]) * 0.16
BLEED = np.array([1.05, 0.86, 0.76])  # the warm tint of shade where light bleeds through the skin


class Light:
    """The light as one camera sees it, in world directions."""

    def __init__(self, camera: Camera) -> None:
        axes = camera.axes.copy()
        level = unit(
            axes[2] * np.array([1.0, 0.35, 1.0])
        )  # the window stays above the floor when the eye is below
        axes = np.stack([axes[0], np.cross(level, axes[0]), level])
        self.window = unit(np.array(WINDOW)) @ axes
        self.across = unit(np.cross(np.array([0.0, 1.0, 0.0]), self.window))
        self.upward = np.cross(self.window, self.across)
        self.fill = unit(np.array(FILL)) @ axes
        self.rim = unit(np.array(RIM)) @ axes

    def toward_window(self, panes: NDArray, within: Floats) -> Floats:
        """(k, 3) unit directions to places `within` (k, 2) in [0, 1] of `panes` (k,), 0..15 of four by four."""
        x = (panes % 4 + within[:, 0]) / 2.0 - 1.0
        y = (panes // 4 + within[:, 1]) / 2.0 - 1.0
        across, upward = x * WINDOW_HALF[0], y * WINDOW_HALF[1]
        return unit(self.window + across[:, None] * self.across + upward[:, None] * self.upward)

    def mirrored(self, normals: Floats, sight: Floats) -> Floats:
        """(k,) in [0, 1]: whether a mirror with `normals` shows the window to rays along `sight` (k, 3)."""
        bounced = sight - 2.0 * np.einsum("ij,ij->i", normals, sight)[:, None] * normals
        ahead = bounced @ self.window
        x = np.abs(bounced @ self.across) / np.maximum(ahead, 1e-6) / (1.25 * WINDOW_HALF[0])
        y = np.abs(bounced @ self.upward) / np.maximum(ahead, 1e-6) / (1.25 * WINDOW_HALF[1])
        edge = np.clip((1.15 - np.maximum(x, y)) / 0.3, 0.0, 1.0)
        return np.where(ahead > 0.0, edge, 0.0)

    def on(
        self, normals: Floats, sight: Floats, albedo: Floats, sheen: Floats, open_: Floats, lit: Floats
    ) -> Floats:
        """(k, 3) light that leaves towards the eye.

        `normals`, `sight` (from the eye) are unit (k, 3); `albedo` (k, 3); `sheen`, `open_` (how free of
        occlusion) and `lit` (the part of the window seen) are (k,).
        """
        facing = normals @ self.window
        direct = np.clip(facing, 0.0, 1.0) * lit
        wrapped = np.clip((facing + 0.30) / 1.30, 0.0, 1.0) ** 2 * (0.35 + 0.65 * lit)
        bleed = np.clip(wrapped - direct, 0.0, 1.0) * 0.30 * open_
        up = normals[:, 1]
        sky = (0.5 + 0.5 * up) ** 1.2 * open_
        floor = (0.5 - 0.5 * up) * open_
        fill = np.clip(normals @ self.fill * 0.7 + 0.3, 0.0, 1.0) * open_
        rim = np.clip(normals @ self.rim, 0.0, 1.0) ** 2 * open_
        warm = 1.0 + 0.16 * (1.0 - open_)[:, None] * (BLEED - 1.0) * 4.0
        total = direct[:, None] * WINDOW_LIGHT + bleed[:, None] * WINDOW_LIGHT * BLEED
        ambient = sky[:, None] * SKY_LIGHT + floor[:, None] * FLOOR_LIGHT + fill[:, None] * FILL_LIGHT
        total += ambient * np.clip(warm, 0.5, 1.3) + rim[:, None] * RIM_LIGHT
        half = unit(self.window - sight)
        shine = np.clip(np.einsum("ij,ij->i", normals, half), 0.0, 1.0)
        gloss = sheen * shine ** np.where(sheen > 0.08, 44.0, 14.0) * lit * (facing > 0.0) * 1.6
        return albedo * total + gloss[:, None]


def develop(light: Floats) -> Floats:
    """Display light in [0, 1] from scene light: straight in the shade, a soft shoulder in the highlights."""
    exposed = light * 1.06
    shoulder = 0.72
    over = np.maximum(exposed - shoulder, 0.0)
    return np.where(
        exposed < shoulder, exposed, shoulder + (1.0 - shoulder) * (1.0 - np.exp(-over / (1.0 - shoulder)))
    )
