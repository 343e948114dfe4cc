"""A fit in pictures: the library's head, the sculpt and the fitted cage, from the front and at three quarters."""

from __future__ import annotations

from typing import TYPE_CHECKING

from numpy.typing import NDArray

from composer.head.head import Head
from composer.picture.render import Studio, render_head

if TYPE_CHECKING:
    from PIL.Image import Image

SIZE = (420, 520)
"""Pixels of each of the six pictures."""


def before_and_after(library: Head, sculpt: Head, fitted: NDArray) -> Image:
    """One picture of six; `fitted` (n, 3) mm is the library's cage on the sculpt."""
    from PIL import Image as Images

    of_sculpt = Studio.of(sculpt, 0)
    sheet = Images.new("RGB", (3 * SIZE[0], 2 * SIZE[1]))
    for row, view in enumerate(("front", "three_quarter")):
        cage = render_head(
            fitted, library.polygons, parts=library.parts, groups=library.groups, landmarks=library.landmarks,
            view=view, size=SIZE,
        )  # fmt: skip
        shown = of_sculpt.picture(camera=of_sculpt.camera(view, SIZE))
        for column, picture in enumerate((Studio.of(library, 1).picture(view=view, size=SIZE), shown, cage)):
            sheet.paste(picture, (SIZE[0] * column, SIZE[1] * row))
    return sheet
