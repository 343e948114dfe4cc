"""Recognising the parts of a head: eyeballs, sheets over them, lashes, teeth, gums, tongue, and what each follows.

Only whole connected pieces become parts, and never the largest one, which is the skin: a group called "eye" on the skin
is the skin around the eye. Form and motion decide (`composer.head.understand`); where they give no answer, as on a head
without shapes, the name of a group or material does. A piece that holds both jaws is split by vertices. The notes give
the reason for each part. A document's own table of parts replaces all of them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from composer.geometry.polygons import Polygons
from composer.head.coarse_head import coarse_head
from composer.head.head import Follows, Head, Part
from composer.head.understand.anatomy import Anatomy, anatomy_of, with_anatomy_of
from composer.head.understand.kinds import Kind, by_name, kinds_of
from composer.head.understand.part_names import Said
from composer.head.understand.pieces import MOST
from composer.head.understand.veils import veil_note, veils_of

Ints = NDArray[np.int32]
STILL, RIGID, BOUND = 2e-4, 1e-3, 1e-2
"""Residuals below which a part counts as still, as rigid, and (at the 90th percentile) as bound to the skin, as
fractions of the head's diagonal. Common practice, no source.
"""
CARRIED = 1e-2
"""A part follows the jaw if it moves further than this fraction of the head's diagonal; less is head motion left in a
scan. Common practice, no source.
"""
BY_NAME: dict[str, Follows] = {
    "lashes": "surface", "brow": "surface", "hair": "surface", "tear": "surface", "eye": "skull", "teeth": "skull",
    "gum": "skull", "tongue": "jaw",
}  # fmt: skip
"""What a part follows by its name alone, where no shape moves it."""


@dataclass(frozen=True)
class Recognised:
    """The recognised parts, and a sentence on the reason for each."""

    parts: tuple[Part, ...]
    notes: tuple[str, ...]


def recognise_parts(head: Head) -> tuple[Part, ...]:
    """The parts of a head. Empty where everything is skin or no piece is recognised."""
    return recognise(head).parts


def recognise(head: Head) -> Recognised:
    """The parts of a head, with reasons. No vertex is in two parts, and none of the skin in any."""
    count = int(head.polygons.components.max(initial=-1)) + 1
    if count < 2:
        return Recognised((), ())
    if count > MOST:
        return Recognised((), (f"The head has {count} pieces, too many to look for parts.",))
    anatomy = anatomy_of(head)
    pieces = anatomy.pieces
    found: dict[str, list[Ints]] = {}
    follows: dict[str, Follows] = {}
    why: dict[str, list[str]] = {}

    def claim(name: str, vertices: Ints, kind: Follows, words: str) -> None:
        found.setdefault(name, []).append(vertices)
        follows.setdefault(name, kind)
        why.setdefault(name, []).append(words)

    kinds = kinds_of(anatomy)
    for piece in pieces.others:
        if piece in kinds:
            _claim_known(claim, kinds[piece], pieces.of[piece])
        elif (said := anatomy.said[piece]) is not None:
            name, expected = _named(said, head.neutral[pieces.of[piece]], anatomy)
            claim(name, pieces.of[piece], expected, by_name(said))
    parts = []
    told = {name for name, words in why.items() if words[0].startswith("by its name")}
    tree = cKDTree(head.neutral[pieces.of[pieces.skin]]) if told and head.shapes else None
    for name, held in found.items():
        vertices = np.sort(np.concatenate(held)).astype(np.int32)
        kind = follows[name]
        if name in told and tree is not None:
            kind = _follows(head, vertices, pieces.of[pieces.skin], tree, kind)
            if kind == "jaw" and name.startswith(("eye", "tear")):
                kind = "skull"  # what moved it was the whole head
        parts.append(Part(name, vertices, kind, _gaze(name, anatomy)))
    return Recognised(tuple(parts), tuple(_sentence(name, words) for name, words in why.items()))


def with_recognised_parts(head: Head) -> Head:
    """The head with its recognised parts, and the reasons among its notes. A large head's are found on its coarser
    level."""
    level = coarse_head(head)
    found = recognise(head if level is None else level.head)
    if not found.parts:
        return head
    if level is not None:
        found = Recognised(level.parts_up(found.parts), found.notes)
    names = ", ".join(part.name for part in found.parts)
    notes = [f"Taken for parts by form, motion and name: {names}."]
    known = with_anatomy_of(head.with_(parts=found.parts), head)
    veils = veil_note(veils_of(known))
    notes += [veils] if veils else []
    return with_anatomy_of(known.with_(notes=(*head.notes, *notes)), head)


def components_of(polygons: Polygons) -> tuple[Ints, int]:
    """(n,) the component of each vertex, and their number; a vertex of no polygon is a component of its own."""
    count, label = connected_components(polygons.adjacency, directed=False)
    return label.astype(np.int32), int(count)


def _claim_known(claim: object, kind: Kind, vertices: Ints) -> None:
    assert callable(claim)
    if kind.lower is None:
        claim(kind.name, vertices, kind.follows, kind.why)
        return
    lower = kind.name.replace("_upper", "_lower")
    for name, which, follows in ((kind.name, ~kind.lower, kind.follows), (lower, kind.lower, "jaw")):
        if which.any():
            claim(name, vertices[which], follows, kind.why)


def _sentence(name: str, words: list[str]) -> str:
    more = f" ({len(words)} pieces)" if len(words) > 1 else ""
    return f"{name} was taken for a part{more} {words[0]}."


def _gaze(name: str, anatomy: Anatomy) -> tuple[float, float, float] | None:
    for eye, axis in zip(anatomy.eyes, anatomy.gaze.axes, strict=True):
        if name == f"eye_{'left' if eye.side > 0 else 'right'}":
            x, y, z = (round(float(each), 6) + 0.0 for each in axis)
            return x, y, z
    return None


def _named(said: Said, points: NDArray, anatomy: Anatomy) -> tuple[str, Follows]:
    """The part's name and what it is expected to follow, from a name alone."""
    side = said.side or (1 if float(anatomy.frame.local(points)[:, 0].mean()) > 0 else -1)
    word = "left" if side > 0 else "right"
    follows = BY_NAME[said.kind]
    if said.kind in ("teeth", "gum"):
        lower = said.height == "lower"
        return (f"{said.kind}_{said.height}" if said.height else said.kind), ("jaw" if lower else follows)
    if said.kind == "lashes":
        return "_".join(filter(None, ("lashes", said.height, word))), follows
    if said.kind in ("eye", "tear"):
        return f"{said.kind}_{word}", follows
    return said.kind, follows


