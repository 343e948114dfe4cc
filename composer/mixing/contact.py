"""Contact in a mix: what goes through in a joined pose is parted by the smallest smooth correction, where it happens.

In each place (`contact_places`) a row says for every vertex that lies deeper than allowed, or nearly so, what it lacks
along the other surface's normal. The least smooth field of the patch that gives the rows what they lack, or more, is
their quadratic programme in the dual (`composer.contact.solve`; for contact as such inequalities see Baraff and Witkin,
Dynamic simulation of non-penetrating flexible bodies, 1992). It is bounded in length, held back where a face would turn
over (`contact_guard`), fades to the rim of the patch, and moves lashes and sheets on the skin along. Rows come in
softly and pull no harder than each would alone, so that it is a continuous function of the weights, and a calm one: a
lip that is caught between teeth and the other lip crosses a little rather than jumps.

Nothing is changed in a pose in which nothing lies deeper than allowed.
"""

from __future__ import annotations

from collections.abc import Callable
from copy import copy
from dataclasses import dataclass
from functools import partial

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.contact.across import Across
from composer.contact.faces import areas
from composer.contact.facing import FacingSide
from composer.contact.least import least_field_of
from composer.contact.modes import modes
from composer.contact.solve import LineRows
from composer.geometry.vectors import lengths, unit_rows
from composer.head.head import Head
from composer.mixing.anchors import Anchors
from composer.mixing.contact_allowed import AllowedDepths
from composer.mixing.contact_guard import FaceGuard
from composer.mixing.contact_places import ContactPlace, HardSide, contact_places
from composer.mixing.linear import Mixer
from composer.mixing.recipe import Recipe
from composer.progress import Progress
from masks.soften import smoothstep

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Gap = tuple[Floats, Floats, Across | None, Floats]
PREPARING, FOUND = "preparing contact", 0.6
"""What progress says, and its share when all places are found."""
FIRM = 0.1
"""How much a row gives way beside a typical push's own answer of 1; the field changes by at most 1 / (2 sqrt(FIRM)) of
what its rows lack. With 0.03 sweeps of a mouth step up to 5 times as far as without contact."""
CRUMPLED, EVEN = 0.2, 0.4
"""The share of a vertex's fan that is left when its triangles are added up as vectors: with no more than this its
normal says nothing, and it comes in over so much more."""
APART, CLEAR, WITHDRAWN = 1.1, 0.6, 1.5
"""Of the room that a mix has: how much sheets, and skin beside a hard piece, are parted more than they have
to be, and over how much that comes in."""
AGAIN = 1.5
"""Of the room: with so much left the correction is sought again at the corrected pose, with nothing left it stands.
With 0.5 a sweep of a gaze steps 4 times as far as without contact."""
EARLY, MARGIN = 1.0, 0.4
"""Of the room: how far apart sheets are still asked, unless shapes bring them nearer, and how much nearer a mix may."""
PULL = 1.0
"""How hard a row may pull beside what it would alone, where it lacks as much and as much more as is watched. With 2 the
worst sweep of a mouth steps 3.6 times as far as without contact, with 1 2.9; without a bound 13."""
FIRMER, FIRMER_TEETH = 1.15, 2.3
"""What a row asks for is this many times what it lacks, since it gives way; that beside teeth stands against others."""
WATCHED = 0.012
"""Of the lines' length: vertices within so much of what is allowed have rows, the nearer the firmer. Lips 0.6 mm."""
MOST_LACK, CEILING = 0.15, 0.15
"""Of the lines' length: the most that a row lacks at once, and the longest correction. Lips 8 mm, lids 5 mm."""


@dataclass(frozen=True, eq=False)
class Left:
    """What still lies deeper than allowed: `words` say between what, by how much at most in mm, and at which vertices
    of the head (k,), by how much each (k,) mm."""

    words: str
    most_mm: float
    vertices: Ints
    amounts: Floats

    @property
    def sentence(self) -> str:
        """What is left, in words."""
        return f"{self.words} still go {self.most_mm:.1f} mm through each other"

    @property
    def brief(self) -> str:
        """The same where there is little room."""
        return f"{self.most_mm:.1f} mm left: {self.words}"


