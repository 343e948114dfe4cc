"""Awkward libraries, made by code from the demo's keeper: whatever a stranger's head may be like, with the truth.

`awkward("layered_eyes", "one_object", "z_up")` makes one out of several traits, in their order; `TRAITS` names them
all. Each trait is a function that takes an `AwkwardHead` (the demo, unless said) and returns another. A head is in
millimetres and nobody has marked it; `write` puts its files into a folder, in its own unit. The demo is built once a
run. Shapes are the demo's action units, without in-betweens.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

from composer.demo.action_units import unit_names
from composer.demo.anatomy import anatomy_of
from composer.demo.character import KEEPER
from composer.demo.neutral import DemoNeutral
from composer.demo.posing import Posing
from composer.formats.mesh import mesh_of
from composer.formats.obj import write as write_obj
from composer.geometry.polygons import Polygons
from tests import awkward_pieces as pieces
from tests import demo_heads
from tests.awkward_surgery import (
    AwkwardHead,
    Ints,
    Rows,
    in_axes,
    renumbered,
    with_neutral,
    with_shapes,
)  # fmt: skip
from tests.made_once import thing

HALF = 0.5
"""How far a half-closed neutral's lids are on their way to shut."""
NEUTRAL_NAMES = (
    "Neutral_v3", "base", "rest_pose", "REFERENCE", "head default", "generic_neutral_mesh", "000.basis", "neutre",
    "нейтральное", "ニュートラル", "中立", "وجه محايد", "Mika",
)  # fmt: skip
"""Names that a neutral's file has somewhere in the world; the last one says nothing."""


@cache
def _keeper() -> tuple[DemoNeutral, Posing]:
    neutral = demo_heads.neutral(KEEPER.name)
    return neutral, Posing(anatomy_of(neutral))


@cache
def demo() -> AwkwardHead:
    """The demo as it is, nothing said of it: every action unit and gaze, parts and landmarks only as the truth."""
    return thing("the awkward heads' demo", _demo)


def _demo() -> AwkwardHead:
    neutral = demo_heads.neutral(KEEPER.name)
    part_of = np.full(len(neutral.positions), "skin", dtype="<U24")
    for part in neutral.parts:
        part_of[part.vertices] = part.name
    head = neutral.head().with_(
        parts=(), landmarks=None, uv=None, groups={str(name): faces for name, faces in neutral.groups.items()}
    )
    start = AwkwardHead("demo", head, part_of, neutral.mirror, neutral.landmarks)
    return with_shapes(start, _posed({}, neutral.positions), list(unit_names()))


def _posed(held: dict[str, float], neutral: Rows) -> Rows:
    """(s, n, 3) every unit, posed with the weights `held` at least, less `neutral`."""
    _, posing = _keeper()
    poses = []
    for name in unit_names():
        weights = {**held, name: max(1.0, held.get(name, 0.0))}
        poses.append(posing.pose(weights) - neutral)
    moved = np.stack(poses)
    moved[np.abs(moved).max(axis=2) < 1e-6] = 0.0
    return moved


def _rings() -> dict[str, Ints]:
    return demo_heads.neutral(KEEPER.name).rings


def layered_eyes(a: AwkwardHead) -> AwkwardHead:
    """Each eye a ball, an iris within it, a wet sheet along the lower lid and an occlusion sheet over the opening."""
    return pieces.layered_eyes(a, _rings())


def rooted_lashes(a: AwkwardHead) -> AwkwardHead:
    """One lash strip a lid, its roots in the very places of the lid's edge."""
    return pieces.rooted_lashes(a, _rings())


def materials_only(a: AwkwardHead) -> AwkwardHead:
    """No group; one material a part, skin's groups among them, with names that say nothing."""
    held = a.head.groups.values()
    named = {f"M_{number:02d}": faces for number, faces in enumerate(held)}
    return replace(a, head=a.head.with_(groups={}, materials=named))


def one_object(a: AwkwardHead) -> AwkwardHead:
    """Neither groups nor materials: only connected pieces tell parts."""
    return replace(a, head=a.head.with_(groups={}, materials={}))


