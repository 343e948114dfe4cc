"""What kind of part each piece is: an eye's, a lash, a sheet over the eye, a tooth, a gum, the tongue, or bound skin.

Told by where a piece lies and what it moves with; where that leaves a doubt, as between a gum and the teeth on it, the
name of a group or material decides. A piece of which nothing is known is left to the skin.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.head.head import Follows
from composer.head.understand.anatomy import Anatomy
from composer.head.understand.bound import bound_to_skin, places_near
from composer.head.understand.eyeballs import Eye
from composer.head.understand.jaw import HALF, LOWER, OVER, UPPER
from composer.head.understand.part_names import Said

Floats = NDArray[np.float64]
FORM = "by its form and motion:"
LIFT, OUT = 0.04, 1.1
"""In the ball's radii: how much further from the ball a lash's free end lies than its root, and how far it reaches at
least. Sheets measured lie between -0.09 and 0.01, lashes between 0.13 and 0.54.
"""
STRAND = 0.35
"""In the ball's radii: shorter pieces are strands, judged together with the others of their eye."""
MOVES = 5e-4
"""Of the skin's size: what moves less stands still (a scan's own unrest is a tenth of a millimetre)."""
MIDDLE, FILLED = 0.12, 0.75
"""A tongue fills this share of its depth along its middle (MIDDLE of its width); an arch of gum fills a third."""
ARCH, CENTRED = 0.12, 0.1
"""Of the skin's width: what is wider is an arch or a tongue and no tooth; of its own width: how near the midline."""
INSIDE = 0.3
"""Of the skin's width: what lies in the mouth lies this near to the midline."""
TEETH = 4
"""With so many single teeth beside it, an arch is gum."""
BOUND, NEAR, SMALL = 0.2, 0.03, 0.5
"""What is bound to the skin strays by this share of its own motion at most, lies (in the median) this near to it, of
the skin's size, and is smaller than this share of it.
"""
DEEP = 1.6
"""The mouth is no deeper than this many times as wide as what it parts: last molars measured lie up to 1.4 of it away,
brows from 1.9 on."""
STRANDS = 8
"""So many pieces of as many vertices are strands of one kind (our choice)."""


@dataclass(frozen=True)
class Kind:
    """A piece's kind: `name` of the part, what it `follows`, and by what it is known, in words. `lower` (k,) marks the
    vertices that go with the lower jaw where a piece holds both jaws.
    """

    name: str
    follows: Follows
    why: str
    lower: NDArray[np.bool_] | None = None


def kinds_of(anatomy: Anatomy) -> dict[int, Kind]:
    """The kind of every piece of which one is known; told once for an anatomy."""
    known = vars(anatomy).get("kinds")
    if known is None:
        known = vars(anatomy)["kinds"] = _told(anatomy)
    return dict(known)


def _told(anatomy: Anatomy) -> dict[int, Kind]:
    kinds = _eyes(anatomy)
    rest = [piece for piece in anatomy.pieces.others if piece not in kinds]
    about = {piece: eye for piece in rest if (eye := anatomy.eye_near(anatomy.pieces.of[piece])) is not None}
    kinds |= _about_eyes(anatomy, about)
    kinds |= _in_mouth(anatomy, [piece for piece in rest if piece not in kinds and piece not in about])
    kinds |= _bound(anatomy, [piece for piece in rest if piece not in kinds])
    return kinds


def by_name(said: Said | None) -> str:
    """By which name a piece is known."""
    return f"by its name {said.name!r}" if said is not None else ""


def _side(eye: Eye) -> str:
    return "left" if eye.side > 0 else "right"


def _eyes(anatomy: Anatomy) -> dict[int, Kind]:
    kinds = {}
    for eye in anatomy.eyes:
        sphere, group = eye.sphere, np.concatenate([anatomy.pieces.of[piece] for piece in eye.pieces])
        moves = float(anatomy.motion.furthest[group].max()) > MOVES * anatomy.motion.size
        why = (
            f"{FORM} a ball of {sphere.radius:.1f} mm: {100 * sphere.share:.0f} percent of it on one sphere, "
            f"rigid to {eye.rigid_mm:.2f} mm"
        )
        for number, piece in enumerate(eye.pieces):
            words = why if number == 0 else f"{FORM} it lies in the ball or on its front and moves with it"
            kinds[piece] = Kind(f"eye_{_side(eye)}", "own" if moves else "skull", words)
    return kinds


