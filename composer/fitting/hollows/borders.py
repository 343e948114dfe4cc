"""Skin where the sculpt leaves the library's form beyond reason: hair, a hat, a collar, a cut neck.

A neighbourhood of another person is the library's, turned and scaled, and bent a little. What is left after the best
turn and scale of each vertex's edges is its distortion. On people and on sculpted faces it stays below FAR outside the
ears; tufts of hair, brims and hems exceed it. Such skin keeps the library's form, from its rim, and the artist is
asked. The eyes, the nose, the lips and the ears are never taken for a border.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.fitting.hollows.cavities import connected
from composer.fitting.hollows.covers import Cover
from composer.fitting.hollows.library import LibrarySkin
from composer.fitting.hollows.places import PLACES
from composer.fitting.reference_shape import shaped
from composer.geometry.diffusion import diffused
from composer.geometry.nearest_turn import nearest_turns
from composer.geometry.surface import Surface
from composer.head.landmarks import Landmarks

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]

FAR = 0.28
"""Distortion beyond which skin leaves the library's form (no unit): outside the face's places it was at most .25 on
four real people, and .3 to .5 over the hair of one scan."""
SMOOTH = 0.01
"""Width over which the distortion is averaged, as a share of the diagonal (our choice: some 5 mm)."""
LEAST = 15
"""Least vertices of such a place (our choice): smaller ones are creases."""
RIM = 2
"""Rings at the skin's open border that are not looked at: no neighbourhood is whole there (our choice)."""
GROW = 3
"""Rings by which a place is grown, so that its own rim is in it (our choice)."""
HOLD, LOOSE, ROUNDS = 0.05, 1e-6, 12
"""How firmly the grown rings are held, and the place itself, beside weight 1 for the library's form; rounds (our
choice)."""


@dataclass(frozen=True, eq=False)
class Border:
    """Flags (s,) of a place that leaves the library's form, and a question about it."""

    flags: Flags
    words: str


def distortion(surface: Surface, rest: Rows) -> Rows:
    """(s,) in [0, 1]: how little the edges at each vertex of `surface` (s, 3) mm are those of `rest` (s, 3), turned and
    scaled; the root of the mean square of what is left over that of the edges, averaged over SMOOTH."""
    edges = surface.polygons.edges.astype(np.int64)
    a, b = (np.concatenate([edges[:, i], edges[:, 1 - i]]) for i in (0, 1))
    before, now, n = rest[a] - rest[b], surface.positions[a] - surface.positions[b], surface.n_vertices
    spread = np.stack(
        [np.stack([np.bincount(a, now[:, i] * before[:, j], n) for j in range(3)], axis=1) for i in range(3)], axis=1
    )
    turn, trace = nearest_turns(spread)
    scale = trace / np.maximum(np.bincount(a, (before**2).sum(axis=1), n), 1e-300)
    rest_of_it = now - scale[a, None] * np.einsum("kij,kj->ki", turn[a], before)
    share = np.bincount(a, (rest_of_it**2).sum(axis=1), n) / np.maximum(np.bincount(a, (now**2).sum(axis=1), n), 1e-300)
    averaged = diffused(surface, share, (SMOOTH * surface.diagonal_mm) ** 2)
    return np.sqrt(np.clip(averaged, 0.0, None))


def borders(
    library: LibrarySkin, positions: Rows, follows: Flags, places: NDArray[np.int64], marks: Landmarks, neutral: Rows
) -> list[Border]:
    """The places of the skin at `positions` (s, 3) mm that leave the library's form. `follows` (s,) flags what lies on
    the sculpt, `places` (s,) is as `face_places` has it; `marks` are on the library's `neutral` (n, 3) mm."""
    surface = library.surface.at(positions)
    tables = library.uncrossing
    inner = ~tables.loops.grown(surface.polygons.border_vertices, RIM) & (places == len(PLACES)) & follows
    far = inner & (distortion(surface, library.surface.positions) > FAR)
    found = [piece for piece in connected(surface.polygons, tables.loops.grown(far, 1) & inner) if piece.sum() >= LEAST]
    rest = library.surface.positions
    return [Border(piece, _question(int(piece.sum()), rest[piece], marks, neutral)) for piece in found]


def with_library_form(library: LibrarySkin, positions: Rows, found: list[Border], can: Flags) -> tuple[Rows, Flags]:
    """(s, 3) the skin's `positions` (s, 3) mm with the borders in the library's form, and which vertices (s,) moved, of
    those flagged in `can` (s,)."""
    tables = library.uncrossing
    core = np.zeros(len(positions), dtype=bool)
    for border in found:
        core |= border.flags
    zone = tables.loops.grown(core, GROW) & can
    moving = np.flatnonzero(zone)
    if not len(moving):
        return positions, zone
    firm = np.where(core[moving], LOOSE, HOLD)
    return shaped(tables.polygons, positions, tables.loops, tables.rest, moving, firm, ROUNDS, True), zone


def cover_question(cover: Cover, rest: Rows, marks: Landmarks, neutral: Rows) -> str:
    """What the artist is asked about a cover of a skin that lies at `rest` (s, 3) on the library."""
    return (
        f"{int(cover.flags.sum()):,} vertices {_where(rest[cover.flags], marks, neutral)} stand out by "
        f"{cover.stands_mm:.0f} mm behind a step all round: a cap, hair, a collar? They keep the library's form; "
        "--follow-all copies the sculpt there."
    )


def _question(count: int, places: Rows, marks: Landmarks, neutral: Rows) -> str:
    """What the artist is asked about `count` vertices at `places` (k, 3) on the library."""
    return (
        f"{count:,} vertices {_where(places, marks, neutral)} leave the library's form: hair, a hat, a collar? They "
        "keep the library's form; --follow-all copies the sculpt there."
    )


def _where(places: Rows, marks: Landmarks, neutral: Rows) -> str:
    """Where on the head `places` (k, 3) on the library lie."""
    names = ("exocanthion_left", "exocanthion_right", "gnathion")
    if not all(name in marks.points for name in names):
        return "on the head"
    left, right, chin = (np.asarray(marks.position(name, neutral)) for name in names)
    eyes = (left + right) / 2.0
    down = float((places.mean(axis=0) - eyes) @ (chin - eyes) / ((chin - eyes) @ (chin - eyes)))
    return "above the eyes" if down < 0.0 else "below the chin" if down > 0.8 else "beside the face"
