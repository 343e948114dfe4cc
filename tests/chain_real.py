"""The whole chain on a real library and a foreign sculpt, by the command alone, with time and memory of every step.

    MOUE_REAL=FOLDER python -m tests.chain_real --to DIR --level 3 --sculpt 1

The library of MOUE_REAL (`tests/real_library.py`) is fitted onto a sculpt that is re-meshed finer here and gets a
relief of its own, carried with finer levels, divided, mixed, baked in the order of a shuffled sample, sculpted on,
accepted, swapped onto a second sculpt's fit, and mixed with the head before. What comes out is measured against what
went in: `MEASURED` says how. Everything lands in DIR; `chain.md` there holds the table.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import resource
import shutil
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.formats.mesh import Mesh
from composer.formats.registry import read_mesh, write_mesh
from composer.geometry.part import part_of
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface
from composer.head.head import Head
from composer.head.landmark_file import read_landmarks, write_landmarks
from composer.head.landmarks import Landmarks
from composer.head.levels import Refinement
from composer.picture.camera import frame
from composer.picture.render import BACKGROUND, Studio
from composer.picture.views import axes_of

ROOT = Path(__file__).resolve().parents[1]
NEUTRAL, UNIT_MM = "generic_neutral_mesh", 10.0
SHOWN = ("jawOpen", "mouthSmile_L", "browInnerUp_L")
"""Shapes that are measured and pictured."""
MIX = (
    ("brow_inner_left", "browInnerUp_L", 0.9), ("mouth_corner_right", "mouthSmile_R", 0.8),
    ("chin_left", "jawOpen", 0.4), ("chin_right", "jawOpen", 0.4),
)  # fmt: skip
"""The cells of the mixed recipe."""
WAVES_MM, RELIEF_MM, WAVES = (3.0, 6.0), 0.2, 40
"""The planted relief: least and largest wavelength, its rms height, and how many plane waves it is the sum of."""
DAB_MM, DAB_RADIUS_MM = 1.5, 9.0
MEASURED = """Relief: each vertex's height over its surroundings (the mesh, smoothed 30 times by the mean of the
neighbours), along the normal; the same of a pose, on the pose; without what the smooth cage has there at rest or in
that pose, for the folds of a pose are no relief. Correlation and gain are over the narrow face, for the planted relief
(measured the same way on the smooth cage) against the fitted neutral, which has 0.1 mm of the sculpt's own noise beside
it, and for each baked target against the neutral. It knows nothing of how Moue keeps detail."""
Floats = NDArray[np.float64]


@dataclass
class Chain:
    """The folder of a run, and the table of its steps."""

    to: Path
    rows: list[tuple[str, float, float, str]] = field(default_factory=list)

    def moue(self, step: str, *words: str | Path, ends: Sequence[int] = (0,)) -> str:
        """Run `moue` with these words; its standard output. Raises SystemExit where it ends with another code."""
        out = self.to / "logs" / f"{len(self.rows):02d}_{step.replace(' ', '_')}.txt"
        out.parent.mkdir(parents=True, exist_ok=True)
        started = time.monotonic()
        with out.open("w") as file:
            pid = os.posix_spawn(
                sys.executable, [sys.executable, "-m", "composer", *map(str, words)], {**os.environ, "NO_COLOR": "1"},
                file_actions=[(os.POSIX_SPAWN_DUP2, file.fileno(), 1), (os.POSIX_SPAWN_DUP2, file.fileno(), 2)],
            )  # fmt: skip
            _, status, used = os.wait4(pid, 0)
        code = os.waitstatus_to_exitcode(status)
        self.add(step, used.ru_utime + used.ru_stime, used.ru_maxrss / 2**20, f"exit code {code}")
        print(f"  {step}: {time.monotonic() - started:.0f} s wall", flush=True)
        said = out.read_text()
        if code not in ends:
            raise SystemExit(f"{step} ended with {code}:\n{said[-2000:]}")
        return said

    def add(self, step: str, seconds: float, gib: float, note: str) -> None:
        """One more row of the table."""
        self.rows.append((step, seconds, gib, note))
        print(f"{step:38} {seconds:8.1f} s cpu {gib:6.2f} GiB  {note}", flush=True)

    def tell(self, found: dict[str, float]) -> None:
        """Write the table and the figures so far to `chain.md`."""
        (self.to / "chain.md").write_text(f"{self.table()}\n\n{json.dumps(found, indent=1)}\n\n{MEASURED}\n")

    def table(self) -> str:
        """The table in Markdown."""
        lines = ["| step | processor time, s | peak memory, GiB | note |", "|---|---|---|---|"]
        return "\n".join([*lines, *(f"| {s} | {t:.1f} | {m:.2f} | {n} |" for s, t, m, n in self.rows)])


def relief(points: Floats, seed: int = 7) -> Floats:
    """(n,) mm, a band-limited height at points (n, 3) mm."""
    rng = np.random.default_rng(seed)
    way = rng.normal(size=(WAVES, 3))
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    way *= 2 * np.pi / rng.uniform(*WAVES_MM, WAVES)[:, None]
    phase = rng.uniform(0, 2 * np.pi, WAVES)
    total = np.zeros(len(points))
    for one, begin in zip(way, phase, strict=True):
        total += np.cos(points @ one + begin)
    return RELIEF_MM * total / np.sqrt(WAVES / 2)


def finer_sculpt(source: Path, times: int, to: Path) -> int:
    """A sculpt in cm subdivided at the middles of its edges `times` times, with the relief on it; its triangles."""
    mesh = read_mesh(source)
    points, polygons = mesh.positions * UNIT_MM, mesh.polygons
    for _ in range(times):
        middle = points[polygons.edges].mean(axis=1)
        corner = polygons.indices.reshape(-1, 3)
        edge = polygons.corner_edge.reshape(-1, 3) + len(points)
        triangles = np.concatenate([
            np.stack([corner[:, i], edge[:, i], edge[:, i - 1]], axis=1) for i in range(3)] + [edge])  # fmt: skip
        points = np.concatenate([points, middle])
        polygons = Polygons(np.full(len(triangles), 3, np.int32), triangles.astype(np.int32).ravel(), len(points))
    normals = Surface(polygons, points).vertex_normals
    write_mesh(to, Mesh(polygons, (points + relief(points)[:, None] * normals) / UNIT_MM))
    return polygons.n_faces


def marks_file(real: Path, number: int, kind: str, to: Path) -> None:
    """The landmarks of the library and of a sculpt as pairs; `kind` is "landmarks" (exact) or "clicked"."""
    truth = np.load(real / "truth.npz")
    marks = read_landmarks(real / "landmarks.toml", UNIT_MM)
    at = dict(zip(truth["landmarks68"].tolist(), truth[f"sculpt_{number}_{kind}"] * UNIT_MM, strict=True))
    placed = {name: tuple(at[v].tolist()) for name, v in marks.points.items() if v in at}
    head = Landmarks({name: marks.points[name] for name in placed})
    write_landmarks(to, head, Landmarks(placed), UNIT_MM, UNIT_MM)


def small_library(files: Path, real: Path, names: Sequence[str] | None, to: Path) -> None:
    """The library's targets, all or some, with its landmarks beside them."""
    to.mkdir(parents=True)
    for file in files.glob("*.obj"):
        if names is None or file.stem in (NEUTRAL, *names):
            shutil.copyfile(file, to / file.name)
    shutil.copyfile(real / "landmarks.toml", to / "landmarks.toml")


