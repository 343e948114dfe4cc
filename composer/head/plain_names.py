"""What landmarks are called in plain words, and the anthropometric name behind each.

The names in the table are those of Farkas, Anthropometry of the Head and Face, 2nd edition 1994, chapter 2 (from
memory); their plain words are our own. Window, reports and messages take them from here.
"""

from __future__ import annotations

SIDES = {"_left": "left", "_right": "right"}
PLAIN: dict[str, str] = {
    "alare": "wing of the nose",
    "brow_lateral": "outer end of the brow",
    "brow_medial": "inner end of the brow",
    "brow_peak": "highest point of the brow",
    "cervicale": "base of the neck, behind",
    "cheek": "middle of the cheek",
    "cheilion": "mouth corner",
    "crista_philtri": "peak of the upper lip",
    "endocanthion": "inner eye corner",
    "exocanthion": "outer eye corner",
    "frontotemporale": "edge of the forehead",
    "glabella": "between the brows",
    "gnathion": "lowest point of the chin",
    "gonion": "corner of the jaw",
    "labiale_inferius": "edge of the lower lip",
    "labiale_superius": "edge of the upper lip",
    "menton": "under the chin",
    "opisthocranion": "back of the head",
    "orbitale": "rim of the eye socket",
    "otobasion_inferius": "root of the ear lobe",
    "otobasion_superius": "upper root of the ear",
    "palpebrale_inferius": "middle of the lower lid",
    "palpebrale_superius": "middle of the upper lid",
    "pogonion": "front of the chin",
    "postaurale": "back edge of the ear",
    "pronasale": "tip of the nose",
    "sellion": "root of the nose",
    "stomion": "middle of the closed mouth",
    "subalare": "foot of the nostril",
    "subaurale": "bottom of the ear lobe",
    "sublabiale": "hollow above the chin",
    "subnasale": "under the nose",
    "superaurale": "top of the ear",
    "tragion": "notch before the ear canal",
    "trichion": "middle of the hairline",
    "vertex": "top of the head",
    "zygion": "cheekbone, widest point",
    "mouth_inner": "inner edge of the mouth",
    "lip_line_upper": "closing line, upper lip",
    "lip_line_lower": "closing line, lower lip",
    "upper_lip": "rim of the upper lip",
    "lower_lip": "rim of the lower lip",
    "upper_lid": "edge of the upper lid",
    "lower_lid": "edge of the lower lid",
    "brow": "line of the brow",
    "socket": "rim behind the lids",
    "nasolabial": "fold from the nose to the mouth",
    "ear_rim": "rim of the ear",
    "ear_root": "line where the ear begins",
    "jawline": "line of the jaw",
    "midline_front": "middle line of the face",
    "neck_border": "lower edge of the neck",
}
"""Plain words by anthropometric name, its side left out."""


def plain_name(name: str) -> str:
    """A landmark or a landmark curve in plain words, its side last: "inner eye corner, left". A name that the table
    does not know keeps its own words."""
    stem, side = split_side(name)
    words = PLAIN.get(stem, stem.replace("_", " "))
    return f"{words}, {side}" if side else words


def named(name: str) -> str:
    """Plain words with the anthropometric name behind them: "inner eye corner, left (endocanthion)". Only the words
    where both are the same."""
    stem, _ = split_side(name)
    plain = plain_name(name)
    return f"{plain} ({stem.replace('_', ' ')})" if stem in PLAIN else plain


def split_side(name: str) -> tuple[str, str]:
    """The name without its side, and the side: "left", "right" or ""."""
    for ending, side in SIDES.items():
        if name.endswith(ending):
            return name[: -len(ending)], side
    return name, ""


def matches(name: str, search: str) -> bool:
    """Whether every word of a search occurs in the landmark's plain words or in its name; capitals do not count."""
    both = f"{plain_name(name)} {name.replace('_', ' ')}".casefold()
    return all(word in both for word in search.casefold().replace("_", " ").split())


def side_letters(words: str) -> int:
    """How many letters at the end of plain words say the side, its comma with them; 0 where they say none."""
    return len(words) - words.rfind(", ") if ", " in words else 0
