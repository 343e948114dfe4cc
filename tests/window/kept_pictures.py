"""Small pictures of the head that one window has drawn, kept for the windows after it.

Every window that opens the demo draws the same thirty small pictures, for which a processor without a graphics card
takes two seconds. A picture is drawn anew wherever anything that it is made of differs: the pose, the head, its light,
the eye, the size. What has marks, lines or colours on it is always drawn.
"""

from __future__ import annotations

import pickle
from dataclasses import replace
from hashlib import sha256
from typing import Any

import numpy as np
import pytest

_kept: dict[object, np.ndarray] = {}
MOST = 400


def _digest(*parts: object) -> bytes:
    return sha256(pickle.dumps(parts)).digest()


def keep_pictures(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let views hand out pictures that an earlier view of this process has drawn of the very same things."""
    from composer.viewer.render.head_buffers import HeadBuffers  # only once pyglet knows that there is no display
    from composer.viewer.render.look import Look
    from composer.viewer.render.view3d import View3D

    draw, open_head, shade = View3D.picture, HeadBuffers.open, HeadBuffers.shade

    def opened(self: Any, head: Any) -> None:
        open_head(self, head)
        self.made_of = head, _digest(
            head.polygons.counts, head.polygons.indices, head.neutral, head.parts, head.groups, head.materials,
            head.landmarks, head.uv, head.colours,
        )  # fmt: skip

    def shaded(self: Any, openness: Any, daylight: Any, thinness: Any = None) -> None:
        shade(self, openness, daylight, thinness)
        self.lit = self.shading, _digest(openness, daylight, thinness)

    def picture(
        self: Any, positions: Any, normals: Any, look: Any, eye: Any, size_px: Any, rough: bool = False
    ) -> np.ndarray:
        held = self._held
        head, made_of = getattr(held, "made_of", (None, b""))
        shading, lit = getattr(held, "lit", (None, b""))
        plain = look.same_as(replace(Look(), wire=look.wire, hidden=look.hidden))
        if not plain or head is not held.opened or shading != held.shading:  # or opened while nothing was kept
            return draw(self, positions, normals, look, eye, size_px, rough)
        how = look.wire, look.hidden, eye, tuple(size_px), self.samples, rough
        key = (made_of, lit, _digest(positions, normals), *how)
        if key not in _kept:
            if len(_kept) >= MOST:
                _kept.clear()
            _kept[key] = draw(self, positions, normals, look, eye, size_px, rough)
        return _kept[key].copy()

    monkeypatch.setattr(HeadBuffers, "open", opened)
    monkeypatch.setattr(HeadBuffers, "shade", shaded)
    monkeypatch.setattr(View3D, "picture", picture)