def shuffled(mesh: Mesh, seed: int = 11) -> tuple[Mesh, NDArray[np.int64]]:
    """The mesh as another program exports it, and the vertex that each of its vertices was."""
    rng = np.random.default_rng(seed)
    order = rng.permutation(mesh.n_vertices)
    new = np.empty_like(order)
    new[order] = np.arange(len(order))
    faces = rng.permutation(mesh.polygons.n_faces)
    indices = new[mesh.polygons.indices].reshape(-1, 4)[faces].astype(np.int32)
    polygons = Polygons(mesh.polygons.counts[faces], indices.ravel(), mesh.n_vertices)
    return Mesh(polygons, mesh.positions[order], unit=mesh.unit), order


def heights(polygons: Polygons, points: Floats, rounds: int = 30) -> Floats:
    """(n,) how far each vertex stands out of its surroundings along the normal, in the points' unit."""
    a, b = polygons.edges.T
    n = len(points)
    links = sp.csr_matrix((np.ones(2 * len(a), np.float32), (np.r_[a, b], np.r_[b, a])), shape=(n, n))
    mean = sp.diags((1.0 / np.maximum(polygons.valence, 1)).astype(np.float32)) @ links
    smooth = points.astype(np.float32)
    for _ in range(rounds):
        smooth = 0.5 * smooth + 0.5 * (mean @ smooth)
    return np.einsum("ij,ij->i", points - smooth, Surface(polygons, smooth).vertex_normals)


