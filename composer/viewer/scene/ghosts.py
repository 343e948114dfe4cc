"""The faces of a clip before and after the moment that is shown, as lines over the head.

Before and after are the next keys in time; in a clip of a file, which has none, an eighth of a second.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.viewer.render.look import Look
from composer.viewer.render.view3d import View3D
from composer.viewer.scene.ghost_lines import lines_apart
from composer.viewer.session.same_key import same_key
from composer.viewer.session.stage import Stage
from composer.viewer.session.time_strip import TimeStrip
from composer.viewer.ui.imgui_pyglet import delete_texture, picture_texture

BESIDE_SECONDS = 0.125
"""How far ghosts of a clip without keys lie before and after. A design choice, no source."""


class Ghosts:
    """The pictures of one window, made again only where something in them has changed."""

    def __init__(self) -> None:
        self._held: dict[str, tuple[tuple, int]] = {}

    def pictures(self, stage: Stage, strip: TimeStrip, view: View3D, size_px: tuple[int, int]) -> dict[str, int]:
        """The GL name of each picture, by "before" and "after"; none while the clip plays."""
        made, eye = strip.made, stage.eye
        shown = strip.ghosts and stage.time_shown and stage.place == "mix" and stage.compare.how == "off"
        if not shown or strip.running or made is None or eye is None:
            return {}
        look, session = Look(hidden=stage.hidden), stage.opened

        def drawn(pose: NDArray[np.float32]) -> NDArray[np.uint8]:
            return view.picture(pose, session.normals_of(pose), look, eye, size_px)

        found: dict[str, int] = {}
        now: NDArray[np.uint8] | None = None
        for which, frame in frames_beside(strip).items():
            key = (made, strip.face.poser, frame, eye, size_px, stage.hidden, session.version)
            held = self._held.get(which)
            if held is None or not same_key(held[0], key):
                now = drawn(np.array(session.positions())) if now is None else now
                self._free(which)
                lines = lines_apart(drawn(strip.face.pose(made.frame(frame))), now)
                held = self._held[which] = (key, picture_texture(lines))
            found[which] = held[1]
        return found

    def forget(self) -> None:
        """Another head is open, or the window closes: give the pictures back to GL."""
        for which in list(self._held):
            self._free(which)

    def _free(self, which: str) -> None:
        held = self._held.pop(which, None)
        if held is not None:
            delete_texture(held[1])


def frames_beside(strip: TimeStrip) -> dict[str, int]:
    """The frames of the faces before and after; without those that there are not."""
    made = strip.made
    assert made is not None
    half = 0.5 / made.clip.fps
    if made.clip.keys:
        times = sorted({key.time for key in made.clip.keys})
        before = [time for time in times if time < strip.time - half]
        after = [time for time in times if time > strip.time + half]
        sides = {"before": before[-1:], "after": after[:1]}
        return {which: strip.frame_at(times[0]) for which, times in sides.items() if times}
    step = max(round(BESIDE_SECONDS * made.clip.fps), 1)
    beside = {"before": strip.frame - step, "after": strip.frame + step}
    return {which: frame for which, frame in beside.items() if 0 <= frame < made.n_frames}
