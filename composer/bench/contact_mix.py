"""What contact takes away in random recipes and in all pairs of shapes, judged by other means than those that part.

    python -m composer.bench.contact_mix --recipes 500 --pairs [--sweeps 40] [--real] [--workers 16] [--json FILE]

Six random cells a recipe, and pairs of whole shapes; what is counted is told in `contact_judge`. Poses in which no lip
lies more than 3 mm deeper in the other than it may count apart from deeper ones.
A face is turned over where contact itself changes the sign of its deformation against its surroundings
(`turned_over`); mended, if the pose had turned it over against rest already. Told beside it are the faces that look
against what they were before contact, mended ones among them, and those that newly look against rest: so does one that
is rolled along with a lip from 89 degrees off rest to 91.
A sweep takes one cell of a recipe from 0 to 1 in a hundred steps; told is the largest step of a vertex beside the
largest without contact. `--json` keeps every pose's figures.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import sys
import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.bench.contact_judge import Found, Judge
from composer.bench.demo_surface import demo_head
from composer.bench.real_heads import real_heads
from composer.bench.turned_over import Orientations
from composer.head.presets import lay_regions, region_set
from composer.mixing.contact import MixContact
from composer.mixing.linear import Mixer
from composer.mixing.recipe import ALL, Cell, Recipe

SHALLOW_MM, SWEEP_STEPS = 3.0, 100


@dataclass(frozen=True)
class Told:
    """A pose's figures: counts by kind before and after, how deep a lip lies in the other beyond what it may before and
    after, mm, faces turned against before and newly against rest, turned over against their surroundings, mended, the
    furthest movement, mm, processor time, ms."""

    name: str
    before: dict[str, int]
    after: dict[str, int]
    deep_mm: float
    left_mm: float
    turned: int
    against_rest: int
    turned_over: int
    mended: int
    furthest_mm: float
    took_ms: float


class Subject:
    """A head with its contact and its judge."""

    def __init__(self, real: bool) -> None:
        head = self.head = real_heads("this table")[0] if real else demo_head(0, shapes=True)
        self.mixer = Mixer(head, dict(lay_regions(head, region_set("face")).masks))
        self.contact, self.judge = MixContact(self.mixer), Judge(head)
        self._orientations = Orientations(self.judge.facts.triangles, head.n_vertices)
        self._alone: dict[tuple[str, float, bool], Found] = {}

    def told(self, recipe: Recipe) -> Told:
        """The figures of a recipe's pose."""
        head, contact, judge = self.head, self.contact, self.judge
        pose = self.mixer.pose(recipe)
        contact.left(pose, recipe)  # the depths of its shapes are taken here, once a head
        began = time.process_time()
        parted = contact.parted(pose, recipe)
        took = time.process_time() - began
        alone = [judge.rest, *(self._shape(cell) for cell in recipe.cells)]
        found = judge.deep(pose)
        before, deep = judge.beyond(found, alone), judge.lips_mm(found, alone)
        if parted is pose:
            return Told(recipe.name, before, before, deep, deep, 0, 0, 0, 0, 0.0, 1e3 * took)
        left = judge.deep(parted)
        triangles = judge.facts.triangles
        rest, one, other = (_areas(each, triangles) for each in (head.neutral, pose, parted))
        fresh = ((rest * other).sum(axis=1) < 0.0) & ((rest * one).sum(axis=1) > 0.0)
        faces = np.flatnonzero((parted != pose).any(axis=1)[triangles].any(axis=1) & head.skin[triangles].all(axis=1))
        over = faces[self._orientations.kept(pose, parted, faces) < 0.0]
        mended = int((self._orientations.kept(head.neutral, pose, over) < 0.0).sum())
        return Told(
            recipe.name, before, judge.beyond(left, alone), deep, judge.lips_mm(left, alone),
            int(((one * other).sum(axis=1) < 0.0).sum()), int(fresh.sum()),
            len(over) - mended, mended,
            float(np.linalg.norm(parted - pose, axis=1).max()), 1e3 * took,
        )  # fmt: skip

    def swept(self, recipe: Recipe) -> tuple[float, float]:
        """Of a sweep of a recipe's last cell the largest step without contact and with it, mm."""
        steps, last = [0.0, 0.0], None
        for weight in np.linspace(0.0, 1.0, SWEEP_STEPS + 1):
            now = recipe.with_(cells=(*recipe.cells[:-1], replace(recipe.cells[-1], weight=float(weight))))
            pose = self.mixer.pose(now)
            poses = (pose, self.contact.parted(pose, now))
            if last is not None:
                moved = (float(np.linalg.norm(a - b, axis=1).max()) for a, b in zip(poses, last, strict=True))
                steps = [max(a, b) for a, b in zip(steps, moved, strict=True)]
            last = poses
        return steps[0], steps[1]

    def recipes(self, count: int, seed: int = 3) -> Iterator[Recipe]:
        """Recipes of six random cells each."""
        regions = [name for name in self.mixer.masks if name not in (ALL, "remainder")]
        rng = np.random.default_rng(seed)
        names = [shape.name for shape in self.head.expressions]
        for number in range(count):
            cells: dict[tuple[str, str], Cell] = {}
            while len(cells) < 6:
                region = ALL if rng.uniform() < 0.3 else regions[rng.integers(len(regions))]
                shape = names[rng.integers(len(names))]
                cells[region, shape] = Cell(region, shape, float(rng.uniform(0.3, 1.0)))
            yield Recipe(f"random {number}", tuple(cells.values()), contact=True)

    def pairs(self, about: int) -> list[Recipe]:
        """Each pair of whole shapes, or `about` so many of them."""
        names = [shape.name for shape in self.head.expressions]
        whole = [(one, other) for i, one in enumerate(names) for other in names[:i]]
        return [
            Recipe(f"{one} {other}", (Cell(ALL, one, 1.0), Cell(ALL, other, 1.0)), contact=True)
            for one, other in (whole if about >= len(whole) else whole[:: max(1, len(whole) // about)])
        ]

    def sweeps(self, count: int) -> list[Recipe]:
        """Recipes whose last cell is swept: pairs of whole shapes in which contact parts something at the end."""
        found = []
        for recipe in self.pairs(8 * count):
            pose = self.mixer.pose(recipe)
            if self.contact.parted(pose, recipe) is not pose:
                found.append(recipe)
        return found[:: max(1, len(found) // count)][:count]

    def _shape(self, cell: Cell) -> Found:
        key = (cell.shape, cell.weight, cell.mirrored)
        if key not in self._alone:
            if len(self._alone) > 200:
                self._alone.clear()
            self._alone[key] = self.judge.deep(self.head.neutral + self.mixer.motion(cell).at(cell.weight))
        return self._alone[key]


def table(told: Sequence[Told]) -> list[str]:
    """Lines that say what contact takes away."""
    sums: dict[str, list[int]] = {}
    for each in told:
        for kind, count in each.before.items():
            name = kind.replace("lips", "lips below 3 mm" if each.deep_mm < SHALLOW_MM else "lips deeper")
            held = sums.setdefault(name, [0, 0, 0])
            held[0] += count
            held[1] += each.after[kind]
            held[2] += count > 0
    lines = [
        f"{name:24} {was:7.0f} -> {now:6.0f}  less {1.0 - now / max(was, 1):6.1%}  in {poses:.0f} poses"
        for name, (was, now, poses) in sorted(sums.items())
    ]
    for words, few in (("below 3 mm", [each for each in told if 0.0 < each.deep_mm < SHALLOW_MM]),
                       ("deeper", [each for each in told if each.deep_mm >= SHALLOW_MM])):  # fmt: skip
        if few:
            was, now = sum(each.deep_mm for each in few), sum(max(each.left_mm, 0.0) for each in few)
            lines.append(f"lips {words}, deepest vertex of each pose: sum {was:.1f} -> {now:.1f} mm,"
                         f" less {1.0 - now / max(was, 1e-9):.1%}")  # fmt: skip
    lines.append(
        f"{len(told)} poses, turned against before {sum(t.turned for t in told)},"
        f" newly against rest {sum(t.against_rest for t in told)}"
    )
    over = [each.turned_over for each in told]
    lines.append(f"turned over against their surroundings {sum(over)} in {sum(each > 0 for each in over)} poses,"
                 f" mended {sum(t.mended for t in told)}")  # fmt: skip
    took = sorted(t.took_ms for t in told)
    far = max((t.furthest_mm for t in told), default=0.0)
    if took:
        lines.append(f"furthest {far:.1f} mm; processor time a pose, ms: mean {np.mean(took):.1f}, most {took[-1]:.1f}")
    return lines


def sweep_table(names: Sequence[str], steps: Sequence[tuple[float, float]]) -> list[str]:
    """Lines that say how much larger steps are with contact."""
    ratio = [b / max(a, 1e-9) for a, b in steps]
    order = np.argsort(ratio)[::-1]
    if not ratio:
        return ["no sweeps"]
    middle, many = np.median(ratio), sum(each > 3.0 for each in ratio)
    first = f"{len(ratio)} sweeps, largest step over the largest without contact: median {middle:.2f}, most"
    return [f"{first} {max(ratio):.2f}, above 3 in {many}"] + [f"  {ratio[i]:.2f} {names[i]}" for i in order[:5]]


def _areas(pose: NDArray, triangles: NDArray) -> NDArray[np.float64]:
    a, b, c = (pose[triangles[:, i]] for i in range(3))
    return np.asarray(np.cross(b - a, c - a))


_subject: list[Subject] = []


def _made(real: bool) -> None:
    _subject[:] = [Subject(real)]


def _told(recipe: Recipe) -> Told:
    return _subject[0].told(recipe)


def _swept(recipe: Recipe) -> tuple[float, float]:
    return _subject[0].swept(recipe)


def main() -> None:
    """Print the table of the demo or of the real library."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--recipes", type=int, default=100)
    asked.add_argument("--pairs", type=int, nargs="?", const=10**9, default=0, help="all, or about so many")
    asked.add_argument("--sweeps", type=int, default=0, help="so many pairs, one of the two swept")
    asked.add_argument("--real", action="store_true", help="the library that MOUE_REAL names, not the demo's")
    asked.add_argument("--workers", type=int, default=1, help="processes; each makes its own contact")
    asked.add_argument("--json", type=Path, help="keeps every pose's figures")
    said = asked.parse_args()
    began = time.process_time()
    _made(said.real)
    subject = _subject[0]
    head, took = subject.head, time.process_time() - began
    sys.stdout.write(f"{head.name}, {head.n_vertices:,} vertices, {len(head.expressions)} shapes, {took:.1f} s\n")
    kept: dict[str, object] = {}
    pool = None
    if said.workers > 1:
        pool = multiprocessing.get_context("spawn").Pool(said.workers, _made, (said.real,))
    for words, recipes in (
        ("recipes", list(subject.recipes(said.recipes))), ("pairs", subject.pairs(said.pairs) if said.pairs else [])
    ):  # fmt: skip
        if recipes:
            told: Iterable[Told] = map(_told, recipes) if pool is None else pool.imap(_told, recipes, 4)
            figures = list(told)
            kept[words] = [asdict(each) for each in figures]
            sys.stdout.write("\n".join([words, *table(figures)]) + "\n")
            sys.stdout.flush()
    if said.sweeps:
        chosen = subject.sweeps(said.sweeps)
        steps = list(map(_swept, chosen) if pool is None else pool.imap(_swept, chosen))
        names = [each.name for each in chosen]
        kept["sweeps"] = [{"name": name, "steps": step} for name, step in zip(names, steps, strict=True)]
        sys.stdout.write("\n".join(sweep_table(names, steps)) + "\n")
    if pool is not None:
        pool.close()
        pool.join()
    if said.json:
        said.json.write_text(json.dumps(kept, indent=1))


if __name__ == "__main__":
    main()