def alike(one: Floats, other: Floats) -> tuple[float, float]:
    """Correlation of two heights, and how many times as high the second is."""
    one, other = one - one.mean(), other - other.mean()
    both = float(one @ other)
    return both / float(np.linalg.norm(one) * np.linalg.norm(other)), both / float(one @ one)


def run(to: Path, real: Path, files: Path, *, number: int, second: int | None, level: int, finer: int,
        names: Sequence[str] | None, kind: str = "landmarks", drawn: bool = False,
        short: bool = False) -> dict[str, float]:  # fmt: skip
    """The chain on sculpt `number` at a level, and where there is a `second` sculpt the swap onto it; a `short` one
    ends with a bake in Moue's own order. Returns the figures by name."""
    chain, found = Chain(to), {}
    library = to / "library_a"
    small_library(files, real, names, library)
    for each in filter(None, (number, second)):
        count = finer_sculpt(real / f"sculpt_{each}.ply", finer, to / f"sculpt_{each}.ply")
        marks_file(real, each, kind, to / f"sculpt_{each}.toml")
        used = resource.getrusage(resource.RUSAGE_SELF)
        chain.add(f"sculpt {each} by code", used.ru_utime, used.ru_maxrss / 2**20, f"{count:,} triangles")
    for each in filter(None, (number, second)):
        chain.moue(f"fit {each}", "fit", library, to / f"sculpt_{each}.ply", "--landmarks", to / f"sculpt_{each}.toml",
                   "--to", to / f"fit_{each}", "--level", level, "--no-pictures", ends=(0, 1))  # fmt: skip
        found[f"error_mm_{each}"] = true_error(real, each, to / f"fit_{each}/fitted.obj")
    fine = to / f"fit_{number}/fitted_level{level}.obj"
    chain.moue("carry", "carry", library, to / f"fit_{number}/fitted.obj", "--finer", fine, "--to", to / "carried")
    document = to / "document.toml"
    chain.moue("regions", "regions", to / "carried/document.toml", "--to", document)
    cells = ",\n".join(f'{{ region = "{r}", shape = "{s}", weight = {w} }}' for r, s, w in MIX)
    shown = [name for name in SHOWN if names is None or name in names]
    alone = "".join(f'\n[recipes.{n}]\ncells = [{{ region = "all", shape = "{n}", weight = 1.0 }}]\n' for n in shown)
    document.write_text(document.read_text() + f"\n[recipes.mix]\ncells = [\n{cells},\n]\n{alone}")
    if short:
        order = np.arange(read_mesh(fine).n_vertices)
        chain.moue("bake", "bake", document, "--to", to / "baked", "--level", level)
    else:
        sample, order = shuffled(read_mesh(fine))
        write_mesh(to / "sample.obj", sample)
        chain.moue("bake in the sample's order", "bake", document, "--to", to / "baked", "--order-of",
                   to / "sample.obj")  # fmt: skip
    chain.moue("bake the cage", "bake", document, "--to", to / "cage")
    found |= relief_found(to, fine, order, ["mix", *shown], number)
    chain.tell(found)
    if drawn:
        pictures(to, fine, order, [*shown, "mix"], number)
    if not short:
        found |= dab_and_accept(chain, document, to, order)
        chain.tell(found)
    if second is not None:
        found |= swap_and_blend(chain, document, to, level, second)
    chain.tell(found)
    return found


def true_error(real: Path, number: int, fitted: Path) -> float:
    """Mean distance in mm of the fitted skin from the true vertices, over the narrow face (vertices 0 to 6705)."""
    truth = np.load(real / "truth.npz")[f"sculpt_{number}"][:6706] * UNIT_MM
    return float(np.linalg.norm(read_mesh(fitted).positions[:6706] * UNIT_MM - truth, axis=1).mean())


