"""What contact takes away in random recipes and in all pairs of shapes, judged by other means than those that part.

    python -m composer.bench.contact_mix --recipes 500 --pairs [--real]

Six random cells a recipe, and pairs of whole shapes. Counted before and after, each beyond the neutral and the
recipe's own shapes alone at their weights, and 0.1 mm: vertices of the skin inside an eyeball or teeth, by the winding
number of the closed piece and the distance to it (libigl: Barill, Dickson, Schmidt, Levin, Jacobson, Fast winding
numbers for soups and clouds, 2018); pairs of triangles of the two lips, or of two lids, that cross, by exact tests. Of
triangles that cross in a shape alone no pair counts. Poses in which lips lie less than 3 mm in each other, as Moue
tells it, count apart from deeper ones. A face is turned that looks against what it was before contact, or against rest
where it did not before.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from composer.bench.demo_surface import demo_head
from composer.bench.real_heads import real_heads
from composer.checks.lips import LipZones, lip_zones
from composer.checks.subject import HeadFacts
from composer.contact.lines import CURVES
from composer.geometry.self_intersection import crossing_pairs
from composer.head.head import Head
from composer.head.presets import lay_regions, region_set
from composer.head.understand.part_words import what_parts_are
from composer.mixing.contact import MixContact
from composer.mixing.linear import Mixer
from composer.mixing.recipe import ALL, Cell, Recipe

ROOM_MM, SHALLOW_MM, STEPS, ABOUT = 0.1, 3.0, 4, 10


class Judge:
    """Counts what lies deeper than allowed in poses of one head."""

    def __init__(self, head: Head) -> None:
        facts = self.facts = HeadFacts(head)
        self.sheets: dict[str, tuple[NDArray, NDArray]] = {}
        lips = lip_zones(facts)
        if isinstance(lips, LipZones):
            self.sheets["lips"] = (lips.upper, lips.lower)
        for words, upper, lower, lids in CURVES:
            lines = [facts.curve(upper), facts.curve(lower)]
            if lids and lines[0] is not None and lines[1] is not None:
                one, other = (facts.steps_from(line, STEPS) for line in lines if line is not None)
                own = [((a < b) & (a <= STEPS))[facts.triangles].all(axis=1) for a, b in ((one, other), (other, one))]
                self.sheets[words] = (facts.triangles[own[0]], facts.triangles[own[1]])
        told = what_parts_are(head)
        curves = {"eye": ("upper_lid_left", "lower_lid_left", "upper_lid_right", "lower_lid_right"),
                  "teeth": ("lip_line_upper", "lip_line_lower")}  # fmt: skip
        self.solids = []
        for part in head.parts:
            kind = told.get(part.name, "")
            known = [line for name in curves.get(kind, ()) if (line := facts.curve(name)) is not None]
            if known:
                near = np.flatnonzero((facts.steps_from(np.concatenate(known), ABOUT) <= ABOUT) & head.skin)
                used, faces = np.unique(facts.part_triangles(part), return_inverse=True)
                self.solids.append((kind, near, used, np.ascontiguousarray(faces.reshape(-1, 3), dtype=np.int64)))
        self.rest = self.deep(head.neutral)

    def deep(self, pose: NDArray) -> tuple[list[NDArray], dict[str, set[int]]]:
        """mm that skin lies inside each solid, and the keys of the triangle pairs that cross."""
        import igl

        depths = []
        for _, near, used, faces in self.solids:
            places, piece = np.ascontiguousarray(pose[near]), np.ascontiguousarray(pose[used])
            inside = igl.fast_winding_number(piece, faces, places) > 0.5
            depth = np.zeros(len(near))
            if inside.any():
                depth[inside] = np.sqrt(igl.point_mesh_squared_distance(places[inside], piece, faces)[0])
            depths.append(depth)
        keys = {}
        for words, (one, other) in self.sheets.items():
            pairs = crossing_pairs(pose, one, other)
            keys[words] = set((pairs[:, 0] * len(other) + pairs[:, 1]).tolist())
        return depths, keys

    def beyond(self, pose: NDArray, alone: list[tuple[list[NDArray], dict[str, set[int]]]]) -> dict[str, int]:
        """How many vertices and pairs are deeper than in all of `alone`, by kind."""
        depths, keys = self.deep(pose)
        found: dict[str, int] = {}
        for i, (kind, *_) in enumerate(self.solids):
            allowed = np.max([each[0][i] for each in alone], axis=0) + ROOM_MM
            found[kind] = found.get(kind, 0) + int((depths[i] > allowed).sum())
        for words, own in keys.items():
            kind = words if words == "lips" else "lids"
            many = len(self.sheets[words][1])
            before = np.array(sorted(set().union(*(each[1][words] for each in alone))), dtype=np.int64)
            one, other = np.divmod(np.array(sorted(own), dtype=np.int64), many)
            new = ~np.isin(one, before // many) & ~np.isin(other, before % many)
            found[kind] = found.get(kind, 0) + int(new.sum())
        return found


def recipes_of(head: Head, regions: list[str], count: int, seed: int = 3) -> Iterator[Recipe]:
    """Recipes of six random cells each."""
    rng = np.random.default_rng(seed)
    names = [shape.name for shape in head.expressions]
    for number in range(count):
        cells: dict[tuple[str, str], Cell] = {}
        while len(cells) < 6:
            region = ALL if rng.uniform() < 0.3 else regions[rng.integers(len(regions))]
            shape = names[rng.integers(len(names))]
            cells[region, shape] = Cell(region, shape, float(rng.uniform(0.3, 1.0)))
        yield Recipe(f"random {number}", tuple(cells.values()), contact=True)


def pairs_of(head: Head) -> Iterator[Recipe]:
    """Each pair of whole shapes."""
    names = [shape.name for shape in head.expressions]
    for i, one in enumerate(names):
        for other in names[:i]:
            yield Recipe(f"{one} {other}", (Cell(ALL, one, 1.0), Cell(ALL, other, 1.0)), contact=True)


def table(head: Head, recipes: list[Recipe], mixer: Mixer) -> list[str]:
    """Lines that say what contact takes away in recipes."""
    contact, judge = MixContact(mixer), Judge(head)
    triangles, rest = judge.facts.triangles, _areas(head.neutral, judge.facts.triangles)
    sums: dict[str, list[float]] = {}
    turned, against_rest, seconds, asked, furthest = 0, 0, 0.0, 0, 0.0
    for recipe in recipes:
        pose = mixer.pose(recipe)
        contact.left(pose, recipe)  # the depths of its shapes, taken once a head
        began = time.process_time()
        parted = contact.parted(pose, recipe)
        seconds += time.process_time() - began
        asked += 1
        alone = [judge.rest] + [judge.deep(head.neutral + mixer.motion(c).at(c.weight)) for c in recipe.cells]
        before = judge.beyond(pose, alone)
        if not any(before.values()) and parted is pose:
            continue
        after = judge.beyond(parted, alone)
        deep = max((left.most_mm for left in contact.left(pose, recipe) if left.words == "the lips"), default=0.0)
        for kind, count in before.items():
            name = kind if kind != "lips" else "lips below 3 mm" if deep < SHALLOW_MM else "lips deeper"
            held = sums.setdefault(name, [0, 0, 0])
            held[0] += count
            held[1] += after[kind]
            held[2] += count > 0
        one, other = _areas(pose, triangles), _areas(parted, triangles)
        turned += int(((one * other).sum(axis=1) < 0.0).sum())
        against_rest += int((((rest * other).sum(axis=1) < 0.0) & ((rest * one).sum(axis=1) > 0.0)).sum())
        furthest = max(furthest, float(np.abs(parted - pose).max()))
    lines = [
        f"{name:16} {was:7.0f} -> {now:6.0f}  less {1.0 - now / max(was, 1):6.1%}  in {poses:.0f} poses"
        for name, (was, now, poses) in sorted(sums.items())
    ]
    lines.append(f"{asked} poses, turned against before {turned}, newly against rest {against_rest}")
    lines.append(f"furthest {furthest:.1f} mm, {1e3 * seconds / max(asked, 1):.1f} ms of processor time a pose")
    return lines


def _areas(pose: NDArray, triangles: NDArray) -> NDArray[np.float64]:
    a, b, c = (pose[triangles[:, i]] for i in range(3))
    return np.asarray(np.cross(b - a, c - a))


def main() -> None:
    """Print the table of the demo or of the real library."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--recipes", type=int, default=100)
    asked.add_argument("--pairs", type=int, nargs="?", const=10**9, default=0, help="all, or about so many")
    asked.add_argument("--real", action="store_true", help="the library that MOUE_REAL names, not the demo's")
    said = asked.parse_args()
    head = real_heads("this table")[0] if said.real else demo_head(0, shapes=True)
    mixer = Mixer(head, dict(lay_regions(head, region_set("face")).masks))
    regions = [name for name in mixer.masks if name not in (ALL, "remainder")]
    sys.stdout.write(f"{head.name}, {head.n_vertices:,} vertices, {len(head.expressions)} shapes\n")
    if said.recipes:
        sys.stdout.write("\n".join(table(head, list(recipes_of(head, regions, said.recipes)), mixer)) + "\n")
    if said.pairs:
        whole = list(pairs_of(head))
        chosen = whole if said.pairs >= len(whole) else whole[:: max(1, len(whole) // said.pairs)]
        sys.stdout.write("\n".join(["pairs", *table(head, chosen, mixer)]) + "\n")


if __name__ == "__main__":
    main()