class MixContact:
    """Contact on one head, for any recipe; made once for a mixer. `missing` tells in sentences what is not known."""

    def __init__(self, mixer: Mixer, progress: Progress | None = None) -> None:
        def told(share: float) -> None:
            if progress is not None:
                progress(share, PREPARING)

        self.head: Head = mixer.head
        self.mixer = mixer
        places, self.missing = contact_places(self.head, lambda share: told(FOUND * share))
        moving = mixer.anchors if self.head.parts else None
        self._places: list[_Parting] = []
        for place in places:
            told(FOUND + (1.0 - FOUND) * len(self._places) / len(places))
            self._places.append(_Parting(mixer, place, moving))

    @property
    def parts(self) -> bool:
        """Whether the head has anything to part."""
        return bool(self._places)

    def unknown(self, recipe: Recipe) -> int:
        """How many poses of shapes alone have to be measured before a recipe can be parted."""
        return max((each.allowed.unknown(recipe) for each in self._places), default=0)

    def learn(self, recipe: Recipe, most: int) -> None:
        """Measure at most so many of them."""
        for each in self._places:
            each.allowed.learn(recipe, most)

    def again(self, mixer: Mixer) -> MixContact:
        """The same for another mixer of the same head, with other masks, hinges, correctives or mirror map."""
        other = copy(self)
        other.mixer = mixer
        known = (self.mixer.hinges, self.mixer.correctives.given)
        if (mixer.hinges, mixer.correctives.given) != known or mixer.mirror is not self.mixer.mirror:
            other._places = [each.again(mixer) for each in self._places]
        return other

    def parted(self, pose: NDArray, recipe: Recipe) -> Floats:
        """The `pose` (n, 3) mm of a recipe with what goes through parted; the very array where nothing does."""
        corrections = self.corrections(pose, recipe)
        if not corrections:
            return np.asarray(pose)
        parted = np.array(pose, dtype=np.float64)
        for vertices, correction in corrections:
            parted[vertices] += correction
        return parted

    def corrections(self, pose: NDArray, recipe: Recipe) -> list[tuple[Ints, Floats]]:
        """For each place that changes its vertices (k,) of the head and their correction (k, 3) mm."""
        found = (each.correction(pose, recipe) for each in self._places)
        return [each for each in found if each is not None]

    def left(self, parted: NDArray, recipe: Recipe) -> list[Left]:
        """What lies deeper than allowed in a pose (n, 3) mm of a recipe, the deepest first."""
        found = [left for each in self._places for left in each.left(parted, recipe)]
        return sorted(found, key=lambda each: -each.most_mm)


