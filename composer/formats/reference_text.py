"""What the text of an OBJ has in common with that of its folder's reference, found as bytes and not parsed again.

The files of a folder mostly have the same text behind their vertices, and many of their vertices stay where they are.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from composer.formats.obj_lines import PADDING, F, Lines, V, find_lines
from composer.formats.obj_numbers import Bytes

WORD = 8
"""Bytes of a line that are compared at once."""
LONGEST = 128
"""Lines of more bytes count as changed: only so many are compared (our choice)."""


@dataclass(frozen=True, eq=False)
class ReferenceText:
    """The `lines` of a reference, whose vertices all stand before `behind`, the text that holds all its polygons."""

    lines: Lines
    behind: Bytes

    @classmethod
    def of(cls, lines: Lines) -> ReferenceText | None:
        """The text of `lines`; None where polygons stand before vertices, or lines were joined."""
        vertices = lines.of_kind(V)
        if not len(vertices) or lines.continued or (lines.kinds[: vertices[-1]] == F).any():
            return None
        return cls(lines, lines.data[lines.ends[vertices[-1]] + 1 :])

    def before(self, text: Bytes) -> Lines | None:
        """The lines of another `text`, as `obj_lines.read_bytes` reads it, before what it has in common with this one;
        None where it has not, or where these lines are not plain ones without polygons."""
        if len(text) <= len(self.behind):
            return None
        before, behind = text[: -len(self.behind)], text[-len(self.behind) :]
        if before[-1] != 10 or not np.array_equal(behind, self.behind) or (before == 92).any():
            return None
        if np.count_nonzero(before == 10) <= PADDING:
            return None
        lines = find_lines(before)
        return None if (lines.kinds == F).any() else lines

    def changed(self, lines: Lines) -> NDArray[np.bool_] | None:
        """(n,) whether the line of each vertex in `lines` is another one than here; None where their number is."""
        chosen = lines.of_kind(V)
        if len(chosen) != len(self._lengths):
            return None
        starts, lengths = lines.starts[chosen], lines.ends[chosen] - lines.starts[chosen]
        changed = (lengths != self._lengths) | (lengths > LONGEST)
        for word, known in enumerate(self._words):
            changed |= _word(lines.data, starts, lengths, word) != known
        return changed

    @cached_property
    def _chosen(self) -> NDArray[np.int64]:
        return self.lines.of_kind(V)

    @cached_property
    def _lengths(self) -> NDArray[np.int64]:
        return self.lines.ends[self._chosen] - self.lines.starts[self._chosen]

    @cached_property
    def _words(self) -> list[NDArray[np.uint64]]:
        """The text of each vertex's line, word after word."""
        longest = min(int(self._lengths.max()), LONGEST)
        starts = self.lines.starts[self._chosen]
        return [_word(self.lines.data, starts, self._lengths, word) for word in range(-(-longest // WORD))]


def _word(data: Bytes, starts: NDArray[np.int64], lengths: NDArray[np.int64], word: int) -> NDArray[np.uint64]:
    """(k,) eight bytes of each line as one number, the `word`-th of it, with zeros behind its end."""
    every = np.ndarray((len(data) - WORD + 1,), dtype="<u8", buffer=data.data, strides=(1,))
    at = starts + word * WORD
    left = np.clip(lengths - word * WORD, 0, WORD)
    inside = at < len(every)
    out = np.where(inside, every[np.where(inside, at, 0)], 0)
    return out & _ENDS[left]


_ENDS = np.array([(1 << (8 * count)) - 1 for count in range(WORD + 1)], dtype=np.uint64)
"""Which bytes of a word count where so many of them belong to the line."""
