"""What a part is, whatever it is called: an eyeball, a lash, a sheet, a tooth, gum, tongue, brow or hair.

A part that a document or Moue calls by one of its own names is what that name says. Of every other the pieces that it
is made of decide (`kinds_of`), then its form, and only then a name in plain words.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

import numpy as np

from composer.head.head import Head, Part
from composer.head.understand.anatomy import anatomy_of
from composer.head.understand.eyeballs import COVERED, ROUND, SHARE
from composer.head.understand.kinds import kinds_of
from composer.head.understand.part_names import said_by
from composer.head.understand.spheres import sphere_of

WORDS = ("eye", "lashes", "lid_sheet", "ball_sheet", "tear", "teeth", "gum", "tongue", "brow", "hair", "bound")
"""What a part can be; "" is what nothing tells."""
OURS = re.compile(rf"({'|'.join(WORDS)})(_upper|_lower)?(_left|_right)?")
ON_SKIN = ("lashes", "lid_sheet", "tear", "brow", "hair", "bound")
"""What lies on the skin and goes with it."""
MOST = 0.5
"""Of a part's vertices: so many lie on pieces of one kind, where that kind is the part's."""
LEAST = 12
"""With fewer vertices a part is not asked whether it is a ball."""


def what_parts_are(head: Head) -> Mapping[str, str]:
    """For each part of a head, by its name, what it is: one of `WORDS`, or "" where nothing tells."""
    told = {part.name: _by_our_name(part) for part in head.parts if len(part.vertices)}
    inner: set[str] = set()
    for name, what in (_by_pieces(head) if "" in told.values() else {}).items():
        if what == "eye" and not told[name] and not _is_ball(head, head.part(name)):
            inner.add(name)  # an iris or a shell as a part of its own: it goes with the ball and is none
        else:
            told[name] = told[name] or what
    for part in head.parts:
        if told.get(part.name) == "" and part.name not in inner:
            said = said_by(part.name)
            told[part.name] = _by_form(head, part) or (said.kind if said is not None else "")
    return told


def _by_our_name(part: Part) -> str:
    found = OURS.fullmatch(part.name)
    return found.group(1) if found is not None else ""


def _by_pieces(head: Head) -> dict[str, str]:
    """What the pieces of each part are, where most of its vertices lie on pieces of one kind."""
    anatomy = anatomy_of(head)
    known = {piece: _by_our_name(Part(kind.name, head.parts[0].vertices)) for piece, kind in kinds_of(anatomy).items()}
    told = {}
    for part in head.parts:
        if not len(part.vertices):
            continue
        pieces, count = np.unique(anatomy.pieces.label[part.vertices], return_counts=True)
        weight: dict[str, int] = {}
        for piece, many in zip(pieces.tolist(), count.tolist(), strict=True):
            weight[known.get(piece, "")] = weight.get(known.get(piece, ""), 0) + many
        what = max(weight, key=lambda each: weight[each])
        told[part.name] = what if weight[what] > MOST * len(part.vertices) else ""
    return told


def _by_form(head: Head, part: Part) -> str:
    """eye for a ball that does not follow the skin or the jaw; "" for what has another form."""
    return "eye" if part.follows in ("own", "skull") and _is_ball(head, part) else ""


def _is_ball(head: Head, part: Part) -> bool:
    if len(part.vertices) < LEAST:
        return False
    points = head.neutral[part.vertices]
    sphere, side = sphere_of(points), float(np.ptp(points, axis=0).mean())
    whole = abs(2.0 * sphere.radius / max(side, 1e-9) - 1.0) < ROUND
    return whole and sphere.share > SHARE and sphere.covered > COVERED