def triangles_only(a: AwkwardHead) -> AwkwardHead:
    """Every polygon as triangles, its diagonals drawn the same way on both sides, so that triangles do not mirror."""
    old = a.head.polygons
    polygons = Polygons(np.full(len(old.triangles), 3), old.triangles.ravel(), old.n_vertices)
    everyone = np.arange(old.n_vertices)
    return renumbered(a, polygons, everyone, old.triangle_face.astype(np.int64), a.mirror)


def lopsided(a: AwkwardHead) -> AwkwardHead:
    """A face that grew unevenly by up to 4 mm: jaw and nose aside, one brow higher; parts stay stiff."""
    x, y, z = a.positions.T

    def about(px: float, py: float, pz: float, reach: float) -> Rows:
        return np.exp(-((x - px) ** 2 + (y - py) ** 2 + (z - pz) ** 2) / (2 * reach**2))

    moved = np.zeros_like(a.positions)
    moved[:, 0] += 4.0 * np.exp(-(((y + 100.0) / 35.0) ** 2) - ((z - 75.0) / 60.0) ** 2)
    moved[:, 0] -= 1.6 * about(0.0, -35.0, 105.0, 16.0)
    moved[:, 1] += 2.4 * about(36.0, 18.0, 85.0, 16.0)
    moved[:, 2] += 2.0 * about(-45.0, -30.0, 65.0, 18.0)
    for part in a.part_names:
        at = a.vertices(part)
        moved[at] = moved[at].mean(axis=0)
    return with_neutral(a, a.positions + moved)


def z_up(a: AwkwardHead) -> AwkwardHead:
    """The head lies as files with z up have it: it looks along -y, its left is x."""
    return in_axes(a, np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]]))


def z_up_looks_along_x(a: AwkwardHead) -> AwkwardHead:
    """z is up, and the head looks along x: its left is y."""
    return in_axes(a, np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0]]))


def looks_back(a: AwkwardHead) -> AwkwardHead:
    """y is up, and the head looks along -z: its left is -x."""
    return in_axes(a, np.array([[-1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, -1.0]]))


def askew(a: AwkwardHead) -> AwkwardHead:
    """The head stands askew in its files, as a scan does: turned by 29, 17 and 12 degrees."""
    return in_axes(a, Rotation.from_euler("yxz", [29.0, 17.0, 12.0], degrees=True).as_matrix().T)


def inches(a: AwkwardHead) -> AwkwardHead:
    """Its files are in inches."""
    return replace(a, head=a.head.with_(unit="in"))


def head_drift(a: AwkwardHead) -> AwkwardHead:
    """Every shape has its own rigid motion of the whole head: turns of some 2 degrees, shifts of some 4 mm."""
    rng = np.random.default_rng(20)
    middle = a.positions.mean(axis=0)
    moved = []
    for delta in a.deltas:
        turn = Rotation.from_rotvec(np.radians(2.0) * rng.uniform(-1, 1, 3)).as_matrix()
        moved.append((a.positions + delta - middle) @ turn.T + middle + rng.uniform(-4.0, 4.0, 3) - a.positions)
    return with_shapes(a, np.stack(moved))


def half_closed(a: AwkwardHead) -> AwkwardHead:
    """The neutral's lids are half shut, and every shape is posed upon that. Only for the demo as it is."""
    if a.head.polygons is not demo().head.polygons or len(a.head.shapes) != len(unit_names()):
        raise ValueError("half_closed must be the first trait")
    held = {"au43_left": HALF, "au43_right": HALF}
    neutral = _keeper()[1].pose(held)
    return with_shapes(with_neutral(a, neutral), _posed(held, neutral))


def three_shapes(a: AwkwardHead) -> AwkwardHead:
    """Three shapes only: both eyes shut, the jaw open, a smile."""
    made = [a.shape("au43_left").delta + a.shape("au43_right").delta, a.shape("au27").delta,
            a.shape("au12_left").delta + a.shape("au12_right").delta]  # fmt: skip
    return replace(with_shapes(a, np.stack(made), ["blink", "jaw", "smile"]), true_names={})


