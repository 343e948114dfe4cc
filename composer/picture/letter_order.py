"""Names in scripts that run from the right: letters in the order and the forms in which they are drawn.

The order is that of the Unicode Bidirectional Algorithm (Unicode Standard Annex 9, revision 50, 2024: rules P2, P3, W1
to W7, N0 without brackets, N1, N2, I1, I2, L1, L2, L4), for one line without embeddings, overrides and isolates: those
are invisible characters, which no name here has. Arabic letters take the form that their neighbours ask for (The
Unicode Standard 15.1, section 9.2, rules R1 to R7 and table 9-9), out of the presentation forms that Unicode itself
maps to each letter. Nothing is drawn here, and no font is asked.
"""

from __future__ import annotations

import unicodedata
from functools import lru_cache

STRONG = {"L": "L", "R": "R", "AL": "R"}
FORMS = ("isolated", "final", "initial", "medial")


class Drawn(str):
    """Text as it is drawn, from left to right; `as_drawn` leaves it as it is."""

    __slots__ = ()


def as_drawn(text: str) -> str:
    """`text` as it is drawn from left to right, Arabic letters in their joined forms."""
    return text if isinstance(text, Drawn) or text.isascii() else _turned(text)


@lru_cache(maxsize=4096)
def _turned(text: str) -> str:
    kinds = [unicodedata.bidirectional(c) or "L" for c in text]
    if not {"R", "AL", "AN"} & set(kinds):
        return text
    joined = _joined(text)
    levels = _levels(kinds)
    places = _order(levels, kinds)
    mirrored = [_mirror(joined[i]) if levels[i] % 2 else joined[i] for i in places]
    return Drawn("".join(mirrored))


def runs_from_right(text: str) -> bool:
    """Whether a line begins at the right: its first letter that has a direction runs from there (rules P2, P3)."""
    kinds = (STRONG.get(unicodedata.bidirectional(letter)) for letter in text)
    return next((kind for kind in kinds if kind), "L") == "R"


def _levels(kinds: list[str]) -> list[int]:
    """The embedding level of each character, by its bidirectional class."""
    base = next((STRONG[kind] for kind in kinds if kind in STRONG), "L")
    level = 1 if base == "R" else 0
    found = _weak(list(kinds), base)
    found = _neutral(found, base)
    above = {0: {"R": 1, "AN": 2, "EN": 2}, 1: {"L": 1, "AN": 1, "EN": 1}}[level]
    return [level + above.get(kind, 0) for kind in found]


def _weak(kinds: list[str], base: str) -> list[str]:
    """Rules W1 to W7."""
    before = base
    for i, kind in enumerate(kinds):  # W1
        if kind == "NSM":
            kinds[i] = before
        before = kinds[i]
    strong = base
    for i, kind in enumerate(kinds):  # W2
        if kind in ("L", "R", "AL"):
            strong = kind
        elif kind == "EN" and strong == "AL":
            kinds[i] = "AN"
    kinds = ["R" if kind == "AL" else kind for kind in kinds]  # W3
    for i in range(1, len(kinds) - 1):  # W4
        one, other = kinds[i - 1], kinds[i + 1]
        if one == other and (one == "EN" and kinds[i] in ("ES", "CS") or one == "AN" and kinds[i] == "CS"):
            kinds[i] = one
    i = 0
    while i < len(kinds):  # W5
        end = i
        while end < len(kinds) and kinds[end] == "ET":
            end += 1
        if end > i and ((i and kinds[i - 1] == "EN") or (end < len(kinds) and kinds[end] == "EN")):
            kinds[i:end] = ["EN"] * (end - i)
        i = max(end, i + 1)
    kinds = ["ON" if kind in ("ES", "ET", "CS") else kind for kind in kinds]  # W6
    strong = base
    for i, kind in enumerate(kinds):  # W7
        if kind in ("L", "R"):
            strong = kind
        elif kind == "EN" and strong == "L":
            kinds[i] = "L"
    return kinds


