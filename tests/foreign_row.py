"""One row of the table of foreign libraries: a library opened as a person opens it, each behaviour against its truth.

A cell is a figure or a word; what is wrong in a cell begins with "!". Lengths are mm. Nothing here is a constant of
the product: truths are those of `tests.foreign_truth`.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.bench.random_mixes import random_mixes
from composer.checks.of_document import check_recipes
from composer.document.bake import bake
from composer.document.beliefs import beliefs_of
from composer.document.evaluated import EvaluatedDocument
from composer.document.masks_of import moving_regions
from composer.edits.match_few import match_few
from composer.formats.registry import read_mesh
from composer.geometry.rigid import similarity
from composer.head.find_landmarks.found import find_landmarks
from composer.head.head import Head
from composer.head.landmarks import Landmarks
from composer.head.presets import lay_regions, region_set
from composer.head.symmetry import mirror_of
from composer.mixing.recipe import ALL, Cell, Recipe
from composer.viewer.session.opening import open_path
from tests.foreign_truth import Truth

Rows = NDArray[np.float64]
TOUCHES_MM = 0.05
"""A lash's vertex this near to the skin at rest is a root."""
MOST_CHECKED = 60
"""Of a library's own shapes, so many are run through the checks at most, evenly chosen."""
ROUND_TRIP_MM = 1e-3
"""What six decimals of a metre lose."""
SIDES = ("left", "right")
CODE = (
    "import sys, time\nfrom pathlib import Path\nfrom composer.bench.peak_memory import peak_mb\n"
    "from composer.viewer.session.opening import open_path\nstart = time.process_time()\n"
    "open_path(Path(sys.argv[1]), lambda f, w: None)\nprint(time.process_time() - start, peak_mb())"
)


