"""What a person is told when their input cannot be used: one line that says what, where and what to do."""

from __future__ import annotations

import difflib
import unicodedata
from collections.abc import Iterable
from os import PathLike

LINE_LIMIT = 200


class MoueError(Exception):
    """A mistake in what was given to Moue. Its text is one line of at most 200 characters.

    The line reads `path:line: what; hint`: `where` is a path (or the name of an input), `line` a line of that
    file counted from 1, `hint` what the person can do. A long path is shortened in its middle, never the words.
    """

    def __init__(
        self,
        what: str,
        where: str | PathLike[str] | None = None,
        line: int | None = None,
        hint: str | None = None,
    ) -> None:
        self.what, self.where, self.line, self.hint = what, where, line, hint
        super().__init__(self._one_line())

    def at(self, where: str | PathLike[str] | None) -> MoueError:
        """The same error with a place, where it had none."""
        return self if self.where is not None else MoueError(self.what, where, self.line, self.hint)

    def _one_line(self) -> str:
        words = visible(" ".join((self.what + (f"; {self.hint}" if self.hint else "")).split()))
        if self.where is None:
            return shorten(words, LINE_LIMIT)
        tail = f":{self.line}: " if self.line is not None else ": "
        place = shorten_middle(visible(" ".join(str(self.where).split())), max(60, LINE_LIMIT - len(tail) - len(words)))
        return shorten(place + tail + words, LINE_LIMIT)


def visible(text: str, keep: str = "") -> str:
    """`text` with every sign that steers a terminal or cannot be seen written out, as \\u001b; `keep` are left as they
    are.

    These are control characters (Unicode's categories Cc and Cf: escapes, ends of lines, marks that turn the direction
    of writing), separators of lines and paragraphs (Zl, Zp), and halves of surrogate pairs (Cs), which a file's name
    may hold and no encoding can. The form is JSON's (RFC 8259, section 7), so that JSON says the same afterwards.
    """
    if text.isprintable():
        return text
    return "".join(_written_out(sign) if sign not in keep and _unseen(sign) else sign for sign in text)


def _unseen(sign: str) -> bool:
    return unicodedata.category(sign) in ("Cc", "Cf", "Cs", "Zl", "Zp")


def _written_out(sign: str) -> str:
    units = sign.encode("utf-16-be", "surrogatepass").hex()
    return "".join(f"\\u{units[i : i + 4]}" for i in range(0, len(units), 4))


def cannot(verb: str, where: str | PathLike[str], error: Exception) -> MoueError:
    """The error for what the system refuses: `where: cannot be VERB: why`, in the system's words."""
    return MoueError(f"cannot be {verb}: {getattr(error, 'strerror', None) or error}", where)


def shorten(text: str, limit: int) -> str:
    """`text` cut to `limit` characters, an ellipsis at the end where something is missing."""
    return text if len(text) <= limit else text[: limit - 1] + "…"


def shorten_middle(text: str, limit: int) -> str:
    """`text` cut to `limit` characters, its beginning and its end kept."""
    if len(text) <= limit:
        return text
    head = (limit - 1) // 3
    return text[:head] + "…" + text[len(text) - (limit - 1 - head) :]


def nearest(name: str, names: Iterable[str]) -> str:
    """A hint for a name that is not there: `did you mean a, b` of the closest names, or the first few there are.

    Returns "" where `names` is empty.
    """
    known = list(names)
    close = difflib.get_close_matches(name, known, n=3, cutoff=0.55)
    if close:
        return "did you mean " + " or ".join(close)
    if not known:
        return ""
    return "there is " + ", ".join(known[:6]) + (f" and {len(known) - 6} more" if len(known) > 6 else "")


def unknown(kind: str, name: str, names: Iterable[str], where: str | PathLike[str] | None = None) -> MoueError:
    """The error for an unknown region, shape, recipe and the like, with the nearest names.

    >>> str(unknown("shape", "jooy", ["joy", "anger"], "document.toml"))
    "document.toml: no shape is named 'jooy'; did you mean joy"
    """
    return MoueError(f"no {kind} is named {shorten(repr(name), 60)}", where=where, hint=nearest(name, names) or None)