class _Parting:
    """One place: its gaps in a pose, and the correction that parts it."""

    def __init__(self, mixer: Mixer, place: ContactPlace, anchors: Anchors | None) -> None:
        head, patch = mixer.head, place.patch
        self.place, self._length = place, patch.length_mm
        self._own: list[Ints] = [side.own for side in place.sides] + [each.own for each in place.hard]
        rest = head.neutral[place.vertices]
        triangles = patch.polygons.triangles
        corner = (triangles.ravel(), np.repeat(np.arange(len(triangles)), 3))
        self._fans = sp.csr_matrix((np.ones(triangles.size), corner), shape=(len(rest), len(triangles)))
        self._triangles = triangles
        close = [one for side in place.sides for one in (side.own, side.other)]
        self._modes = modes(patch, rest, np.unique(np.concatenate([np.zeros(0, dtype=np.int64), *close])))
        self._guard = FaceGuard(triangles, rest)
        self._bound, self._along = _bound_to(head, anchors, place.vertices)
        self.moved = np.concatenate([place.vertices, self._bound])
        self._gaps_before: dict[tuple[int, int], tuple[list[NDArray], Gap]] = {}
        self.allowed = self._may(mixer)
        self._pulls = [np.zeros(sum(map(len, self._own))) for _ in range(place.passes)]
        self._before: tuple[list[NDArray], tuple[Ints, Floats] | None] | None = None

    def again(self, mixer: Mixer) -> _Parting:
        other = copy(self)
        other.allowed = other._may(mixer)
        other._before, other._pulls, other._gaps_before = None, list(self._pulls), {}
        return other

    def _may(self, mixer: Mixer) -> AllowedDepths:
        room, sheets, hard = self.place.room_mm, len(self.place.sides), len(self.place.hard)
        rooms, least = [MARGIN * room] * sheets + [room] * hard, [-EARLY * room] * sheets + [0.0] * hard
        return AllowedDepths(mixer, self._depths, rooms, least)

    def correction(self, pose: NDArray, recipe: Recipe) -> tuple[Ints, Floats] | None:
        """The vertices (k,) of the head that are moved, and how far (k, 3) mm; None where nothing goes through."""
        places = np.asarray(pose[self.place.vertices], dtype=np.float64)
        allowed = self.allowed.of(recipe)
        asked = [places, *(pose[each.piece.vertices] for each in self.place.hard), *allowed]
        before = self._before
        if before is None or not all(np.array_equal(a, b) for a, b in zip(before[0], asked, strict=True)):
            before = self._before = (asked, self._found(pose, places, allowed))
        return before[1]

    def _found(self, pose: NDArray, places: Floats, allowed: list[Floats]) -> tuple[Ints, Floats] | None:
        """The same, where the patch lies at `places` (m, 3), for the `allowed` depths of its sides."""
        vectors, normals, even = self._normals(places)
        gaps = self._gaps(pose, places, normals, even, 0)
        if all((-gap <= may).all() for (gap, *_), may in zip(gaps, allowed, strict=True)):
            return None
        aimed = self._aimed_at(gaps, allowed)
        correction, share = np.zeros_like(places), 1.0
        for step in range(self.place.passes):
            if step:
                now = places + correction
                gaps = self._gaps(pose, now, *self._normals(now)[1:], step)
                over = max(float((-gap - may).max()) for (gap, *_), may in zip(gaps, allowed, strict=True))
                share = float(smoothstep(np.array(over / (AGAIN * self.place.room_mm))))
                if share == 0.0:
                    break
            rows, whose = self._rows(gaps, aimed, correction)
            pulls = self._pulls[step]
            field, pull = least_field_of(self._modes, rows, FIRM, pulls[whose])
            self._pulls[step] = np.zeros(len(pulls))
            self._pulls[step][whose] = pull
            correction = correction + share * (self._bounded(field) - correction)
        correction = self._guard.held(places, vectors, correction)
        return self.moved, np.concatenate([correction, self._along @ correction])

    def left(self, parted: NDArray, recipe: Recipe) -> list[Left]:
        """What lies deeper than allowed in a pose (n, 3) mm, by what meets."""
        deep, may = self._depths(parted), self.allowed.of(recipe)
        over = [np.maximum(a - np.maximum(b, self.place.room_mm), 0.0) for a, b in zip(deep, may, strict=True)]
        words = [self.place.words] * len(self.place.sides) + [each.words for each in self.place.hard]
        own = self._own
        found = []
        for what in dict.fromkeys(words):
            mine = [i for i, each in enumerate(words) if each == what]
            amounts = np.concatenate([over[i] for i in mine])
            vertices = np.concatenate([self.place.vertices[own[i]] for i in mine])
            on = amounts > 0.0
            if on.any():
                found.append(Left(what, float(amounts.max()), vertices[on], amounts[on]))
        return found

    def _depths(self, pose: NDArray) -> list[Floats]:
        """(k,) mm by side, how deep its vertices lie in a pose (n, 3)."""
        places = np.asarray(pose[self.place.vertices], dtype=np.float64)
        return [-gap for gap, *_ in self._gaps(pose, places, *self._normals(places)[1:])]

    def _normals(self, places: Floats) -> tuple[Floats, Floats, Floats]:
        """(t, 3) mm^2 twice the triangles' areas along their normals, the patch at `places` (m, 3); (m, 3) unit normals
        of its vertices, and (m,) in [0, 1] how much the triangles about each look the same way."""
        vectors = areas(places, self._triangles)
        found = self._fans @ np.column_stack([vectors, lengths(vectors)])
        left = lengths(found[:, :3]) / np.maximum(found[:, 3], np.finfo(float).tiny)
        return vectors, unit_rows(found[:, :3]), smoothstep((left - CRUMPLED) / EVEN)

    def _gaps(self, pose: NDArray, places: Floats, normals: Floats, even: Floats, step: int = -1) -> list[Gap]:
        """By side: gaps (k,) mm, the other's direction outwards (k, 3), places across and how far each counts (k,).
        What a `step` of the correction asked last is known where nothing of it has changed."""
        found: list[Gap] = []
        for side in self.place.sides:
            used = np.concatenate([side.own, side.other])
            asked = [places[used], normals[used], even[used]]
            found.append(self._known((step, len(found)), asked, partial(_facing, side, places, normals, even)))
        for hard in self.place.hard:
            asked = [places[hard.own], pose[hard.piece.vertices]]
            make = partial(_beside, hard, pose, places, WATCHED * self._length)
            found.append(self._known((step, len(found)), asked, make))
        return found

    def _known(self, key: tuple[int, int], asked: list[NDArray], make: Callable[[], Gap]) -> Gap:
        before = self._gaps_before.get(key)
        if before is None or not all(np.array_equal(a, b) for a, b in zip(before[0], asked, strict=True)):
            before = self._gaps_before[key] = (asked, make())
        return before[1]

    def _aimed_at(self, gaps: list[Gap], allowed: list[Floats]) -> list[Floats]:
        """How deep each side is to be, where somewhere it is deeper than `allowed`: without the room, in which
        triangles still cross, and sheets a little apart. The room is withdrawn as the deepest place goes beyond it."""
        beyond = [np.maximum(-gap - may, 0.0) for (gap, *_), may in zip(gaps, allowed, strict=True)]
        room, sheets = self.place.room_mm, len(self.place.sides)
        most = [float(each.max(initial=0.0)) for each in beyond]
        deepest = [max(most[:sheets], default=0.0)] * sheets + most[sheets:]
        taken = [APART] * sheets + [CLEAR] * (len(beyond) - sheets)
        return [may - share * room * float(smoothstep(np.array(most / (WITHDRAWN * room))))
                for may, most, share in zip(allowed, deepest, taken, strict=True)]  # fmt: skip

    def _rows(
        self, gaps: list[Gap], allowed: list[Floats], so_far: Floats
    ) -> tuple[LineRows, Ints]:  # fmt: skip
        """A row for each vertex that lies deeper than allowed or nearly so, for the whole of the correction, and its
        place (r,) among all that are asked."""
        width = max((a.corners.shape[1] for _, _, a, _ in gaps if a is not None), default=1)
        watched = WATCHED * self._length
        parts: list[tuple[Ints, Ints, Floats, Floats, Floats, Floats, Floats, Ints]] = []
        first = 0
        asked = [FIRMER] * len(self.place.sides)
        asked += [FIRMER if hard.piece.ball else FIRMER_TEETH for hard in self.place.hard]
        for vertices, (gap, out, across, counts), may, firmer in zip(self._own, gaps, allowed, asked, strict=True):
            lack = -gap - may
            on = np.flatnonzero((lack > -watched) & (counts > 1e-3))
            own = vertices[on]
            corners, share = np.repeat(own[:, None], width, axis=1), np.zeros((len(on), width))
            moved = so_far[own]
            if across is not None:
                k = across.corners.shape[1]
                corners[:, :k], share[:, :k] = across.corners[on], across.share[on]
                moved = moved - np.einsum("pk,pki->pi", share, so_far[corners])
            soft = counts[on] * smoothstep(lack[on] / watched + 1.0)
            wanted = np.minimum(firmer * lack[on], MOST_LACK * self._length) + np.einsum("pi,pi->p", out[on], moved)
            most = PULL * counts[on] * (np.minimum(lack[on], MOST_LACK * self._length) + watched)
            parts.append((own, corners, share, out[on], wanted, np.maximum(soft, 1e-6), most, first + on))
            first += len(vertices)
        joined = [np.concatenate(each) for each in zip(*parts, strict=True)]
        own, corners, share, out, wanted, soft, most, whose = joined
        return LineRows(own, Across(own, corners, share), out, wanted, soft, most), whose

    def _bounded(self, correction: Floats) -> Floats:
        """The correction (m, 3) no longer than its ceiling, bent towards it from six tenths on."""
        ceiling = CEILING * self._length
        long = lengths(correction)
        over = np.maximum(long - 0.6 * ceiling, 0.0)
        if not over.any():
            return correction
        soft = np.where(over > 0.0, 0.6 * ceiling + 0.4 * ceiling * np.tanh(over / (0.4 * ceiling)), long)
        return correction * (soft / np.maximum(long, np.finfo(float).tiny))[:, None]


