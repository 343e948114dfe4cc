"""Labels on pictures: the typeface, legible inks, and text that fits its box.

The typeface is Inter (SIL Open Font License 1.1; `fonts/OFL.txt`), which is part of Moue. A label that does not fit is
shortened in its middle, with an ellipsis. Every ink has a contrast of at least 4.5 on its ground (Web Content
Accessibility Guidelines 2.1, success criterion 1.4.3).
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal

from composer.errors import MoueError, shorten, shorten_middle
from composer.picture.colour import Rgb, contrast

if TYPE_CHECKING:
    from PIL.ImageDraw import ImageDraw
    from PIL.ImageFont import FreeTypeFont

DARK: Rgb = (24, 25, 28)
QUIET: Rgb = (38, 40, 45)
ENOUGH = 4.5
"""Least contrast of text on its ground (success criterion 1.4.3 as above)."""
FONTS = Path(__file__).parent / "fonts"
Box = tuple[int, int, int, int]
Align = Literal["left", "middle", "right"]


def font(size: int, bold: bool = False) -> FreeTypeFont:
    """The face at a size in pixels. Raises MoueError where its file is missing from the installation."""
    from PIL import ImageFont

    path = FONTS / ("Inter-SemiBold.ttf" if bold else "Inter-Regular.ttf")
    if not path.is_file():
        raise MoueError("is missing from the installation of Moue", path, hint="install Moue again")
    return ImageFont.truetype(str(path), size, layout_engine=ImageFont.Layout.BASIC)


def ink_on(ground: Rgb) -> Rgb:
    """Black or white, whichever has more contrast on a ground; the contrast is at least sqrt(21) = 4.58.
    """
    black, white = (0, 0, 0), (255, 255, 255)
    return black if contrast(black, ground) >= contrast(white, ground) else white


def drawable(text: str, face: FreeTypeFont) -> str:
    """`text` with each character that the typeface lacks as its code point, such as U+65E5."""
    missing = bytes(face.getmask("\uffff"))
    shown = [c if c == " " or bytes(face.getmask(c)) not in (missing, b"") else f"U+{ord(c):04X} " for c in text]
    return "".join(shown).strip()


def fitted(text: str, face: FreeTypeFont, width: float, keep_end: bool = True) -> str:
    """`text` shortened in its middle, or without `keep_end` at its end, to at most `width` pixels; "" where nothing
    fits.
    """
    shortened = shorten_middle if keep_end else shorten
    if face.getlength(text) <= width:
        return text
    low, high = 0, len(text) - 1
    while low < high:  # the longest that fits
        middle = (low + high + 1) // 2
        if middle >= 2 and face.getlength(shortened(text, middle)) > width:
            high = middle - 1
        else:
            low = middle
    return shortened(text, low) if low >= 2 else ""


def write(
    draw: ImageDraw,
    text: str,
    box: Box,
    *,
    size: int = 14,
    bold: bool = False,
    align: Align = "left",
    ink: Rgb = DARK,
    keep_end: bool = True,
) -> Box:
    """Write one line inside `box` (left, top, right, bottom), its height centred; returns the ink's own box.
    """
    face = font(size, bold)
    left, top, right, bottom = box
    line = fitted(drawable(text, face), face, right - left, keep_end)
    width = face.getlength(line)
    x = {"left": left, "middle": left + (right - left - width) / 2.0, "right": right - width}[align]
    up, down = face.getmetrics()
    y = top + (bottom - top - up - down) / 2.0
    draw.text((round(x), round(y)), line, font=face, fill=ink)
    seen = draw.textbbox((round(x), round(y)), line, font=face)
    return int(seen[0]), int(seen[1]), int(seen[2] + 0.5), int(seen[3] + 0.5)


def line_height(size: int) -> int:
    """Pixels from one line to the next at a size."""
    up, down = font(size).getmetrics()
    return up + down
