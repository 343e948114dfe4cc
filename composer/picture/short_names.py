"""Names shortened to fit, so that no two of them come out as the same letters.

A name that fits stays as it is. Of the others the beginning and the end are kept; where two would then look alike, the
words by which they differ are kept instead, and the last one, which is mostly the side, cut short where they must be;
where that does not fit, the letters about the first difference; and at last a number is put behind.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

TAIL = 6
"""Letters at the end of a name that are kept: its side."""
MORE = "…"
Fits = Callable[[str], bool]


def names_apart(names: Sequence[str], fits: Fits, tail: int = TAIL) -> dict[str, str]:
    """Each name with what is shown for it: different names look different.

    `fits` says whether a text has room; it must hold for every text that is a part of one that fits. Only where not
    even a number has room do two texts become alike.
    """
    names = list(dict.fromkeys(names))
    shown = {name: name if fits(name) else shortened(name, fits, tail) for name in names}
    taken: dict[str, list[str]] = {}
    for name in names:
        taken.setdefault(shown[name], []).append(name)
    for text, alike in taken.items():
        if len(alike) == 1:
            continue
        long = [name for name in alike if name != text]
        others = {shown[name] for name in names if name not in long}
        shown |= _told_apart(long, fits, tail, others)
    return shown


def shortened(name: str, fits: Fits, tail: int = TAIL) -> str:
    """One name without its middle, or without its end where not even `tail` letters of that fit; "" where nothing
    fits."""
    if fits(name):
        return name
    end = name[len(name) - tail :] if tail else ""
    head = _most(len(name) - len(end), lambda k: fits(name[:k] + MORE + end))
    if head:
        return name[:head] + MORE + end
    head = _most(len(name), lambda k: fits(name[:k] + MORE))
    return name[:head] + MORE if head else ""


def _told_apart(names: list[str], fits: Fits, tail: int, others: set[str]) -> dict[str, str]:
    """Names that came out alike, by the first way that keeps them apart from each other and from the `others`."""
    ways: list[Callable[[], dict[str, str]]] = [
        lambda: _stems(names, fits),
        lambda: {name: _about_difference(name, names, fits) for name in names},
    ]
    for way in ways:
        texts = way()
        if len(set(texts.values())) == len(names) and not others & set(texts.values()) and all(texts.values()):
            return texts
    texts, number = {}, 0
    for name in names:
        text = ""
        while not text or text in others or text in texts.values():
            number += 1
            mark = f"{MORE}{number}"
            head = _most(len(name), lambda k, name=name, mark=mark: fits(name[:k] + mark))  # type: ignore[misc]
            text = name[:head] + mark
            if number > 2 * len(names) + len(others):
                break
        texts[name] = text
    return texts


def _about_difference(name: str, names: list[str], fits: Fits) -> str:
    """A name from where it begins to differ from the others to where it ends to, with as much about it as fits."""
    first = min(_alike(name, other) for other in names if other != name)
    last = min(_alike(name[::-1], other[::-1]) for other in names if other != name)
    start, end = first, max(len(name) - last, first + 1)
    while start > 0 and name[start - 1].isalnum() and not name[start - 1].isspace():
        start -= 1

    def text(left: int, right: int) -> str:
        return (MORE if left > 0 else "") + name[left:right] + (MORE if right < len(name) else "")

    if not fits(text(start, end)):
        start = first
    if not fits(text(start, end)):
        return ""
    more = _most(len(name) - end, lambda k: fits(text(start, end + k)))
    less = _most(start, lambda k: fits(text(start - k, end + more)))
    return text(start - less, end + more)


def _stems(names: list[str], fits: Fits) -> dict[str, str]:
    """The words by which names differ, each cut to as many letters as fit, the same number in all of them."""
    split = {name: _words(name) for name in names}
    same: set[int] = set()
    if len({len(words) for words in split.values()}) == 1:
        same = {i for i, words in enumerate(zip(*split.values(), strict=True)) if len(set(words)) == 1}
        same -= {len(split[names[0]]) - 1}  # the side
    longest = max(len(word) for words in split.values() for word in words)
    for letters in range(longest, 0, -1):
        texts = {name: _stem(words, same, letters) for name, words in split.items()}
        if all(fits(text) for text in texts.values()):
            return texts
    return dict.fromkeys(names, "")


def _stem(words: list[str], same: set[int], letters: int) -> str:
    """Words cut to so many letters, those at the places `same` left out, a separator between the others."""
    text, between = "", ""
    for i, word in enumerate(words):
        if not word.isalnum() and len(words) > 1:
            between = word[:1] if text else ""
        elif i not in same:
            text += between + word[:letters]
            between = ""
    first = next((i for i, word in enumerate(words) if word.isalnum()), 0)
    return (MORE if first in same else "") + text


def _words(name: str) -> list[str]:
    """The words of a name and what stands between them, in order: `brow_innerUp` is brow, _, inner, Up."""
    return re.findall(r"[^\W\d_A-Z]+|[A-Z]+[^\W\d_A-Z]*|\d+|[\W_]+", name) or [name]


def _alike(one: str, other: str) -> int:
    """How many letters two names have in common from their beginning."""
    count = 0
    for a, b in zip(one, other, strict=False):
        if a != b:
            break
        count += 1
    return count


def _most(top: int, holds: Callable[[int], bool]) -> int:
    """The largest number from 0 to `top` for which something holds that holds for all below it; 0 where none does."""
    low = 0
    while low < top:
        middle = (low + top + 1) // 2
        if holds(middle):
            low = middle
        else:
            top = middle - 1
    return low
