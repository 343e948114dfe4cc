"""What lies deeper in a pose than it may, found by other means than those that part it.

Counted beyond the neutral, the recipe's own shapes alone at their weights, and 0.1 mm: vertices of the skin inside an
eyeball or teeth, by the winding number of the closed piece (libigl: Barill, Dickson, Schmidt, Levin, Jacobson, Fast
winding numbers for soups and clouds, 2018) and the distance to what of it lies outermost, since a ball lies within its
cornea and crowns run into each other; vertices of one lip or lid inside the other one, by the winding number of the
skin a little outside of them and the distance to the other one; and pairs of triangles of the two lips, or of two lids,
that cross, by exact tests. No pair counts with a triangle that crosses in a shape alone, or of which a corner lies
within the other lip or lid there: such a place goes through by its own shape.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.checks.lips import LipZones, lip_zones
from composer.checks.subject import HeadFacts
from composer.contact.lines import CURVES
from composer.geometry.self_intersection import crossing_pairs
from composer.geometry.vectors import cross, unit_rows
from composer.head.head import Head
from composer.head.understand.part_words import what_parts_are

Floats = NDArray[np.float64]
ROOM_MM, STEPS, ABOUT = 0.1, 4, 10
OUTSIDE_MM = 0.05
"""How far outside of the skin its winding number is asked."""
LIDS = ("upper_lid_left", "lower_lid_left", "upper_lid_right", "lower_lid_right")
FURTHEST = 0.25
"""Of a lip's or lid's width: what is inside the skin further from it lies in another part of it, and does not count."""
BEHIND = {"eye": LIDS, "teeth": ("lip_line_upper", "lip_line_lower")}
"""The curves about which skin is asked whether it lies in a piece of that kind."""


@dataclass(frozen=True, eq=False)
class Found:
    """mm that skin lies inside each solid, by sheet the keys of the triangle pairs that cross, and mm that its vertices
    lie inside its other side."""

    depths: list[Floats]
    keys: dict[str, set[int]]
    within: dict[str, Floats]


class Judge:
    """Counts what lies deeper than allowed in poses of one head."""

    def __init__(self, head: Head) -> None:
        facts = self.facts = HeadFacts(head)
        self.sheets = _sheets(facts)
        self._skin = np.ascontiguousarray(facts.triangles[head.skin[facts.triangles].all(axis=1)], dtype=np.int64)
        self.solids = _solids(head, facts)
        self.rest = self.deep(head.neutral)

    def deep(self, pose: NDArray) -> Found:
        """What lies inside solids and what crosses in a pose (n, 3) mm."""
        import igl

        depths = []
        for _, near, used, faces, outer in self.solids:
            places, piece = np.ascontiguousarray(pose[near]), np.ascontiguousarray(pose[used])
            inside = igl.fast_winding_number(piece, faces, places) > 0.5
            depth = np.zeros(len(near))
            if inside.any():
                depth[inside] = np.sqrt(igl.point_mesh_squared_distance(places[inside], piece, outer)[0])
            depths.append(depth)
        keys = {}
        for words, (one, other) in self.sheets.items():
            pairs = crossing_pairs(pose, one, other)
            keys[words] = set((pairs[:, 0] * len(other) + pairs[:, 1]).tolist())
        return Found(depths, keys, {words: self._within(pose, *sides) for words, sides in self.sheets.items()})

    def _within(self, pose: NDArray, one: NDArray, other: NDArray) -> Floats:
        """(n,) mm that vertices of two sides lie in the other one; 0 for all others."""
        import igl

        points = np.ascontiguousarray(pose, dtype=np.float64)
        depth = np.zeros(len(points))
        normals = igl.per_vertex_normals(points, self._skin)
        asked = np.unique(np.concatenate([one.ravel(), other.ravel()]))
        above = np.ascontiguousarray(points[asked] + OUTSIDE_MM * normals[asked])
        inside = asked[igl.fast_winding_number(points, self._skin, above) > 0.5]
        for mine, theirs in ((one, other), (other, one)):
            own = np.intersect1d(inside, np.setdiff1d(mine, theirs))
            far = FURTHEST * float(np.linalg.norm(np.ptp(points[np.unique(theirs)], axis=0)))
            if len(own):
                away = igl.point_mesh_squared_distance(points[own], points, np.ascontiguousarray(theirs, np.int64))[0]
                depth[own] = np.where(away < far * far, np.sqrt(away), 0.0)
        return depth

    def beyond(self, found: Found, alone: list[Found]) -> dict[str, int]:
        """How many vertices and pairs are deeper than in all of `alone`, by kind."""
        counts: dict[str, int] = {}
        for i, (kind, *_) in enumerate(self.solids):
            allowed = np.max([each.depths[i] for each in alone], axis=0) + ROOM_MM
            counts[kind] = counts.get(kind, 0) + int((found.depths[i] > allowed).sum())
        for words, own in found.keys.items():
            kind = words if words == "lips" else "lids"
            sides, many = self.sheets[words], len(self.sheets[words][1])
            before = np.array(sorted(set().union(*(each.keys[words] for each in alone))), dtype=np.int64)
            through = np.max([each.within[words] for each in alone], axis=0)
            one, other = np.divmod(np.array(sorted(own), dtype=np.int64), many)
            new = ~np.isin(one, before // many) & ~np.isin(other, before % many)
            new &= ~(through[sides[0][one]] > 0.0).any(axis=1) & ~(through[sides[1][other]] > 0.0).any(axis=1)
            counts[kind] = counts.get(kind, 0) + int(new.sum())
            deeper = int((found.within[words] > through + ROOM_MM).sum())
            counts[kind + ", inside"] = counts.get(kind + ", inside", 0) + deeper
        return counts

    def lips_mm(self, found: Found, alone: list[Found]) -> float:
        """How much deeper than in all of `alone` a vertex of a lip lies in the other one at most, mm."""
        if "lips" not in found.within:
            return 0.0
        return float((found.within["lips"] - np.max([each.within["lips"] for each in alone], axis=0)).max())


def _sheets(facts: HeadFacts) -> dict[str, tuple[NDArray, NDArray]]:
    """By words the triangles of two sides that can meet."""
    found: dict[str, tuple[NDArray, NDArray]] = {}
    lips = lip_zones(facts)
    if isinstance(lips, LipZones):
        found["lips"] = (lips.upper, lips.lower)
    for words, upper, lower, lids in CURVES:
        lines = [facts.curve(upper), facts.curve(lower)]
        if lids and lines[0] is not None and lines[1] is not None:
            one, other = (facts.steps_from(line, STEPS) for line in lines if line is not None)
            own = [((a < b) & (a <= STEPS))[facts.triangles].all(axis=1) for a, b in ((one, other), (other, one))]
            found[words] = (facts.triangles[own[0]], facts.triangles[own[1]])
    return found


def _solids(head: Head, facts: HeadFacts) -> list[tuple[str, NDArray, NDArray, NDArray, NDArray]]:
    """By piece its kind, the skin that is asked, its vertices, its faces among them, and those that lie outermost."""
    told = what_parts_are(head)
    found = []
    for part in head.parts:
        kind = told.get(part.name, "")
        known = [line for name in BEHIND.get(kind, ()) if (line := facts.curve(name)) is not None]
        if known:
            near = np.flatnonzero((facts.steps_from(np.concatenate(known), ABOUT) <= ABOUT) & head.skin)
            used, faces = np.unique(facts.part_triangles(part), return_inverse=True)
            faces = np.ascontiguousarray(faces.reshape(-1, 3), dtype=np.int64)
            found.append((kind, near, used, faces, _outermost(head.neutral[used], faces)))
    return found


def _outermost(points: NDArray, faces: NDArray) -> NDArray:
    """Those of the faces (t, 3) of a piece (k, 3) mm whose middles lie in none of its other pieces."""
    import igl

    corners = points[faces]
    normal = unit_rows(cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]))
    size = float(np.linalg.norm(np.ptp(points, axis=0)))
    above = np.ascontiguousarray(corners.mean(axis=1) + 1e-4 * size * normal)
    free = igl.fast_winding_number(np.ascontiguousarray(points), faces, above) < 0.5
    return np.ascontiguousarray(faces[free] if free.any() else faces)
