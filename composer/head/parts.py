"""Which pieces of a head are not skin: eyeballs, teeth, tongue, lashes, by name, form and how they move.

Only whole components (pieces that share no vertex with the rest) are ever claimed, and never the largest one,
which is the skin: a group called "eye" that lies on the skin is the skin round the eye. A component is
known by the group, object or material that covers it, or, without a name that says anything, by being a
ball of an eyeball's size with a partner on the other side. What moves with what is measured on the shapes.
Common practice, no source.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from composer.geometry.polygons import Polygons
from composer.head.head import Follows, Head, Part

Ints = NDArray[np.int32]
COVERED = 0.8
"""A name is a component's where it covers this share of its polygons."""
BALL_RADIUS_MM = (8.0, 18.0)
"""An adult's eyeball is about 12 mm in radius (common practice, no source), plus what a stylised head
takes.
"""
BALL_ERROR = 0.08
STILL, RIGID, BOUND = 2e-4, 1e-3, 1e-2
"""Of the head's diagonal: what counts as standing still, as rigid, and (at the 90th percentile) as bound."""
CARRIED = 1e-2
"""Of the head's diagonal: how far a jaw carries what follows it; less is residual motion of the head in a scan."""

WORDS: tuple[tuple[str, str, Follows], ...] = (
    (r"eye_?lash|lash", "lashes", "surface"),
    (r"brow|beard|moustache|mustache|hair", "hair", "surface"),
    (r"tear|meniscus|caruncle|lacrimal", "tear", "surface"),
    (r"eye_?ball|eye|iris|cornea|sclera|pupil|lens", "eye", "skull"),
    (r"teeth|tooth|denture|gum|gingiva", "teeth", "skull"),
    (r"tongue", "tongue", "jaw"),
)
NOT_PARTS = re.compile(r"eye_?lid|eye_?brow_?(area|region)|lid|socket|skin|face|head|body")
LEFT = re.compile(r"(^|[^a-z])(l|lt)([^a-z]|$)|left")
RIGHT = re.compile(r"(^|[^a-z])(r|rt)([^a-z]|$)|right")
UPPER = re.compile(r"(^|[^a-z])(up|top|max)([^a-z]|$)|upper")
LOWER = re.compile(r"(^|[^a-z])(lo|low|bottom|down|mand)([^a-z]|$)|lower")


@dataclass(frozen=True)
class Recognised:
    """The parts found, and a sentence for each on how it was known."""

    parts: tuple[Part, ...]
    notes: tuple[str, ...]


def recognise_parts(head: Head) -> tuple[Part, ...]:
    """The parts of a head; see the module's words. Empty where everything is skin or nothing says what it
    is.
    """
    return recognise(head).parts


def recognise(head: Head) -> Recognised:
    """The parts of a head, and how each was known. No vertex is in two parts, none of the skin in any."""
    label, n_components = components_of(head.polygons)
    if n_components < 2:
        return Recognised((), ())
    pieces = [np.flatnonzero(label == c).astype(np.int32) for c in range(n_components)] if n_components < 512 else []
    if not pieces:
        return Recognised((), (f"The head has {n_components} components, too many to look for parts.",))
    skin = _skin(head, pieces, label)
    names = _names_of(head, label, n_components)
    found: dict[str, list[Ints]] = {}
    follows: dict[str, Follows] = {}
    notes: dict[str, str] = {}
    balls = _balls(head, [c for c in range(n_components) if c != skin], pieces)
    for component, vertices in enumerate(pieces):
        if component == skin:
            continue
        known = _by_name(names[component], head.neutral[vertices])
        how = f"by its name {names[component][0]!r}" if known and names[component] else "by its form"
        if known is None and component in balls:
            known = (f"eye_{_side('', head.neutral[vertices])}", "skull")
        if known is None:
            continue
        name, kind = known
        found.setdefault(name, []).append(vertices)
        follows.setdefault(name, kind)
        notes.setdefault(name, f"{name} was taken for a part {how}.")
    parts = []
    skin_tree = cKDTree(head.neutral[pieces[skin]]) if found else None
    for name, held in found.items():
        vertices = np.sort(np.concatenate(held))
        moves = _follows(head, vertices, pieces[skin], skin_tree, follows[name]) if head.shapes else follows[name]
        if moves == "jaw" and name.startswith(("eye", "tear")):
            moves = "skull"  # what moved it was the whole head
        parts.append(Part(name, vertices, moves))
    return Recognised(tuple(parts), tuple(notes.values()))


def with_recognised_parts(head: Head) -> Head:
    """The head with the parts it is found to have, and how they were known among its notes."""
    found = recognise(head)
    if not found.parts:
        return head
    names = ", ".join(part.name for part in found.parts)
    return head.with_(parts=found.parts, notes=(*head.notes, f"Taken for parts by name, form and motion: {names}."))