def _neutral(kinds: list[str], base: str) -> list[str]:
    """Rules N1 and N2: what stands between takes the direction of both sides, else that of the line."""
    sides = {"L": "L", "R": "R", "EN": "R", "AN": "R"}
    i = 0
    while i < len(kinds):
        end = i
        while end < len(kinds) and kinds[end] not in sides:
            end += 1
        if end > i:
            left = sides[kinds[i - 1]] if i else base
            right = sides[kinds[end]] if end < len(kinds) else base
            kinds[i:end] = [left if left == right else base] * (end - i)
        i = max(end, i + 1)
    return kinds


def _order(levels: list[int], kinds: list[str]) -> list[int]:
    """Rules L1 and L2: the place in the text of each character drawn, from left to right. Marks stay behind the
    letter that they stand on (L3)."""
    levels = list(levels)
    line = min(levels) if not levels else (1 if _is_right(kinds) else 0)
    for i in range(len(levels) - 1, -1, -1):  # L1
        if kinds[i] not in ("WS", "S", "B", "BN"):
            break
        levels[i] = line
    places = list(range(len(levels)))
    for level in range(max(levels), 0, -1):  # L2
        i = 0
        while i < len(places):
            end = i
            while end < len(places) and levels[places[end]] >= level:
                end += 1
            places[i:end] = places[i:end][::-1]
            i = max(end, i + 1)
    i = 0
    while i < len(places):  # L3
        end = i
        while end < len(places) and kinds[places[end]] == "NSM" and levels[places[end]] % 2:
            end += 1
        if end > i and end < len(places):
            places[i : end + 1] = [places[end], *places[i:end][::-1]]
        i = max(end, i + 1)
    return places


def _is_right(kinds: list[str]) -> bool:
    return next((STRONG[kind] for kind in kinds if kind in STRONG), "L") == "R"


@lru_cache(maxsize=1)
def _forms() -> tuple[dict[str, dict[str, str]], dict[str, dict[str, str]]]:
    """The drawn forms of each Arabic letter by what they are called, and those of lam with alef."""
    single: dict[str, dict[str, str]] = {}
    double: dict[str, dict[str, str]] = {}
    for code in (*range(0xFB50, 0xFDFC), *range(0xFE70, 0xFEFD)):
        kind, _, letters = unicodedata.decomposition(chr(code)).partition(" ")
        form = kind.strip("<>")
        text = "".join(chr(int(each, 16)) for each in letters.split())
        if form in FORMS and len(text) == 1:
            single.setdefault(text, {}).setdefault(form, chr(code))
        elif form in FORMS and len(text) == 2 and text[0] == "\u0644" and 0xFEF5 <= code <= 0xFEFC:
            double.setdefault(text, {})[form] = chr(code)
    return single, double


def _joined(text: str) -> list[str]:
    """Each character in the form that is drawn; "" for an alef that has become part of the lam before it."""
    single, double = _forms()
    out = list(text)
    solid = [i for i, c in enumerate(text) if unicodedata.bidirectional(c) != "NSM"]

    def forward(i: int) -> bool:  # joins what follows
        return "initial" in single.get(text[i], {}) or text[i] in "\u0640\u200d"

    def backward(i: int) -> bool:  # joins what precedes
        return "final" in single.get(text[i], {}) or text[i] in "\u0640\u200d"

    at = 0
    while at < len(solid):
        i = solid[at]
        behind = at > 0 and forward(solid[at - 1]) and backward(i)
        following = at + 1 < len(solid) and backward(solid[at + 1])
        pair = text[i] + text[solid[at + 1]] if at + 1 < len(solid) else ""
        if pair in double and solid[at + 1] == i + 1:
            out[i], out[i + 1] = double[pair]["final" if behind else "isolated"], ""
            at += 2
            continue
        forms = single.get(text[i], {})
        if forms:
            ahead = following and forward(i)
            form = "medial" if behind and ahead else "final" if behind else "initial" if ahead else "isolated"
            out[i] = forms.get(form, text[i])
        at += 1
    return out


_PAIRS = "()[]{}<>«»‹›≤≥"
_MIRROR = dict(zip(_PAIRS, "".join(_PAIRS[i + 1] + _PAIRS[i] for i in range(0, len(_PAIRS), 2)), strict=True))


def _mirror(letter: str) -> str:
    """Rule L4: a bracket that is drawn the other way round."""
    return _MIRROR.get(letter, letter)
