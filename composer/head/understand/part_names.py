"""What names of groups, objects and materials say of a piece: a tie-breaker where form and motion leave a doubt."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from composer.head.head import Head
from composer.head.understand.pieces import Pieces

COVERED = 0.8
"""A name is a piece's where it covers this share of its polygons."""
WORDS: tuple[tuple[str, str], ...] = (
    (r"eye_?lash|lash", "lashes"),
    (r"brow", "brow"),
    (r"beard|moustache|mustache|hair", "hair"),
    (r"tear|meniscus|caruncle|lacrimal|occlusion|eye_?wet|wet_?line", "tear"),
    (r"eye_?ball|eye|iris|cornea|sclera|pupil|lens", "eye"),
    (r"gum|gingiva", "gum"),
    (r"teeth|tooth|denture", "teeth"),
    (r"tongue", "tongue"),
)
NOT_EYES = re.compile(r"eye_?lid|lid|socket|skin|face|head|body|shadow|area|region")
LEFT = re.compile(r"(^|[^a-z])(l|lt)([^a-z]|$)|left")
RIGHT = re.compile(r"(^|[^a-z])(r|rt)([^a-z]|$)|right")
UPPER = re.compile(r"(^|[^a-z])(up|top|max)([^a-z]|$)|upper")
LOWER = re.compile(r"(^|[^a-z])(lo|low|bottom|down|mand)([^a-z]|$)|lower")


@dataclass(frozen=True)
class Said:
    """What a name says: the `kind` (eye, lashes, brow, hair, tear, gum, teeth, tongue), the `height` (upper, lower or
    "") and `side` (1 left, -1 right, 0 unsaid), and the `name` itself.
    """

    kind: str
    height: str
    side: int
    name: str


def names_of(head: Head, pieces: Pieces) -> list[Said | None]:
    """For each piece what the groups and materials that cover it say, the smallest that says anything first."""
    first = head.polygons.indices[head.polygons.starts[:-1]]
    face = pieces.label[first]
    total = np.bincount(face, minlength=len(pieces))
    covers: list[list[tuple[int, str]]] = [[] for _ in range(len(pieces))]
    for name, faces in [*head.groups.items(), *head.materials.items()]:
        covered = np.bincount(face[faces], minlength=len(pieces))
        for piece in np.flatnonzero((covered >= COVERED * total) & (covered > 0)):
            covers[int(piece)].append((len(faces), str(name)))
    return [next((s for _, name in sorted(held) if (s := said_by(name)) is not None), None) for held in covers]


def said_by(name: str) -> Said | None:
    """What one name says; None where it says nothing of a part."""
    low = name.lower()
    for pattern, kind in WORDS:
        if re.search(pattern, low) and not (kind == "eye" and NOT_EYES.search(low)):
            left, right = bool(LEFT.search(low)), bool(RIGHT.search(low))
            height = "upper" if UPPER.search(low) else "lower" if LOWER.search(low) else ""
            return Said(kind, height, (1 if left else -1) if left != right else 0, name)
    return None
