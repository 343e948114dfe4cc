"""Typefaces of this machine for letters that Moue's own lacks: Chinese, Japanese, Korean, Arabic, Hebrew and others.

Nothing is shipped or fetched: where a machine has none of these files, such letters are drawn as question marks, and
the window says so once.
"""

from __future__ import annotations

import sys
from functools import lru_cache
from pathlib import Path

FACES: dict[str, tuple[tuple[str, ...], ...]] = {
    "win32": (
        ("YuGothM.ttc", "meiryo.ttc", "msgothic.ttc", "msyh.ttc"), ("malgun.ttf",), ("segoeui.ttf", "arial.ttf"),
    ),
    "darwin": (
        ("ヒラギノ角ゴシック W3.ttc", "PingFang.ttc"), ("AppleSDGothicNeo.ttc",), ("Arial Unicode.ttf", "Arial.ttf"),
    ),
    "linux": (
        ("NotoSansCJK-Regular.ttc", "DroidSansFallbackFull.ttf", "DroidSansFallback.ttf", "wqy-microhei.ttc",
         "ipag.ttf", "VL-Gothic-Regular.ttf"),
        ("DejaVuSans.ttf", "FreeSans.ttf", "NotoNaskhArabic-Regular.ttf", "KacstOne.ttf"),
    ),
}  # fmt: skip
"""File names by system: of each group the first that is there. Arabic needs a face with Unicode's presentation forms.
"""


@lru_cache(maxsize=1)
def more_faces() -> tuple[Path, ...]:
    """The typefaces of this machine to draw other letters with, in the order in which they are asked."""
    groups = FACES.get(sys.platform, FACES["linux"])
    if sys.platform == "win32":
        roots = [Path("C:/Windows/Fonts")]
    elif sys.platform == "darwin":
        roots = [Path("/System/Library/Fonts"), Path("/Library/Fonts")]
    else:
        roots = [Path("/usr/share/fonts"), Path.home() / ".local/share/fonts"]
    wanted = {name for group in groups for name in group}
    there = (path for root in roots if root.is_dir() for path in root.rglob("*.tt[fc]"))
    known = {path.name: path for path in there if path.name in wanted}
    return tuple(known[name] for group in groups for name in [next((n for n in group if n in known), "")] if name)