def _about_eyes(anatomy: Anatomy, about: dict[int, Eye]) -> dict[int, Kind]:
    """Lashes and sheets: pieces that lie about an eye's ball."""
    if not about:
        return {}
    head, pieces, motion = anatomy.motion.head, anatomy.pieces, anatomy.motion
    vertices = np.concatenate([pieces.of[piece] for piece in about])
    bound = bound_to_skin(
        head.neutral, pieces.skin_triangles, head.expressions, vertices, pieces.label[vertices], motion.size
    )
    kinds: dict[int, Kind] = {}
    start = 0
    strands: dict[int, list[int]] = {}
    for piece, eye in about.items():
        own = slice(start, start + len(pieces.of[piece]))
        start = own.stop
        lash, lift = _is_lash(anatomy, piece, eye, bound.away[own], bound.root[own])
        skin = float(np.sqrt((bound.strays[own] ** 2).mean()))
        kinds[piece] = _sheet_or_lash(anatomy, piece, eye, lash, lift, skin)
        if float(np.ptp(head.neutral[pieces.of[piece]], axis=0).max()) < STRAND * eye.sphere.radius:
            strands.setdefault(eye.side, []).append(piece)
    for held in strands.values():
        usual = Counter(kinds[piece].name.split("_")[0] for piece in held).most_common(1)[0][0]
        for piece in held:
            if not kinds[piece].name.startswith(usual):
                other = next(kinds[p] for p in held if kinds[p].name.startswith(usual))
                kinds[piece] = replace(other, why=f"{FORM} it is a strand among others of that kind")
    return kinds


