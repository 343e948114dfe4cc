"""Parts of a library that says little about itself: planted pieces are found, the skin never is."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from composer.geometry.polygons import Polygons
from composer.head.head import Head, Shape
from composer.head.parts import components_of, recognise, recognise_parts, with_recognised_parts
from tests.small_heads import polygon_meshes


def ball(centre: tuple[float, float, float], radius: float, stretch: tuple[float, float, float] = (1, 1, 1)) -> tuple:
    made = trimesh.creation.icosphere(subdivisions=2, radius=radius)
    return made.vertices * stretch + centre, made.faces


PIECES = {
    "skin": ball((0, 0, 0), 100, (0.75, 1.2, 1.0)),
    "eye_r": ball((-32, 30, 80), 12),
    "eye_l": ball((32, 30, 80), 12),
    "teeth up": ball((0, -30, 70), 10, (2.2, 0.4, 1)),
    "teeth lo": ball((0, -38, 70), 10, (2.2, 0.4, 1)),
    "tongue": ball((0, -36, 55), 8, (1.5, 0.4, 2)),
    "lash": ball((32, 36, 93), 3, (4, 0.2, 0.4)),
}
JAW = ["teeth lo", "tongue"]


def head(names: dict[str, str], shapes: bool = True) -> tuple[Head, dict[str, np.ndarray]]:
    """The pieces as one head, their groups called as `names` says (absent: no group), and whose vertex is whose."""
    points, faces, groups, where, owner = [], [], {}, {}, []
    n = f = 0
    for piece, (vertices, triangles) in PIECES.items():
        where[piece] = np.arange(n, n + len(vertices))
        if piece in names:
            rows = np.arange(f, f + len(triangles), dtype=np.int32)
            groups[names[piece]] = np.concatenate([groups[names[piece]], rows]) if names[piece] in groups else rows
        points.append(vertices)
        faces.append(triangles + n)
        owner += [piece] * len(vertices)
        n, f = n + len(vertices), f + len(triangles)
    neutral = np.concatenate(points)
    polygons = Polygons(np.full(f, 3), np.concatenate(faces).ravel(), n)
    made = []
    if shapes:
        axis = np.array([0.0, 0, 20])
        turned = Rotation.from_euler("x", 15, degrees=True).apply(neutral - axis) + axis - neutral
        rigid = np.isin(owner, JAW)
        soft = 1 / (1 + np.exp((neutral[:, 1] + 20) / 10)) * (np.array(owner) == "skin")
        made.append(Shape("jaw_drop", (turned * np.where(rigid, 1.0, soft)[:, None]).astype(np.float32)))
        lid = np.exp(-((neutral - [32, 36, 92]) ** 2).sum(axis=1) / 2000) * np.isin(owner, ["skin", "lash"])
        made.append(Shape("blink", (lid[:, None] * [0, -6.0, 2]).astype(np.float32)))
    return Head("keeper", polygons, neutral, tuple(made), groups=groups), where


NAMED = {
    "skin": "face", "eye_r": "Eyeball_R", "eye_l": "Eyeball_L", "teeth up": "upperTeeth", "teeth lo": "lower_teeth",
    "tongue": "Tongue", "lash": "eyelashes_upper",
}  # fmt: skip
EXPECTED = {
    "eye_right": ("eye_r", "skull"), "eye_left": ("eye_l", "skull"), "teeth_upper": ("teeth up", "skull"),
    "teeth_lower": ("teeth lo", "jaw"), "tongue": ("tongue", "jaw"), "lashes_upper_left": ("lash", "surface"),
}  # fmt: skip


@pytest.mark.parametrize("shapes", [False, True])
def test_named_pieces_are_parts_and_follow_what_they_move_with(shapes: bool) -> None:
    whole, where = head(NAMED, shapes)
    found = recognise(whole)
    assert {part.name: part.follows for part in found.parts} == {name: kind for name, (_, kind) in EXPECTED.items()}
    for part in found.parts:
        assert np.array_equal(part.vertices, where[EXPECTED[part.name][0]])
    assert len(found.notes) == len(found.parts)
    assert all("by its name" in note or "by its form" in note for note in found.notes)
    assert next("by its name 'eyelashes_upper'" in note for note in found.notes if note.startswith("lashes"))


def test_motion_overrules_the_name() -> None:
    """A tongue with shapes of its own, lower teeth in a library whose jaw never drops, eyes that look."""
    whole, where = head(NAMED)
    tongue = np.zeros((whole.n_vertices, 3), np.float32)
    tongue[where["tongue"], 2] = np.linspace(0, 20, len(where["tongue"]))
    centre = whole.neutral[where["eye_l"]].mean(axis=0)
    look = np.zeros((whole.n_vertices, 3), np.float32)
    arm = whole.neutral[where["eye_l"]] - centre
    look[where["eye_l"]] = Rotation.from_euler("y", 20, degrees=True).apply(arm) - arm
    moved = whole.with_(shapes=(whole.shape("blink"), Shape("tongue_out", tongue), Shape("look", look)))
    kinds = {part.name: part.follows for part in recognise_parts(moved)}
    assert kinds["tongue"] == "own" and kinds["teeth_lower"] == "skull"
    assert kinds["eye_left"] == "own" and kinds["eye_right"] == "skull"


def test_eyeballs_are_known_by_their_form_where_nothing_is_named() -> None:
    whole, where = head({})
    found = recognise(whole)
    assert {"eye_left", "eye_right"} <= {part.name for part in found.parts}
    follows = {int(vertex): part.follows for part in found.parts for vertex in part.vertices}
    assert {follows[v] for v in np.concatenate([where["teeth lo"], where["tongue"]])} == {"jaw"}
    assert {follows[v] for v in where["teeth up"]} == {"skull"} and {follows[v] for v in where["lash"]} == {"surface"}
    assert np.array_equal(
        whole.neutral[whole.with_(parts=found.parts).part("eye_left").vertices][:, 0] > 0, [True] * 162
    )
    assert all("by its name" not in note for note in found.notes)


def test_a_group_on_the_skin_is_skin_whatever_it_is_called() -> None:
    whole, where = head(NAMED)
    groups = {**whole.groups, "eye": np.arange(40, dtype=np.int32), "teeth": np.arange(40, 320, dtype=np.int32)}
    found = recognise_parts(whole.with_(groups=groups))
    for part in found:
        assert not np.isin(part.vertices, where["skin"]).any()


def test_a_head_learns_its_parts_and_says_how() -> None:
    whole, where = head(NAMED)
    learnt = with_recognised_parts(whole)
    assert np.array_equal(np.flatnonzero(learnt.skin), where["skin"])
    assert any("eye_left was taken for a part by its form" in note for note in recognise(whole).notes)
    assert sum("eye_left" in note for note in learnt.notes) == 1


@settings(deadline=None)
@given(mesh=polygon_meshes(), seed=st.integers(0, 2**32 - 1))
def test_parts_never_overlap_and_never_take_everything(mesh: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    groups = {
        name: np.flatnonzero(rng.random(mesh.n_faces) < 0.7).astype(np.int32) for name in ("eye", "teeth", "face")
    }
    whole = Head("small", mesh, rng.normal(size=(mesh.n_vertices, 3)) * 50, groups=groups)
    parts = recognise_parts(whole)
    claimed = np.concatenate([part.vertices for part in parts]) if parts else np.zeros(0, int)
    assert len(np.unique(claimed)) == len(claimed) < mesh.n_vertices


@settings(deadline=None)
@given(mesh=polygon_meshes())
def test_components_are_those_of_a_plain_walk(mesh: Polygons) -> None:
    label, count = components_of(mesh)
    group = list(range(mesh.n_vertices))

    def root(v: int) -> int:
        while group[v] != v:
            v = group[v]
        return v

    for face in range(mesh.n_faces):
        loop = mesh.face(face)
        for v in loop[1:]:
            group[root(int(v))] = root(int(loop[0]))
    roots = [root(v) for v in range(mesh.n_vertices)]
    assert count == len(set(roots))
    assert all((label[a] == label[0]) == (roots[a] == roots[0]) for a in range(mesh.n_vertices))
