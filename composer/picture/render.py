"""A head as a picture: rays through a long lens, matt bone, window light, no window system and no GL.

`render_head` makes one picture. `Studio` keeps the data that poses of one head share, so that a sheet of expressions
costs little more than its rays. The same input gives the same bytes on the same machine.

`shot.py` says how a picture is taken, `place.py` what a ray finds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons
from composer.head.head import Head, Part
from composer.head.landmarks import Landmarks
from composer.picture.camera import Camera
from composer.picture.colour import to_linear
from composer.picture.figure import Figure, Posed
from composer.picture.lamps import FOLLOWING
from composer.picture.shot import BACKGROUND, Shot
from composer.picture.views import FILL, camera_of

if TYPE_CHECKING:
    from PIL.Image import Image

__all__ = ["BACKGROUND", "Studio", "render_head"]
Floats = NDArray[np.float64]


class Studio:
    """Pictures of poses of one head; it is built once for a head."""

    def __init__(self, figure: Figure) -> None:
        self.figure = figure

    @classmethod
    def of(
        cls, head: Head, level: int = 1, cameras: Sequence[Camera] = (), hidden: frozenset[str] = frozenset()
    ) -> Studio:
        """The studio of a head, at a level (0 to 8), for any camera or for pictures by `cameras` alone; parts named in
        `hidden`, and with "skin" what is no part, are not pictured."""
        return cls(Figure.of(head, level, cameras, hidden))

    def camera(
        self, view: str, size: tuple[int, int], poses: Sequence[NDArray] = (), fill: float = FILL
    ) -> Camera:
        """A camera of a named view that holds the neutral and all of `poses` (n, 3): one frame for a whole
        sheet.
        """
        points = np.concatenate([self.figure.neutral, *poses]) if poses else self.figure.neutral
        return camera_of(view, points, size, fill)

    def picture(
        self,
        positions: NDArray | None = None,
        *,
        posed: Posed | None = None,
        view: str = "front",
        size: tuple[int, int] = (480, 600),
        camera: Camera | None = None,
        colours: NDArray | None = None,
        light: str = FOLLOWING,
        clear: bool = False,
    ) -> Image:
        """A pose (n, 3) mm of the cage, or the neutral, as an RGB picture of `size` (width, height).

        `posed` is the same pose, prepared by `figure.posed` for several pictures. `camera` replaces view and size.
        `colours` (n, 3) or (n, 4) in sRGB, [0, 1], cover the bone; the fourth column is their share, and a row of NaN
        keeps the bone. `light` is a name of `lamps.LIGHTS`. A `clear` picture has no ground: it is RGBA, its colours
        not multiplied by alpha. Raises MoueError for an unknown view or light.
        """
        eye = camera or camera_of(view, self.figure.neutral if positions is None else positions, size)
        pose = posed or (self.figure.rest if positions is None else self.figure.posed(positions, eye))
        return self._taken(pose, eye, [colours], light, clear)[0]

    def pictures(self, camera: Camera, covers: Sequence[NDArray | None]) -> list[Image]:
        """The neutral as `picture` takes it, once for each of `covers`, which are `colours` or None: they share their
        rays, and cost little more than one."""
        return self._taken(self.figure.rest, camera, covers)

    def _taken(
        self, pose: Posed, camera: Camera, covers: Sequence[NDArray | None], light: str = FOLLOWING, clear: bool = False
    ) -> list[Image]:
        from PIL import Image

        shot = Shot(self.figure, pose, camera, [self._cover(colours) for colours in covers], light, clear)
        kind = "RGBA" if clear else "RGB"
        return [Image.fromarray(np.round(one * 255.0).astype(np.uint8), kind) for one in shot.take()]

    def _cover(self, colours: NDArray | None) -> tuple[Floats, Floats | None]:
        """Albedo (n', 3) of the fine level and how much of it is covered by given colours (n',), or None."""
        if colours is None:
            return self.figure.albedo, None
        given = np.asarray(colours, dtype=np.float64)
        amount = given[:, 3] if given.shape[1] == 4 else np.ones(len(given))
        amount = np.where(np.isfinite(given).all(axis=1), amount, 0.0)
        paint = to_linear(np.where(amount[:, None] > 0.0, given[:, :3], 0.0)) * amount[:, None]
        amount = self.figure.lift(amount)
        return self.figure.lift(paint) + (1.0 - amount)[:, None] * self.figure.albedo, amount


def render_head(
    positions: NDArray,
    polygons: Polygons,
    *,
    parts: Sequence[Part] = (),
    groups: Mapping[str, NDArray] | None = None,
    landmarks: Landmarks | None = None,
    view: str = "front",
    size: tuple[int, int] = (480, 600),
    level: int = 1,
    colours: NDArray | None = None,
) -> Image:
    """One picture of a mesh at `positions` (n, 3) mm: the pose itself is taken as the rest of its eyeballs.

    `view` is front, three_quarter, profile, below or back; `size` is (width, height) in pixels; `level`
    subdivides the cage first; `colours` are as in `Studio.picture`.
    Raises MoueError for an unknown view or a level out of range.
    """
    figure = Figure(polygons, positions, parts=parts, groups=groups, landmarks=landmarks, level=level)
    return Studio(figure).picture(view=view, size=size, colours=colours)