def four_hundred_shapes(a: AwkwardHead) -> AwkwardHead:
    """400 shapes: every one there is, and mixtures of two to four of them, weights 0.2 to 1."""
    rng = np.random.default_rng(400)
    deltas, names = list(a.deltas), list(a.head.shape_names)
    while len(deltas) < 400:
        chosen = rng.choice(len(a.deltas), rng.integers(2, 5), replace=False)
        deltas.append(np.tensordot(rng.uniform(0.2, 1.0, len(chosen)).astype(np.float32), a.deltas[chosen], 1))
        names.append(f"mix_{len(deltas):03d}")
    return with_shapes(a, np.stack(deltas), names)


def _named(how: Callable[[int, str], str]) -> Callable[[AwkwardHead], AwkwardHead]:
    def named(a: AwkwardHead) -> AwkwardHead:
        called = [how(number, name) for number, name in enumerate(a.head.shape_names)]
        true = {new: a.true_names.get(old, old) for new, old in zip(called, a.head.shape_names, strict=True)}
        return replace(with_shapes(a, a.deltas, called), true_names=true)

    named.__doc__ = f"Shapes are named like {how(7, 'au43_left')!r}."
    return named


def _said(name: str, left: str, right: str) -> str:
    return name.replace("_left", left).replace("_right", right)


NAMINGS: dict[str, Callable[[AwkwardHead], AwkwardHead]] = {
    "named_by_number": _named(lambda number, _: f"{number + 1:04d}"),
    "named_in_humps": _named(lambda _, name: "Face" + _said(name, "L", "R").title().replace("_", "")),
    "named_with_marks": _named(lambda number, name: f"v02.{number}  {_said(name, ' [L]', ' [R]')} (final)"),
    "named_in_cyrillic": _named(lambda _, name: "лицо " + _said(name, " слева", " справа")),
    "named_in_japanese": _named(lambda _, name: _said(name, "・左", "・右") + "の表情"),
}
"""Names of shapes in any scheme and script."""


def neutral_named(a: AwkwardHead, name: str) -> AwkwardHead:
    """The neutral's file is named so."""
    return replace(a, head=a.head.with_(neutral_name=name))


TRAITS: dict[str, Callable[[AwkwardHead], AwkwardHead]] = {
    "half_closed": half_closed, "layered_eyes": layered_eyes, "rooted_lashes": rooted_lashes,
    "mouth_of_one_piece": pieces.mouth_of_one_piece, "mouth_of_forty_pieces": pieces.mouth_of_forty_pieces,
    "coincident_sheets": pieces.coincident_sheets, "materials_only": materials_only, "one_object": one_object,
    "triangles_only": triangles_only, "open_mask": pieces.open_mask, "bust": pieces.bust, "lopsided": lopsided,
    "z_up": z_up, "z_up_looks_along_x": z_up_looks_along_x, "looks_back": looks_back, "askew": askew,
    "inches": inches, "head_drift": head_drift, "three_shapes": three_shapes,
    "four_hundred_shapes": four_hundred_shapes, **NAMINGS,
}  # fmt: skip
"""Every trait by name, in an order in which they can be laid on one another."""


@cache
def awkward(*traits: str) -> AwkwardHead:
    """The demo with these traits, laid on in order; the same head every time. KeyError for a trait that is none."""
    made = demo()
    for trait in traits:
        made = TRAITS[trait](made)
    return replace(made, name="+".join(traits) or "demo")


def write(a: AwkwardHead, folder: Path) -> list[Path]:
    """The neutral and every shape as OBJ files in the head's own unit; the paths written, neutral first."""
    folder.mkdir(parents=True, exist_ok=True)
    files = [(a.head.neutral_name, a.positions)]
    files += [(shape.name, a.positions + shape.delta) for shape in a.head.shapes]
    for name, at in files:
        write_obj(folder / f"{name}.obj", mesh_of(a.head, at))
    return [folder / f"{name}.obj" for name, _ in files]
