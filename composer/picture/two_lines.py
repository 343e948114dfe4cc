"""Names in two lines: broken between their words, so that more of a name can be read over a small picture.

A name breaks after a separator, before a capital that begins a word, between letters and digits, and on both sides of
an ideograph (Unicode Standard Annex 14, revision 51, 2023, class ID). What does not fit in two lines is shortened as
it would be in one.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence

from composer.picture.short_names import MORE, TAIL, Fits, names_apart

Lines = tuple[str, str]
WORD_ENDS = re.compile(r"(?<=[_\W])(?=[^_\W])|(?<=[^\W\d_A-Z])(?=[A-Z\d])|(?<=\d)(?=[^\W\d_])")


def names_in_two_lines(names: Sequence[str], fits: Fits, tail: int = TAIL) -> dict[str, Lines]:
    """Each name with its two lines, the second "" where one is enough; different names look different.

    `fits` says whether a text has room in one line, as `names_apart` asks for it.
    """
    shown = names_apart(names, lambda text: in_two_lines(text, fits) is not None, tail)
    return {name: in_two_lines(text, fits) or (text, "") for name, text in shown.items()}


def in_two_lines(name: str, fits: Fits) -> Lines | None:
    """A name in one line where it fits, else in the two most equal ones that fit; None where none do. The lines put
    together are the name."""
    if fits(name):
        return name, ""
    for at in sorted(_breaks(name), key=lambda at: abs(2 * at - len(name))):
        if fits(name[:at]) and fits(name[at:]):
            return name[:at], name[at:]
    return None


def _breaks(name: str) -> list[int]:
    """Where a name may go on in the second line."""
    places = {match.start() for match in WORD_ENDS.finditer(name)}
    wide = [unicodedata.east_asian_width(letter) in "WF" and letter.isalpha() for letter in name]
    places |= {at for at in range(1, len(name)) if wide[at] or wide[at - 1]}
    places |= {at + 1 for at, letter in enumerate(name) if letter == MORE}
    return [at for at in places if 0 < at < len(name)]
