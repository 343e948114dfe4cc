"""The light of a picture: a window at three quarters, the sky all round, a warm floor below; and the tone curve.

Where its window, sky, floor, fill and rim are, and how strong, `lamps.py` says. A light that follows the view lies in
the camera's frame (right, up, back), so that the head is lit from the viewer's upper left in every view; others stand.
Colours and strengths are linear light.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.picture import eye_light as eye
from composer.picture import skin_light as skin
from composer.picture.camera import Camera, unit
from composer.picture.eye_paint import Seen
from composer.picture.lamps import FOLLOWING, lamps_of
from composer.picture.planes import Single, as_planes, column, dot
from composer.picture.planes import unit as unit_planes

_BLEED, _REACH, _SOAK = (column(np.array(each)) for each in (skin.BLEED, skin.REACH, skin.SOAK))


class Light:
    """The light as one camera sees it, in world directions."""

    def __init__(self, camera: Camera, name: str = FOLLOWING) -> None:
        """The light `name` of `lamps.LIGHTS`. Raises MoueError for an unknown one."""
        self.lamps = lamps = lamps_of(name)
        axes = self._axes(camera) if lamps.follows else np.eye(3)
        self.window = unit(np.array(lamps.window)) @ axes
        self.across = unit(np.cross(np.array([0.0, 1.0, 0.0]), self.window))
        self.upward = np.cross(self.window, self.across)
        self.fill = unit(np.array(lamps.fill)) @ axes
        self.rim = unit(np.array(lamps.rim)) @ axes

    @staticmethod
    def _axes(camera: Camera) -> NDArray[np.float64]:
        axes = camera.axes
        level = unit(
            axes[2] * np.array([1.0, 0.35, 1.0])
        )  # the window stays above the floor when the eye is below
        return np.stack([axes[0], np.cross(level, axes[0]), level])

    def toward_window(self, panes: NDArray, within: Single) -> Single:
        """(3, k) unit directions to places `within` (2, k) in [0, 1] of `panes` (k,), 0..15 of four by four."""
        x = ((panes % 4).astype(np.float32) + within[0]) / np.float32(2.0) - np.float32(1.0)
        y = ((panes // 4).astype(np.float32) + within[1]) / np.float32(2.0) - np.float32(1.0)
        wide, high = self.lamps.window_half
        return unit_planes(column(self.window) + x * column(self.across * wide) + y * column(self.upward * high))

    def mirrored(self, normals: Single, sight: Single) -> Single:
        """(k,) in [0, 1]: whether a mirror with `normals` (3, k) shows the window to rays along `sight` (3, k)."""
        bounced = sight - np.float32(2.0) * dot(normals, sight) * normals
        ahead = dot(column(self.window), bounced)
        wide, high = self.lamps.window_half
        near = np.maximum(ahead, 1e-6)
        pane_x = np.abs(dot(column(self.across / (1.25 * wide)), bounced)) / near
        pane_y = np.abs(dot(column(self.upward / (1.25 * high)), bounced)) / near
        edge = np.clip((1.15 - np.maximum(pane_x, pane_y)) / 0.3, 0.0, 1.0)
        bars = np.clip((np.minimum(pane_x, pane_y) - 0.04) / 0.08, 0.0, 1.0)
        edge *= 1.0 - eye.BARS * (1.0 - bars * bars * (3.0 - 2.0 * bars))
        return np.where(ahead > 0.0, edge, np.float32(0.0))

    def on_eye(self, seen: Seen, sight: Single, lit: Single) -> Single:
        """(k,) what the wet surface of an eye mirrors: the window with its bars, the sky, and both in the wet line."""
        wet = as_planes(seen.wet)
        bounced = sight - np.float32(2.0) * dot(wet, sight) * wet
        catch = eye.CATCH * self.mirrored(wet, sight) * np.clip(seen.below / 0.05, 0.0, 1.0)
        sky = eye.WET_SKY * np.clip(0.5 + 0.5 * bounced[1], 0.0, 1.0) ** 2 * seen.open
        upward = unit_planes(as_planes(seen.wet) + column(np.array([0.0, 0.7, 0.0])))
        gathered = 0.30 + 0.70 * np.clip(dot(column(self.window), upward), 0.0, 1.0) * (0.25 + 0.75 * lit)
        return np.asarray(catch + sky + eye.LINE_LIGHT * seen.line * gathered, dtype=np.float32)

    def on(
        self, normals: Single, sight: Single, albedo: Single, sheen: Single, open_: Single, lit: Single, bare: Single
    ) -> Single:
        """(3, k) light that leaves towards the eye.

        `normals`, `sight` (from the eye) are unit (3, k); `albedo` (3, k); `sheen`, `open_` (how free of
        occlusion), `lit` (the part of the window seen) and `bare` (the part not covered by a colour) are (k,).
        """
        lamps, facing = self.lamps, dot(column(self.window), normals)
        up = normals[1]
        above = np.maximum(0.5 + 0.5 * up, 0.0)
        sky = above * (0.75 + 0.25 * above) * open_
        fill = np.clip(dot(column(self.fill), normals) * 0.7 + 0.3, 0.0, 1.0) * open_
        rim = np.clip(dot(column(self.rim), normals), 0.0, 1.0) ** 2 * open_
        warm = 1.0 + (skin.WARM * (1.0 - open_) + skin.WARM_SHADE * (1.0 - lit)) * (_BLEED - 1.0)
        around = sky * column(lamps.sky_light) + fill * column(lamps.fill_light)
        around += ((1.0 - above) * open_) * column(lamps.floor_light)
        total = around * np.clip(warm, 0.5, 1.3) + rim * column(lamps.rim_light)
        total += self._from_window(facing, open_, lit, bare) * column(lamps.window_light)
        edge = 1.0 - np.abs(dot(normals, sight))
        glance = (skin.VELVET * edge * edge * edge) * (bare * (sheen > 0.0)) * sky
        return albedo * total + glance * column(lamps.sky_light) + self._gleam(normals, sight, sheen, lit, facing)

    @staticmethod
    def _from_window(facing: Single, open_: Single, lit: Single, bare: Single) -> Single:
        """(3, k) how much of the window's light leaves a place, that which ran on through the skin included."""
        direct = np.clip(facing, 0.0, 1.0)
        near = np.clip(facing + _REACH, 0.0, 2.0 * _REACH)
        run_on = near * near / (4.0 * _REACH) + np.maximum(facing - _REACH, 0.0) - direct
        run_on *= (skin.SHADED + (1.0 - skin.SHADED) * lit) * open_
        half_shade = _SOAK * (lit * (1.0 - lit) * direct)
        coloured = run_on + half_shade
        even = run_on[1] + np.zeros_like(run_on)
        return np.asarray(direct * lit + even + bare * (coloured - even))

    def _gleam(self, normals: Single, sight: Single, sheen: Single, lit: Single, facing: Single) -> Single:
        """(k,) what the surface mirrors of the window."""
        out = np.zeros_like(sheen)
        glossy = np.flatnonzero((sheen > 0.0) & (lit > 0.0) & (facing > 0.0))
        half = unit_planes(column(self.window) - sight.take(glossy, axis=1))
        shine = np.clip(dot(normals.take(glossy, axis=1), half), 0.0, 1.0)
        second = shine * shine
        eighth = (second * second) ** 2
        last = (eighth * eighth) ** 2
        of_skin = skin.BROAD * eighth + skin.NARROW * last
        of_wet = skin.WET * last * eighth * second * second
        sheen = sheen[glossy]
        out[glossy] = sheen * lit[glossy] * np.where(sheen > skin.WET_FROM, of_wet, of_skin)
        return out


def develop(light: Single) -> Single:
    """Display light in [0, 1] from scene light: straight in the shade, a soft shoulder in the highlights."""
    exposed = light * np.float32(skin.EXPOSURE)
    shoulder = skin.SHOULDER
    over = np.maximum(exposed - shoulder, 0.0)
    return np.where(
        exposed < shoulder, exposed, shoulder + (1.0 - shoulder) * (1.0 - np.exp(-over / (1.0 - shoulder)))
    )