def relief_found(to: Path, fine: Path, order: NDArray, names: Sequence[str], number: int) -> dict[str, float]:
    """The relief on the fitted neutral against the planted one, and on every baked target against the neutral's."""
    mesh = read_mesh(fine)
    polygons, points = mesh.polygons, mesh.positions * UNIT_MM
    report = json.loads((to / f"fit_{number}/report.json").read_text())
    flat = subdivided(read_mesh(to / f"fit_{number}/fitted.obj"), len(points))
    own = heights(polygons, points) - heights(polygons, flat)
    on = narrow_face(len(points), to)
    planted = planted_heights(polygons, points, flat)
    found = dict(zip(("planted_correlation", "planted_gain"), alike(planted[on], own[on]), strict=True))
    found["bad_faces"] = float(sum(each["bad_faces"] for each in report["levels"].values()))
    for name in names:
        baked = read_mesh(to / f"baked/{name}.obj").positions * UNIT_MM
        pose = np.empty_like(baked)
        pose[order] = baked
        smooth = subdivided(read_mesh(to / f"cage/{name}.obj"), len(points))
        worn = heights(polygons, pose) - heights(polygons, smooth)
        found |= dict(zip((f"{name}_correlation", f"{name}_gain"), alike(own[on], worn[on]), strict=True))
    return found


def subdivided(mesh: Mesh, count: int) -> Floats:
    """(count, 3) mm, the positions of a cage's file at the level that has so many vertices, smooth."""
    smooth, coarse = mesh.positions * UNIT_MM, mesh.polygons
    while len(smooth) < count:
        step = Refinement(coarse)
        smooth, coarse = step.apply(smooth), step.polygons
    return smooth


def pictures(to: Path, fine: Path, order: NDArray, names: Sequence[str], number: int) -> None:
    """The sculpt, the fitted neutral and baked targets, skin alone, from the front and close to the mouth."""
    from PIL import Image

    mesh = read_mesh(fine)
    skin = np.flatnonzero(mesh.polygons.components == mesh.polygons.components[0])
    points = mesh.positions * UNIT_MM
    fitted = Studio.of(Head("fitted", part_of(mesh.polygons, skin), points[skin]), 0)
    sculpt = read_mesh(to / f"sculpt_{number}.ply")
    of_sculpt = Studio.of(Head("sculpt", sculpt.polygons, sculpt.positions * UNIT_MM), 0)
    middle = points[5708]  # a corner of the mouth
    near = points[skin][np.linalg.norm(points[skin] - middle, axis=1) < 22.0]
    wide = points[skin][points[skin][:, 2] > np.percentile(points[skin][:, 2], 45)]
    size = (520, 560)
    cameras = [frame(each, axes_of("three_quarter"), size, 0.9) for each in (wide, near)]
    columns = [[of_sculpt.picture(camera=camera) for camera in cameras],
               [fitted.picture(camera=camera) for camera in cameras]]  # fmt: skip
    for name in names:
        baked = read_mesh(to / f"baked/{name}.obj").positions * UNIT_MM
        pose = np.empty_like(baked)
        pose[order] = baked
        posed = fitted.figure.posed(pose[skin])
        columns.append([fitted.picture(posed=posed, camera=camera) for camera in cameras])
    sheet = Image.new("RGB", (size[0] * len(columns), size[1] * 2), BACKGROUND)
    for i, column in enumerate(columns):
        for row, picture in enumerate(column):
            sheet.paste(picture, (i * size[0], row * size[1]))
    sheet.save(to / "chain.png")


def planted_heights(polygons: Polygons, points: Floats, flat: Floats) -> Floats:
    """(n,) mm, what `heights` finds where the relief at `points` (n, 3) lies on the smooth cage `flat` (n, 3)."""
    on_it = flat + relief(points)[:, None] * Surface(polygons, flat).vertex_normals
    return heights(polygons, on_it) - heights(polygons, flat)


def narrow_face(count: int, to: Path) -> NDArray[np.bool_]:
    """(n_k,) whether a vertex of the level with so many vertices lies among the cage's vertices 0 to 6705."""
    cage = read_mesh(to / f"library_a/{NEUTRAL}.obj").polygons
    mask, polygons = (np.arange(cage.n_vertices) < 6706).astype(np.float32), cage
    while len(mask) < count:
        step = Refinement(polygons)
        mask, polygons = step.apply(mask), step.polygons
    return mask > 0.999