def components_of(polygons: Polygons) -> tuple[Ints, int]:
    """(n,) the component of each vertex, and how many there are; vertices of no polygon have one each."""
    a, b = polygons.indices, polygons.indices[polygons.next_corner]
    links = sp.csr_matrix((np.ones(len(a), dtype=np.int8), (a, b)), shape=(polygons.n_vertices,) * 2)
    count, label = connected_components(links, directed=False)
    return label.astype(np.int32), int(count)


def _skin(head: Head, pieces: list[Ints], label: Ints) -> int:
    """The component of the largest extent: the sum of its box's sides, then its vertices."""
    size = [(round(float(np.ptp(head.neutral[piece], axis=0).sum()), 6), len(piece)) for piece in pieces]
    return max(range(len(pieces)), key=lambda c: size[c])


def _names_of(head: Head, label: Ints, n_components: int) -> list[list[str]]:
    """For each component, the groups and materials that cover it, the most telling (smallest) first."""
    face = label[head.polygons.indices[head.polygons.starts[:-1]]]
    total = np.bincount(face, minlength=n_components)
    out: list[list[tuple[int, str]]] = [[] for _ in range(n_components)]
    for name, faces in [*head.groups.items(), *head.materials.items()]:
        covered = np.bincount(face[faces], minlength=n_components)
        for component in np.flatnonzero((covered >= COVERED * total) & (covered > 0)):
            out[int(component)].append((len(faces), name))
    return [[name for _, name in sorted(held)] for held in out]


def _by_name(names: list[str], points: NDArray) -> tuple[str, Follows] | None:
    for number, name in enumerate(names):
        low = name.lower()
        for pattern, kind, follows in WORDS:
            if re.search(pattern, low) and not (kind == "eye" and NOT_PARTS.search(low)):
                names.insert(0, names.pop(number))
                return _named(kind, low, points, follows)
    return None


def _named(kind: str, name: str, points: NDArray, follows: Follows) -> tuple[str, Follows]:
    height = "upper" if UPPER.search(name) else "lower" if LOWER.search(name) else ""
    if kind == "teeth":
        return (f"teeth_{height}" if height else "teeth"), ("jaw" if height == "lower" else follows)
    if kind == "lashes":
        return "_".join(filter(None, ("lashes", height, _side(name, points)))), follows
    if kind in ("eye", "tear"):
        return f"{kind}_{_side(name, points)}", follows
    return kind, follows


def _side(name: str, points: NDArray) -> str:
    """left where the name says so, or where the piece lies at x > 0, the subject's left."""
    left, right = bool(LEFT.search(name)), bool(RIGHT.search(name))
    if left != right:
        return "left" if left else "right"
    return "left" if float(points[:, 0].mean()) > 0 else "right"


def _balls(head: Head, components: list[int], pieces: list[Ints]) -> set[int]:
    """Components that are balls of an eyeball's size with a partner of the same height on the other side."""
    balls: dict[int, tuple[NDArray[np.float64], float]] = {}
    for component in components:
        points = head.neutral[pieces[component]]
        if len(points) < 12:
            continue
        centre = points.mean(axis=0)
        system = np.column_stack([2 * (points - centre), np.ones(len(points))])
        solution, *_ = np.linalg.lstsq(system, ((points - centre) ** 2).sum(axis=1), rcond=None)
        middle = centre + solution[:3]
        away = np.linalg.norm(points - middle, axis=1)
        radius = float(away.mean())
        if BALL_RADIUS_MM[0] <= radius <= BALL_RADIUS_MM[1] and float(away.std()) <= BALL_ERROR * radius:
            balls[component] = (middle, radius)
    return {
        a
        for a, (here, radius) in balls.items()
        for b, (there, _) in balls.items()
        if a != b and here[0] * there[0] < 0 and np.linalg.norm(here * (-1, 1, 1) - there) < 2 * radius
    }


def _follows(head: Head, vertices: Ints, skin: Ints, tree: cKDTree | None, expected: Follows) -> Follows:
    """What a part follows, as its shapes say it: nothing (skull), a rigid motion (jaw), the skin beside it, or
    itself. Where a small piece moves both rigidly and with the skin, as lashes do, what is `expected` decides.

    A part that is turned in itself while its middle stays (an eyeball that looks) has shapes of its own.
    """
    scale = head.diagonal
    rest = head.neutral[vertices]
    nearest = skin[tree.query(rest)[1]] if tree is not None else vertices
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
    """The largest distance left after the best rigid motion (Kabsch 1976), in mm."""
    a = rest - rest.mean(axis=0)
    moved = rest + delta
    b = moved - moved.mean(axis=0)
    u, _, vt = np.linalg.svd(a.T @ b)
    flip = np.diag([1.0, 1.0, np.sign(np.linalg.det(u @ vt)) or 1.0])
    return float(np.linalg.norm(a @ (u @ flip @ vt) - b, axis=1).max())