def _follows(head: Head, vertices: Ints, skin: Ints, tree: cKDTree, expected: Follows) -> Follows:
    """What a part follows, from its shapes: nothing (skull), a rigid motion (jaw), the skin beside it, or shapes of its
    own. Where a small piece moves both rigidly and with the skin, as lashes do, `expected` decides.

    A part that turns while its centre stays (an eyeball that looks) has shapes of its own.
    """
    scale = head.diagonal
    rest = head.neutral[vertices]
    nearest = skin[tree.query(rest)[1]]
    moved, rigid, bound, middle = 0.0, 0.0, 0.0, 0.0
    for shape in head.shapes:
        delta = shape.delta[vertices].astype(np.float64)
        far = float(np.linalg.norm(delta, axis=1).max())
        if far <= STILL * scale:
            continue
        moved = max(moved, far)
        middle = max(middle, float(np.linalg.norm(delta.mean(axis=0))))
        rigid = max(rigid, _left_of_rigid(rest, delta))
        apart = np.linalg.norm(delta - shape.delta[nearest], axis=1)
        bound = max(bound, float(np.percentile(apart, 90)))
    if moved <= STILL * scale:
        return "skull"
    with_skin = bound <= BOUND * scale
    if with_skin and expected == "surface":
        return "surface"
    if rigid <= RIGID * scale:
        if middle <= CARRIED * scale:  # a scan's own unrest, or a turn in place; a jaw carries further
            return "own" if middle < 0.5 * moved else "skull"
        return "jaw" if middle > 0.25 * moved else "own"
    return "surface" if with_skin else "own"


def _left_of_rigid(rest: NDArray, delta: NDArray) -> float:
    """The largest residual of the best rigid motion (Kabsch 1976), in mm."""
    from composer.geometry.rigid import similarity

    moved = rest + delta
    return float(np.linalg.norm(similarity(rest, moved, scaled=False)(rest) - moved, axis=1).max())