def _is_lash(anatomy: Anatomy, piece: int, eye: Eye, away: Floats, root: NDArray) -> tuple[bool, float]:
    """Whether a piece stands off the ball from roots on the skin, and how far its free end rises, in radii."""
    points = anatomy.motion.head.neutral[anatomy.pieces.of[piece]]
    radius = np.linalg.norm(points - eye.sphere.centre, axis=1) / eye.sphere.radius
    order = np.argsort(away)
    fifth = max(1, len(order) // 5)
    lift = float(radius[order[-fifth:]].mean() - radius[order[:fifth]].mean())
    return lift > LIFT and bool(root.any()) and float(radius.max()) > OUT, lift


def _sheet_or_lash(anatomy: Anatomy, piece: int, eye: Eye, lash: bool, lift: float, skin: float) -> Kind:
    said, vertices = anatomy.said[piece], anatomy.pieces.of[piece]
    moves = float(anatomy.motion.furthest[vertices].max()) > MOVES * anatomy.motion.size
    ball = eye.strays(anatomy.motion, vertices)
    named = said is not None and said.kind == "lashes"
    if lash or named:
        height = f"_{said.height}" if said is not None and said.height else ""
        words = f"{FORM} it rises {lift:.2f} radii off the ball from roots on the lid" if lash else by_name(said)
        return Kind(f"lashes{height}_{_side(eye)}", "surface", words)
    if moves and skin < ball:
        words = f"{FORM} it follows the lids to {skin:.2f} mm, the ball to {ball:.2f} mm"
        return Kind(f"lid_sheet_{_side(eye)}", "surface", words)
    if not moves and not anatomy.motion.count:
        return Kind(f"lid_sheet_{_side(eye)}", "surface", f"{FORM} it lies on the ball; no shape says what it follows")
    turns = float(anatomy.motion.furthest[anatomy.pieces.of[eye.pieces[0]]].max()) > MOVES * anatomy.motion.size
    words = f"{FORM} it follows the ball to {ball:.2f} mm, the lids to {skin:.2f} mm"
    return Kind(f"ball_sheet_{_side(eye)}", "own" if turns and moves else "skull", words)


def _in_mouth(anatomy: Anatomy, candidates: Sequence[int]) -> dict[int, Kind]:
    """Teeth, gums and tongue, by how they move with the jaw."""
    jaw, pieces, motion = anatomy.jaw, anatomy.pieces, anatomy.motion
    if jaw is None or not candidates:
        return {}
    local = anatomy.frame.local(motion.head.neutral)
    width = float(np.ptp(local[motion.skin, 0]))
    skin_front = float(local[motion.skin, 2].max())
    opens = motion.head.expressions[jaw.shape].name
    found: dict[int, tuple[str, Floats, str]] = {}
    for piece in candidates:
        vertices = pieces.of[piece]
        places, share = local[vertices], jaw.share(motion, vertices)
        sides = np.ptp(places, axis=0)
        if abs(float(places[:, 0].mean())) + sides[0] / 2 > INSIDE * width or float(places[:, 2].max()) > skin_front:
            continue
        low, high = (float(each) for each in np.quantile(share, [0.05, 0.95]))
        least, most = (f"{round(each, 2) + 0.0:.2f}" for each in (low, high))  # no minus before 0.00
        words = f"{FORM} its vertices have {least} to {most} of the jaw's motion in {opens}"
        if high < UPPER:
            if not _before_jaw(anatomy, vertices):
                continue
            found[piece] = ("upper", share, words)
        elif low > LOWER and high < OVER:
            found[piece] = ("lower", share, words)
        elif high - low > 0.4 and LOWER < high < OVER and low < UPPER:
            found[piece] = ("both", share, words)
    form = {piece: _form(local[pieces.of[piece]], width) for piece in found}
    single = Counter(found[piece][0] for piece in found if form[piece] == "tooth")
    kinds = {}
    for piece, (height, share, words) in found.items():
        said = anatomy.said[piece]
        what = _mouth_word(form[piece], height, said.kind if said is not None else "", single)
        if height == "both":
            cut = f"by its motion, cut from a piece that holds both jaws:{words.removeprefix(FORM)}"
            kinds[piece] = Kind(f"{what}_upper", "skull", cut, share > HALF)
        else:
            follows: Follows = "skull" if height == "upper" else "jaw"
            kinds[piece] = Kind("tongue" if what == "tongue" else f"{what}_{height}", follows, words)
    return kinds


def _before_jaw(anatomy: Anatomy, vertices: NDArray) -> bool:
    """Whether still vertices lie where the jaw's pieces are, and not on the neck or the back of the head.

    What stands still moves with nothing, so its place must tell: no further from what the mouth parts than the
    mouth's own depth, by the head's size and, since a bust is no head, by the mouth's width.
    """
    opening = anatomy.opening
    if opening.shape is None or not len(opening.pairs):
        return True
    neutral = anatomy.motion.head.neutral
    much = opening.parted > 0.4 * opening.parted.max()
    mouth = anatomy.frame.local((neutral[opening.pairs.a[much]] + neutral[opening.pairs.b[much]]) / 2.0)
    place = anatomy.frame.local(neutral[vertices])
    reach = min(0.15 * anatomy.motion.size, DEEP * float(np.ptp(mouth[:, 0])))
    return bool(np.linalg.norm((place.mean(axis=0) - mouth.mean(axis=0))[1:]) < reach)


def _form(places: Floats, width: float) -> str:
    """tooth, arch or tongue, by the form of a piece at `places` (k, 3) in the head's frame."""
    sides = np.ptp(places, axis=0)
    if not (sides[0] > ARCH * width and abs(float(places[:, 0].mean())) < CENTRED * sides[0]):
        return "tooth"
    middle = np.abs(places[:, 0]) < MIDDLE * sides[0]
    filled = float(np.ptp(places[middle, 2])) / max(float(sides[2]), 1e-9) if int(middle.sum()) > 2 else 0.0
    return "tongue" if filled > FILLED else "arch"


def _mouth_word(form: str, height: str, said: str, single: Counter[str]) -> str:
    """teeth, gum or tongue: as a name says where one does, else by form."""
    if said in ("teeth", "gum"):
        return said
    if said == "tongue" and height == "lower":
        return said
    if form == "tongue" and height == "lower":
        return "tongue"
    if form == "tooth":
        return "teeth"
    many = single[height] if height != "both" else max(single["upper"], single["lower"])
    return "gum" if many >= TEETH else "teeth"


def _bound(anatomy: Anatomy, candidates: Sequence[int]) -> dict[int, Kind]:
    """Brows, hair and whatever else lies on the skin and moves with it; all pieces are looked at together, since a
    brow may be hundreds of hairs."""
    pieces, motion = anatomy.pieces, anatomy.motion
    head, skin_size = motion.head, float(np.ptp(motion.head.neutral[motion.skin], axis=0).sum())
    moved: dict[int, float] = {}
    for piece in candidates:
        vertices, said = pieces.of[piece], anatomy.said[piece]
        if float(np.ptp(head.neutral[vertices], axis=0).sum()) > SMALL * skin_size:
            continue
        if said is not None and said.kind not in ("brow", "hair", "tear", "lashes"):
            continue
        most = float(motion.furthest[vertices].max())
        if most >= MOVES * motion.size:
            moved[piece] = most
    kinds: dict[int, Kind] = {}

    def away_of(at: NDArray) -> Floats:
        away: Floats = places_near(head.neutral, pieces.skin_triangles, head.neutral[at])[2].min(axis=1)
        return away

    away = _of_each(anatomy, moved, away_of)
    near = [piece for piece in moved if float(np.median(away[piece])) <= NEAR * motion.size]

    def strays_of(at: NDArray) -> Floats:
        """How far each root strays from the skin, mm; NaN where there is none."""
        bound = bound_to_skin(head.neutral, pieces.skin_triangles, head.expressions, at, pieces.label[at], motion.size)
        return np.where(bound.root, bound.strays, np.nan)

    strayed = _of_each(anatomy, near, strays_of)
    for piece in near:
        said, own = anatomy.said[piece], strayed[piece][~np.isnan(strayed[piece])]
        strays = float(np.sqrt((own**2).mean()))
        if strays < BOUND * moved[piece] + MOVES * motion.size:
            word = said.kind if said is not None else "bound"
            words = f"{FORM} it lies on the skin and follows it to {strays:.2f} of {moved[piece]:.1f} mm"
            kinds[piece] = Kind(word, "surface", words)
    return kinds | _strands_beside(anatomy, [piece for piece in candidates if piece not in kinds], kinds)


def _of_each(anatomy: Anatomy, chosen: Iterable[int], value: Callable[[NDArray], Floats]) -> dict[int, Floats]:
    """What `value` gives for the vertices of all chosen pieces together, by piece."""
    order = list(chosen)
    if not order:
        return {}
    held = [anatomy.pieces.of[piece] for piece in order]
    values = value(np.concatenate(held))
    ends = np.cumsum([len(each) for each in held])[:-1]
    return dict(zip(order, np.split(values, ends), strict=True))


def _strands_beside(anatomy: Anatomy, candidates: Sequence[int], bound: Mapping[int, Kind]) -> dict[int, Kind]:
    """Strands that no shape moves by much, beside strands of as many vertices that are bound to the skin: the tail of a
    brow of hairs. A strand lies beside another where that is no further away than it is long."""
    pieces, neutral = anatomy.pieces, anatomy.motion.head.neutral
    counts = Counter(len(pieces.of[other]) for other in bound)
    kinds: dict[int, Kind] = {}
    for count in {len(pieces.of[piece]) for piece in candidates}:
        if counts[count] < STRANDS:
            continue
        alike = [other for other in bound if len(pieces.of[other]) == count]
        tree = cKDTree(neutral[np.concatenate([pieces.of[other] for other in alike])])
        for piece in (each for each in candidates if len(pieces.of[each]) == count):
            own = neutral[pieces.of[piece]]
            away, nearest = tree.query(own)
            if float(away.min()) <= float(np.linalg.norm(np.ptp(own, axis=0))):
                kind = bound[alike[int(nearest[away.argmin()]) // count]]
                kinds[piece] = replace(kind, why=f"{FORM} it is a strand among others of that kind")
    return kinds