class Row:
    """The library of a truth, opened, and its cells by column."""

    def __init__(self, truth: Truth, say: Callable[[str], None] = lambda words: None) -> None:
        self.truth, self.cells = truth, {"library": truth.name}
        measures: dict[str, Callable[[], str]] = {
            "opens": self.opens, "neutral": self.neutral, "unit": self.unit, "axes": self.axes, "parts": self.parts,
            "gaze": self.gaze, "landmarks": self.landmarks, "regions": self.regions, "blink": self.blink,
            "lashes": self.lashes, "jaw": self.jaw, "mirror": self.mirror, "moving regions": self.moving,
            "checks": self.checks, "match": self.match, "bake": self.baked, "questions": self.questions,
            "time and memory": self.cost,
        }  # fmt: skip
        for column, measure in measures.items():
            try:
                self.cells[column] = measure()
            except Exception as error:  # a cell that fails is a finding and never stops the table
                self.cells[column] = f"! {type(error).__name__}: {str(error)[:120]}"
            say(f"{truth.name}: {column}: {self.cells[column]}")

    @property
    def head(self) -> Head:
        """The head as opened."""
        return self.open.evaluated.head

    def opens(self) -> str:
        """With which regions it opens, and how many notes it tells."""
        self.open = open_path(self.truth.folder, lambda fraction, words: None)
        source = {str(region.source["from"]) for region in self.open.evaluated.project.regions}
        return f"yes, {len(self.open.notes)} notes, regions from {' and '.join(sorted(source)) or 'nothing'}"

    def neutral(self) -> str:
        """Whether the neutral is the true one."""
        chosen = self.head.neutral_name
        return "right" if chosen == self.truth.neutral_name else f"! {chosen}"

    def _turn(self) -> tuple[Rows, float]:
        """The rotation (3, 3) from the true frame to the opened head's axes, and the size relative to the truth."""
        found = similarity(self.truth.known.neutral, self.head.neutral)
        return np.asarray(found.rotation), float(found.scale)

    def unit(self) -> str:
        """Whether lengths are true; a wrong unit must be questioned."""
        size = self._turn()[1]
        if abs(size - 1.0) < 1e-3:
            return "right"
        asked = any(belief.topic == "unit" and belief.doubt for belief in beliefs_of(self.head))
        return f"{'questioned' if asked else '! silent'}, {size:.3g} of the true size"

    def axes(self) -> str:
        """How far x, y and z of the opened head are from its own left, up and ahead, in degrees."""
        rotation, _ = self._turn()
        off = float(np.degrees(np.arccos(np.clip((np.trace(rotation) - 1.0) / 2.0, -1.0, 1.0))))
        asked = any(belief.topic == "sides" and belief.doubt for belief in beliefs_of(self.head))
        return "right" if off < 0.1 else f"{'questioned' if asked else '! silent'}, {off:.0f} degrees off"

    def parts(self) -> str:
        """How many pieces follow something else than they truly do, and what they are."""
        told = np.full(self.head.n_vertices, "skin", dtype="<U8")
        for part in self.head.parts:
            told[part.vertices] = part.follows
        words = self.truth.follows
        wrong = np.array([one not in allowed and allowed != "any" for one, allowed in zip(told, words, strict=True)])
        piece = self.head.polygons.components
        count = len(np.unique(piece))
        if not wrong.any():
            return f"all {count} pieces"
        pairs = Counter(zip(words[wrong].tolist(), told[wrong].tolist(), strict=True))
        said = ", ".join(f"{number} vertices of {true} told as {other}" for (true, other), number in pairs.items())
        return f"! {len(np.unique(piece[wrong]))} of {count} wrong: {said}"

    def gaze(self) -> str:
        """Where the eyes look: degrees outward and up in the true frame."""
        rotation, _ = self._turn()
        out = []
        for side, sign in (("left", 1.0), ("right", -1.0)):
            part = next((part for part in self.head.parts if part.name == f"eye_{side}"), None)
            if part is None:
                return "no eyeball" if not (self.truth.follows == "own").any() else "! no eyeball"
            if part.gaze is None:
                return "! none"
            x, y, z = rotation.T @ np.array(part.gaze)
            out.append((float(np.degrees(np.arctan2(sign * x, z))), float(np.degrees(np.arcsin(y)))))
        outward, up = min(each[0] for each in out), max((each[1] for each in out), key=abs)
        wrong = "! " if outward < -1.0 or outward > 15.0 or abs(up) > 15.0 else ""
        return f"{wrong}{outward:.1f} outward, {up:.1f} up"

    def landmarks(self) -> str:
        """Found landmarks against the true ones: median and worst of the measured, median of the guessed."""
        found = find_landmarks(self.head.with_(landmarks=None))
        miss = self._misses(found.landmarks)
        sure = {name: each for name, each in miss.items() if name not in found.guesses}
        guessed = [each for name, each in miss.items() if name in found.guesses]
        if not sure:
            return f"! none ({'; '.join(found.missing.values())})"
        worst = max(sure, key=lambda name: sure[name])
        wrong = "! " if np.median(list(sure.values())) > 2.0 else ""
        rest = f"; {len(guessed)} guesses {np.median(guessed):.1f}" if guessed else ""
        lost = f"; missing {', '.join(found.missing)}" if found.missing else ""
        middle = float(np.median(list(sure.values())))
        return f"{wrong}{len(sure)}: {middle:.1f}, worst {sure[worst]:.1f} ({worst}){rest}{lost}"

    def _misses(self, found: Landmarks) -> dict[str, float]:
        """mm between each true point and the found one, and from a true curve's vertices to the found curve, mean."""
        truth, at = self.truth.landmarks, self.head.neutral / self._turn()[1]
        out = {}
        for name in set(truth.points) & set(found.points):
            out[name] = float(np.linalg.norm(truth.position(name, at) - found.position(name, at)))
        for name in set(truth.curves) & set(found.curves):
            line = found.curve_positions(name, at)
            out[name] = float(np.mean([to_line(point, line) for point in truth.curve_positions(name, at)]))
        return out

    def regions(self) -> str:
        """How many of the forty regions it opens with."""
        names = region_set("face").names
        got = [region.name for region in self.open.evaluated.project.regions]
        lost = [name for name in names if name not in got]
        known = [name for name in names if name in got]
        return f"{'! ' if len(known) < 36 else ''}{len(known)}" + (f", without {', '.join(lost)}" if lost else "")

    def _posed(self, shape: str, words: tuple[str, ...], side: str = "") -> Rows | None:
        """(n, 3) the shape at full weight on every region whose name holds one of the words; None without regions."""
        names = [name for name in self.open.evaluated.effective if any(word in name for word in words)]
        names = [name for name in names if not side or name.endswith(side)]
        if not names:
            return None
        return self.open.evaluated.pose(Recipe("trial", tuple(Cell(name, shape, 1.0) for name in names)))

    def blink(self) -> str:
        """The gap that is left between the lids: made by lid regions, and in the library's own blink; mean mm."""
        out = []
        for side in SIDES:
            shape = self.truth.blinks.get(side)
            if not shape:
                return "no blink"
            pose = self._posed(shape, ("lid",), side)
            if pose is None:
                return "! no lid region"
            out.append((self._gap(pose, side), self._gap(self.head.target(shape), side)))
        ours, own, rest = max(a for a, _ in out), max(b for _, b in out), self._gap(self.head.neutral, "left")
        return f"{'! ' if ours > own + 0.5 else ''}{ours:.2f}, own {own:.2f}, rest {rest:.1f}"

    def _gap(self, pose: Rows, side: str) -> float:
        at = pose / self._turn()[1]
        upper, lower = (self.truth.landmarks.curve_positions(f"{lid}_lid_{side}", at) for lid in ("upper", "lower"))
        there = [to_line(point, lower) for point in upper]
        back = [to_line(point, upper) for point in lower]
        return float(np.mean(there + back))

    def lashes(self) -> str:
        """How far lash roots leave the lid in a blink made by regions, beyond what the library's own does; most, mm."""
        skin, worst, count = self._skin(), 0.0, 0
        surface = np.flatnonzero(np.char.startswith(self.truth.follows, "surface"))
        rest = self.head.neutral
        if not len(surface):
            return "no lashes"
        near = cKDTree(rest[skin]).query(rest[surface], k=4)
        shapes = self.head.shapes
        for side in SIDES:
            shape = self.truth.blinks.get(side)
            if not shape:
                return "no blink"
            pose = self._posed(shape, ("lid",), side)
            if pose is None:
                return "! no lid region"
            own = self.head.target(shape)
            for vertex, away, places in zip(surface, near[0], skin[near[1]], strict=True):
                touching = places[away < TOUCHES_MM]
                if not len(touching):
                    continue
                strays = [max(float(np.abs(s.delta[p] - s.delta[vertex]).max()) for s in shapes) for p in touching]
                if min(strays) > TOUCHES_MM:
                    continue  # the library itself does not hold it there
                place, count = touching[int(np.argmin(strays))], count + 1
                left = np.linalg.norm(pose[vertex] - pose[place]) - np.linalg.norm(own[vertex] - own[place])
                worst = max(worst, float(left))
        return f"{'! ' if worst > TOUCHES_MM else ''}{worst:.3f} of {count} roots" if count else "no root on the skin"

    def _skin(self) -> NDArray[np.int64]:
        return np.flatnonzero(self.truth.follows == "skin")

    def jaw(self) -> str:
        """How far lower teeth and tongue stay behind the whole shape in a jaw opened by regions; most, mm."""
        if not self.truth.jaw:
            return "no jaw opening"
        moved = np.flatnonzero(self.truth.follows == "jaw")
        if not len(moved):
            return "no teeth"
        pose = self._posed(self.truth.jaw, ("lower_lip", "chin", "jaw"))
        if pose is None:
            return "! no chin region"
        whole = self.head.target(self.truth.jaw)[moved]
        off = float(np.linalg.norm(pose[moved] - whole, axis=1).max())
        far = float(np.linalg.norm(whole - self.head.neutral[moved], axis=1).max())
        return f"{'! ' if off > 1.0 else ''}{off:.2f} of {far:.1f}"

    def mirror(self) -> str:
        """Vertices whose partner is not the true one, and how far a mirrored left blink is from the right one."""
        mirror = mirror_of(self.head)
        truth, out, wrong = self.truth.mirror, [], ""
        if truth is not None:
            off = int((mirror.partner != truth).sum())
            wrong = "! " if off > 0.01 * len(truth) else ""
            out.append(f"{off} of {len(truth)} partners wrong")
        out.append(f"{len(mirror.without)} without")
        left, right = (self.truth.blinks.get(side) for side in SIDES)
        if left and right and left != right:
            skin = self._skin()
            at = self.head.neutral[skin]
            image = mirror.vectors(self.head.shape(left).delta.astype(np.float64))[skin]
            image, own = (each - still_motion(at, each) for each in (image, self.head.shape(right).delta[skin]))
            apart = np.linalg.norm(image - own, axis=1)
            out.append(f"blink {apart.max():.2f}")
            wrong = "! " if apart.max() > 3.0 else wrong
        return wrong + ", ".join(out)

    def moving(self) -> str:
        """Faces turned in 100 random mixes of regions from displacement (tame, all) and of the landmark regions."""
        head = self.head
        deltas = [shape.delta for shape in head.shapes]
        found = moving_regions(head, 16)
        ours = random_mixes(head.surface, head.skin, deltas, found.masks, found.ramps_mm)
        landmarks = head.landmarks or find_landmarks(head).landmarks
        words = f"{len(found.masks)} regions, {int(ours.tame_turned.sum())} tame, {int(ours.turned.sum())} all"
        wrong = bool(ours.tame_turned.sum())
        if landmarks:
            laid = lay_regions(head.with_(landmarks=landmarks), region_set("face"))
            theirs = random_mixes(head.surface, head.skin, deltas, laid.masks)
            words += f", {int(theirs.turned.sum())} by landmarks"
            wrong |= bool(ours.turned.sum() > theirs.turned.sum())
        return ("! " if wrong else "") + words

    def checks(self) -> str:
        """Findings on the library's own shapes; those that a head with true parts and landmarks does not have."""
        shapes = self.head.shape_names
        step = max(1, -(-len(shapes) // MOST_CHECKED))
        ours = self._findings(self.head, shapes[::step])
        true_head = self.truth.known
        if not true_head.parts:
            true_head = true_head.with_(parts=self.head.parts)
        known = self._findings(true_head, shapes[::step])
        false, missed = ours - known, known - ours

        def words(found: set[tuple[str, str]]) -> str:
            return ", ".join(f"{code} {count}" for code, count in Counter(code for _, code in found).most_common())
        said = f"{len(ours)} ({words(ours)}) in {len(shapes[::step])} shapes" if ours else f"0 in {len(shapes[::step])}"
        said += f"; false: {words(false)}" if false else ""
        return ("! " if false else "") + said + (f"; missed: {words(missed)}" if missed else "")

    def _findings(self, head: Head, shapes: list[str]) -> set[tuple[str, str]]:
        """(shape, code) of every error and warning."""
        project = self.open.evaluated.project.with_(regions=(), parts={}, landmarks={}, curves={}, recipes=())
        document = EvaluatedDocument(project, head)
        recipes = [Recipe(name, (Cell(ALL, name, 1.0),)) for name in shapes]
        return {
            (recipe.name, finding.code)
            for recipe, _, findings in check_recipes(document, recipes) for finding in findings
            if finding.severity != "note"
        }  # fmt: skip

    def match(self) -> str:
        """How many cells three of its own shapes come back as."""
        shapes = sorted(self.head.shapes, key=lambda shape: shape.furthest_mm)
        chosen = [shapes[k] for k in sorted({0, len(shapes) // 2, len(shapes) - 1}) if shapes[k].furthest_mm > 0.5]
        counts = []
        for shape in chosen:
            cells = match_few(self.open.evaluated, self.head.target(shape.name)).matched.cells
            counts.append(len(cells))
        return f"{'! ' if any(count != 1 for count in counts) else ''}{' '.join(map(str, counts))} cells"

    def baked(self) -> str:
        """A shape baked as the neutral's own file and read back, against its own file; the neutral's own bytes."""
        name = self.truth.jaw or self.head.shape_names[0]
        with tempfile.TemporaryDirectory() as folder:
            recipe = Recipe("trial", (Cell(ALL, name, 1.0),))
            bake(self.open.evaluated, folder, [recipe])
            back = read_mesh(Path(folder) / "trial.obj").positions
            own = read_mesh(self.truth.folder / f"{name}.obj").positions
            off = float(np.abs(back - own).max()) * self.truth.unit_mm
            neutral = self.truth.folder / f"{self.truth.neutral_name}.obj"
            beside = Path(folder) / neutral.name
            same = beside.is_file() and without_materials(beside) == without_materials(neutral)
        kept = "neutral byte for byte" if same else "! neutral changed"
        return f"{'! ' if off > ROUND_TRIP_MM else ''}{off:.1g}, {kept}"

    def questions(self) -> str:
        """On which topics the page of beliefs asks the person to look."""
        asked = Counter(belief.topic for belief in beliefs_of(self.head) if belief.doubt)
        return ", ".join(f"{topic} {count}" for topic, count in asked.items()) or "none"

    def cost(self) -> str:
        """Processor seconds and peak memory of a process that only opens it."""
        done = subprocess.run(
            [sys.executable, "-c", CODE, str(self.truth.folder)], capture_output=True, text=True, check=True
        )  # fmt: skip
        seconds, memory = done.stdout.split()
        return f"{float(seconds):.1f} s, {float(memory):.0f} MB"


def without_materials(file: Path) -> list[bytes]:
    """The lines of an OBJ but those that name material files, whose paths follow the folder."""
    return [line for line in file.read_bytes().split(b"\n") if not line.startswith(b"mtllib")]


def still_motion(rest: Rows, delta: Rows) -> Rows:
    """(k, 3) the rigid motion of the half of the skin that moves most alike: a drift of the head, if there is one."""
    still = np.ones(len(rest), dtype=bool)
    for _ in range(8):
        motion = similarity(rest[still], rest[still] + delta[still], scaled=False)
        carried = motion(rest) - rest
        off = np.linalg.norm(delta - carried, axis=1)
        still = off <= np.median(off)
    return np.asarray(carried)


def to_line(point: Rows, line: Rows) -> float:
    """mm from a point (3,) to a polyline (k, 3)."""
    start, way = line[:-1], np.diff(line, axis=0)
    share = np.clip(((point - start) * way).sum(1) / np.maximum((way**2).sum(1), 1e-12), 0.0, 1.0)
    return float(np.linalg.norm(start + share[:, None] * way - point, axis=1).min())