def _facing(side: FacingSide, places: Floats, normals: Floats, even: Floats) -> Gap:
    each = side.heights(places, normals, even)
    return each.gap, each.out, each.across, each.counts


def _beside(hard: HardSide, pose: NDArray, places: Floats, near_mm: float) -> Gap:
    gap, out, counts = hard.piece.gaps(pose, places[hard.own], near_mm)
    return gap, out, None, counts


def _bound_to(head: Head, anchors: Anchors | None, vertices: Ints) -> tuple[Ints, sp.csr_matrix]:
    """What is bound to the skin of a patch (m,) of the head: its vertices (b,), and (b, m) how each goes along."""
    number = np.full(head.n_vertices, -1, dtype=np.int64)
    number[vertices] = np.arange(len(vertices))
    if anchors is None:
        return np.zeros(0, dtype=np.int64), sp.csr_matrix((0, len(vertices)))
    follows = np.zeros(head.n_vertices, dtype=bool)
    for part in head.parts:
        if part.follows == "surface":
            follows[part.vertices] = True
    near = follows[anchors.vertices] & (number[anchors.corners] >= 0).any(axis=1)
    bound, at, share = anchors.vertices[near], number[anchors.corners[near]], anchors.bary[near]
    on = at >= 0
    line = np.repeat(np.arange(len(bound)), 3).reshape(-1, 3)[on]
    along = sp.csr_matrix((share[on], (line, at[on])), shape=(len(bound), len(vertices)))
    return np.asarray(bound, dtype=np.int64), along
