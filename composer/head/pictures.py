"""Opening pictures: PNG, TIFF and JPEG, by content and not by name, and never a format that starts another program.

The first bytes of a file give its format. Pillow knows dozens of formats, and passes some of them (EPS) to other
programs; only the three in Moue's README are tried.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from composer.errors import MoueError
from composer.head.reading import DAMAGE, open_regular

if TYPE_CHECKING:
    from PIL.Image import Image

FORMATS = ("PNG", "TIFF", "JPEG")
SUFFIXES = (".png", ".tif", ".tiff", ".jpg", ".jpeg")
MOST_PIXELS = 16384 * 16384
"""The largest picture in pixels: the largest texture of common graphics cards (common practice, no source)."""


@contextmanager
def open_picture(path: Path) -> Iterator[Image]:
    """A picture, opened and not unpacked yet. Raises MoueError for another format or damage, here or while it is
    unpacked inside, for what is no regular file, and for more than MOST_PIXELS.
    """
    pillow = _pillow()
    with open_regular(path) as file:
        try:
            with pillow.open(io.BufferedReader(file), formats=FORMATS) as picture:
                if picture.width * picture.height > MOST_PIXELS:
                    raise _too_large(path, f" of {picture.width} x {picture.height}")
                yield picture
        except MoueError:
            raise
        except pillow.DecompressionBombError:
            raise _too_large(path) from None
        except MemoryError:
            raise MoueError("needs more memory than there is", path) from None
        except pillow.UnidentifiedImageError:
            raise MoueError("is no picture that can be read", path, hint="give a PNG, a TIFF or a JPEG") from None
        except (OSError, *DAMAGE):
            raise MoueError("is a damaged picture", path, hint="save it again") from None


def _too_large(path: Path, size: str = "") -> MoueError:
    return MoueError(f"is a picture{size}, too large for a head", path, hint="16,384 pixels a side are the most")


@cache
def _pillow() -> Any:
    """Pillow with its limit set for Moue's: it refuses a picture of more than twice its number, and warns above it."""
    from PIL import Image

    Image.MAX_IMAGE_PIXELS = MOST_PIXELS // 2
    warnings.filterwarnings("ignore", category=Image.DecompressionBombWarning)
    return Image