def dab_and_accept(chain: Chain, document: Path, to: Path, order: NDArray) -> dict[str, float]:
    """A dab on the mix as it was baked, accepted at its level: how far the next bake is from the dabbed file."""
    file = to / "baked/mix.obj"
    mesh = read_mesh(file)
    points = mesh.positions * UNIT_MM
    middle = points[np.argsort(order)[4857]]  # the tip of the nose
    away = np.linalg.norm(points - middle, axis=1)
    height = DAB_MM * np.exp(-0.5 * (away / (DAB_RADIUS_MM / 3)) ** 2) * (away < DAB_RADIUS_MM)
    dabbed = points + (height * (1.0 + 0.3 * np.sin(3.0 * points[:, 0])))[:, None] * [0.0, 0.3, 0.95]
    sculpted = to / "dabbed.obj"
    write_mesh(sculpted, Mesh(mesh.polygons, dabbed / UNIT_MM))
    said = chain.moue("accept", "accept", document, sculpted, "--recipe", "mix", "--order-of", to / "sample.obj")
    chain.moue("bake again", "bake", document, "--to", to / "baked_again", "--order-of", to / "sample.obj", "--recipe",
               "mix")  # fmt: skip
    again = read_mesh(to / "baked_again/mix.obj").positions * UNIT_MM
    size = float(np.linalg.norm(np.ptp(dabbed, axis=0)))
    assert "corrective" in said
    return {
        "accepted_moved_mm": float(height.max()),
        "accepted_left_of_size": float(np.linalg.norm(again - dabbed, axis=1).max()) / size,
    }


def swap_and_blend(chain: Chain, document: Path, to: Path, level: int, second: int) -> dict[str, float]:
    """The second fit in the document's head's place, then a neutral with the nose of the head before."""
    fine = to / f"fit_{second}/fitted_level{level}.obj"
    chain.moue("swap", "swap", document, to / f"fit_{second}/fitted.obj", "--finer", fine, "--name", f"sculpt_{second}")
    text = document.read_text()
    earlier = text.split("[earlier.", 1)[1].split("]", 1)[0]
    cells = ",\n".join(f'{{ region = "{region}", shape = "{earlier}", weight = 1.0 }}'
                       for region in re.findall(r"^\[regions\.(nos[a-z_]+)\]", text, re.M))  # fmt: skip
    document.write_text(f"{text}\n[recipes.kin]\ncells = [\n{cells},\n]\n")
    chain.moue("make a recipe the neutral", "swap", document, "--recipe", "kin", "--name", "kin")
    kin = read_mesh(document.parent / f"heads/kin/{NEUTRAL}.obj").positions * UNIT_MM
    before = read_mesh(document.parent / f"heads/sculpt_{second}/{NEUTRAL}.obj").positions * UNIT_MM
    chain.moue("bake the new head", "bake", document, "--to", to / "baked_kin", "--level", level, "--recipe", "mix",
               "--recipe", "kin")  # fmt: skip
    return {"kin_moved_mm": float(np.linalg.norm(kin - before, axis=1).max()), "kin_cells": float(cells.count("shape"))}


def main() -> None:
    """The chain as a person asks for it on the command line."""
    from tests.real_library import unpacked

    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--to", type=Path, required=True)
    parser.add_argument("--sculpt", type=int, default=1)
    parser.add_argument("--second", type=int, default=0, help="the sculpt to swap in, 0 for none")
    parser.add_argument("--level", type=int, default=3)
    parser.add_argument("--finer", type=int, default=2, help="how often the sculpt is subdivided")
    parser.add_argument("--shapes", nargs="*", help="only these shapes of the library")
    parser.add_argument("--clicked", action="store_true", help="landmarks as a person clicks them")
    parser.add_argument("--short", action="store_true", help="end with the bake, in Moue's own order")
    parser.add_argument("--pictures", action="store_true", help="draw chain.png, the sculpt and what came of it")
    asked = parser.parse_args()
    real = Path(os.environ["MOUE_REAL"]) / "library_a"
    found = run(
        asked.to, real, unpacked(real), number=asked.sculpt, second=asked.second or None, level=asked.level,
        finer=asked.finer, names=asked.shapes, kind="clicked" if asked.clicked else "landmarks", drawn=asked.pictures,
        short=asked.short,
    )  # fmt: skip
    print(json.dumps(found, indent=1))


if __name__ == "__main__":
    main()
