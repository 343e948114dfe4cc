"""The choice of a library's neutral: by an option, by the folder's settings, by its name, or the target that is nearest
to all others, in this order. A note gives the choice with its reason, and a doubt where name and nearness disagree.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from numpy.typing import NDArray

from composer.errors import MoueError, nearest, shorten
from composer.formats.library_file import NAME as LIBRARY_FILE
from composer.formats.nearest_to_all import doubt_of
from composer.formats.neutral_name import neutral_by_name
from composer.formats.registry import suffixes

NEUTRAL = "neutral"
GIVEN, SETTLED, CALLED, NEAREST = "given", "settled", "called", "nearest"


@dataclass(frozen=True)
class NeutralChoice:
    """The neutral's `name` (a file's, without suffix), by what it was chosen (given, settled, called or nearest), and
    the `reason` in words.
    """

    name: str
    by: str
    reason: str = ""

    def doubt(self, deltas: Mapping[str, NDArray]) -> str:
        """A sentence where the neutral was chosen by its name and another target is clearly nearer to all others."""
        doubt = doubt_of(self.name, deltas) if self.by == CALLED else ""
        return f"{self.reason or 'it has that name'}, but {doubt}: choose with --neutral" if doubt else ""

    def words(self, deltas: Mapping[str, NDArray]) -> str:
        """A sentence on the choice; "" where it needs none."""
        if self.by == NEAREST:
            if len(deltas) == 2:
                return f"No target is named neutral; of two, {self.name} was taken. Choose with --neutral."
            if len(deltas) > 2:
                return f"No target is named neutral, so {self.name} was taken: it is the nearest to all others."
            return ""
        doubt = self.doubt(deltas)
        if doubt:
            return f"The neutral is in doubt: {self.name} was taken, because {doubt}."
        return f"The neutral is {self.name}: {self.reason}." if self.reason else ""


def chosen_neutral(
    names: Sequence[str], neutral: str | None, settled: str | None, folder: Path
) -> NeutralChoice | None:  # fmt: skip
    """The neutral among target names; None where no option, setting or name tells it.

    `neutral` is the name in an option, `settled` the one in the folder's `library.toml`. Raises MoueError where such a
    target does not exist, or where two files could both be the neutral.
    """
    for wanted, by, where in ((neutral, GIVEN, folder), (settled, SETTLED, folder / LIBRARY_FILE)):
        if wanted is not None:
            stem = Path(wanted).stem if Path(wanted).suffix.lower() in suffixes() else wanted
            if stem not in names:
                what = f"has no target named {shorten(repr(wanted), 40)}"
                raise MoueError(what, where, hint=nearest(stem, names) or None)
            return NeutralChoice(stem, by, f"{LIBRARY_FILE} says so" if by == SETTLED else "")
    called = [name for name in names if name.lower() == NEUTRAL]
    if len(called) > 1 and NEUTRAL not in called:
        raise MoueError(f"{' and '.join(called)} could both be the neutral", folder, hint="choose with --neutral")
    if called:
        return NeutralChoice(NEUTRAL if NEUTRAL in called else called[0], CALLED)
    named = neutral_by_name(names)
    if named is None:
        return None
    others = f", as {', '.join(named.others[:3])} might too" if named.others else ""
    return NeutralChoice(named.name, CALLED, f"its name says so ({named.word!r}){others}")
