"""The landmark points from which regions are made.

Midline points of the face: Farkas, Anthropometry of the Head and Face, 2nd edition 1994, chapter 2 (from memory).
"""

from __future__ import annotations

from composer.head.presets import region_set
from masks.region_preset import SIDES

MIDLINE = frozenset(
    [
        "trichion",
        "glabella",
        "sellion",
        "pronasale",
        "subnasale",
        "labiale_superius",
        "stomion",
        "labiale_inferius",
        "sublabiale",
        "pogonion",
        "gnathion",
        "menton",
        "vertex",
        "opisthocranion",
    ]
)


def landmark_names(preset: str = "face") -> list[str]:
    """Names of the points that a set of region presets uses, each side of its own, in order of first mention."""
    names: dict[str, None] = {}
    for region in region_set(preset).regions:
        for seed in region.seeds:
            for place in seed.points:
                for name in place.split("+"):
                    sided = name.endswith(SIDES) or name in MIDLINE
                    names |= dict.fromkeys([name] if sided else [name + side for side in SIDES])
    return list(names)
