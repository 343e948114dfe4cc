"""The neutral among a library's files by their names, in any word order or script.

A word such as "neutral" counts anywhere in a name. Weaker words, such as "base" or "default", count where the rest of
the name has no meaning: numbers, words such as "head" or "mesh", and words that most of the files have in their names,
such as a character's name.
"""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

STRONG = (
    "neutral", "neutre", "neutro", "notr", "nötr", "нейтрал", "ニュートラル", "無表情", "无表情",
    "中立", "中性", "平常", "무표정", "중립", "محايد", "ουδετερ", "ουδέτερ",
)  # fmt: skip
"""Beginnings of words for a face at rest, in the languages we could think of (from memory)."""
WEAK = (
    "rest", "resting", "restpose", "repos", "reposo", "ruhe", "riposo", "relaxed", "reference", "referenz",
    "referencia", "ref", "base", "basis", "basic", "basemesh", "default", "generic", "bindpose", "bind",
    "базов", "исходн", "покой", "基本", "基準", "ベース", "기본", "أساس",
)  # fmt: skip
FILLING = frozenset([  # fmt: skip
    "head", "face", "mesh", "pose", "shape", "shapes", "target", "model", "geo", "geometry", "obj", "ply", "body",
    "character", "char", "base", "rest", "default", "generic", "expression", "expr", "final", "new", "old", "copy",
    "export", "low", "high", "mid", "lo", "hi", "res", "lod", "bs", "blend", "lib", "library", "fac", "scan",
    "clean", "topo", "v", "ver", "version", "the", "a", "of", "and", "s", "t",
])
"""Words that do not name an expression (from memory)."""
USUAL = 0.5
"""A word in more than this share of the names does not name an expression either (our choice)."""


@dataclass(frozen=True)
class NamedNeutral:
    """The file whose name marks the neutral, the word that does, and the other files with a word as strong."""

    name: str
    word: str
    others: tuple[str, ...] = ()


def neutral_by_name(names: Sequence[str]) -> NamedNeutral | None:
    """The neutral among file names without suffix; None where no name says so."""
    words = {name: words_of(name) for name in names}
    count = Counter(word for held in words.values() for word in set(held))
    usual = {word for word, n in count.items() if n > USUAL * len(names) and n > 1}
    ranked: list[tuple[int, int, int, str, str]] = []
    for name, held in words.items():
        strong = next((word for word in held if word.startswith(STRONG) and word not in usual), None)
        weak = next((word for word in held if _weak(word) and word not in usual), None)
        said = [w for w in held if w not in FILLING and w not in usual and not w.isdigit() and w not in (strong, weak)]
        said = [word for word in said if not re.fullmatch(r"v?\d+", word) and not _weak(word)]
        if strong is not None:
            ranked.append((0 if name.lower() == "neutral" else 1, len(said), len(name), name, strong))
        elif weak is not None and not said:
            ranked.append((2, 0, len(name), name, weak))
    if not ranked:
        return None
    ranked.sort()
    first = ranked[0]
    return NamedNeutral(first[3], first[4], tuple(row[3] for row in ranked[1:] if row[:2] == first[:2]))


def words_of(name: str) -> list[str]:
    """The words of a file's name in lower case, split at signs, between letters and digits, and at capitals."""
    plain = unicodedata.normalize("NFKC", name)
    humps = re.sub(r"(?<=[a-z0-9])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])", " ", plain)
    return re.findall(r"[^\W\d_]+|\d+", humps.casefold())


def _weak(word: str) -> bool:
    return word in WEAK or any(word.startswith(each) for each in WEAK if not each.isascii())
