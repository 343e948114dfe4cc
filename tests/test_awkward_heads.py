"""Each awkward head is what it says, and what is said to be true of it is."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from composer.formats.library import open_library
from composer.geometry.rigid import similarity
from tests.awkward_heads import NAMINGS, NEUTRAL_NAMES, TRAITS, awkward, demo, neutral_named, write
from tests.awkward_surgery import AwkwardHead

MIRROR = np.array([-1.0, 1.0, 1.0])
UNEVEN = {"lopsided"}
"""Traits whose truth about sides is one of the mesh, not of places."""
EVERY = [(), *((trait,) for trait in TRAITS), ("layered_eyes", "rooted_lashes", "one_object", "z_up", "inches")]


def pieces_of(a: AwkwardHead) -> tuple[int, np.ndarray]:
    """How many connected pieces there are, and which each vertex is of."""
    return connected_components(a.head.polygons.adjacency, directed=False)


@pytest.mark.parametrize("traits", EVERY, ids=lambda traits: "+".join(traits) or "demo")
def test_every_head_is_whole_and_its_mirror_map_true(traits: tuple[str, ...]) -> None:
    a = awkward(*traits)
    n, polygons = a.head.n_vertices, a.head.polygons
    assert len(a.part_of) == len(a.mirror) == n and not a.head.parts and a.head.landmarks is None
    assert np.bincount(polygons.indices, minlength=n).min() > 0
    assert np.array_equal(a.mirror[a.mirror], np.arange(n))
    if not UNEVEN & set(traits):
        at = a.positions @ a.axes.T
        assert np.abs(at[a.mirror] * MIRROR - at).max() < 1e-6
    if "triangles_only" not in traits:
        key = polygons.edges.astype(np.int64) @ [n, 1]
        across = np.sort(a.mirror[polygons.edges], axis=1).astype(np.int64) @ [n, 1]
        assert np.array_equal(np.sort(across), np.sort(key))
    normal = a.head.surface.vertex_normals
    ahead = a.axes[2]
    nose = int(a.landmarks.points["pronasale"])  # type: ignore[arg-type]
    assert normal[nose] @ ahead > 0.5
    known = a.known()
    assert {part.name for part in known.parts} == set(a.part_names)
    assert known.landmarks is not None and known.landmarks.check(n)


def test_layered_eyes_have_four_layers_that_move_as_theirs_do() -> None:
    a = awkward("layered_eyes")
    for side in ("left", "right"):
        ball, iris, wet, sheet = (a.vertices(f"{name}_{side}") for name in ("eye", "iris", "wet", "occlusion"))
        centre = a.positions[iris].mean(axis=0)
        assert np.linalg.norm(centre - a.positions[ball].mean(axis=0)) < 13.0
        skin = cKDTree(a.positions[a.vertices("skin")])
        assert skin.query(a.positions[wet[:11]])[0].max() == 0.0
        assert skin.query(a.positions[sheet[:11]])[0].max() == 0.0
        for delta in a.deltas:
            motion = similarity(a.positions[ball], a.positions[ball] + delta[ball], scaled=False)
            assert np.abs(motion(a.positions[iris]) - a.positions[iris] - delta[iris]).max() < 1e-4
        blink = a.shape(f"au43_{side}").delta
        shut = a.positions[sheet] + blink[sheet]
        assert np.ptp(shut[:, 1]) < 0.6 * np.ptp(a.positions[sheet][:, 1])
    assert pieces_of(a)[0] == pieces_of(demo())[0] + 6


def test_lash_roots_lie_on_the_lid_at_rest_and_in_every_shape() -> None:
    a = awkward("rooted_lashes")
    skin = a.vertices("skin")
    for part in [name for name in a.part_names if name.startswith("lashes")]:
        roots = a.vertices(part)[:11]
        away, at = cKDTree(a.positions[skin]).query(a.positions[roots])
        assert away.max() == 0.0
        assert np.abs(a.deltas[:, roots] - a.deltas[:, skin[at]]).max() < 1e-5
        tips = a.vertices(part)[-11:]
        assert cKDTree(a.positions[skin]).query(a.positions[tips])[0].min() > 1.0


def test_mouths_of_one_piece_and_of_forty() -> None:
    one, forty = awkward("mouth_of_one_piece"), awkward("mouth_of_forty_pieces")
    _, piece = pieces_of(one)
    assert len(np.unique(piece[np.isin(one.part_of, ("gum_upper", "gum_lower", "tongue"))])) == 1
    assert "inner_mouth" in one.head.groups and "tongue" not in one.head.groups
    names = ("teeth_upper", "teeth_lower", "gum_upper", "gum_lower", "tongue")
    _, piece = pieces_of(forty)
    assert len(np.unique(piece[np.isin(forty.part_of, names)])) == 40
    assert sum(name.startswith("Object.") for name in forty.head.groups) == 40


def test_coincident_sheets_lie_and_move_as_the_skin_does() -> None:
    a = awkward("coincident_sheets")
    skin = a.vertices("skin")
    for name in ("hair", "brow"):
        sheet = a.vertices(name)
        away, at = cKDTree(a.positions[skin]).query(a.positions[sheet])
        assert len(sheet) > 30 and away.max() == 0.0
        assert np.array_equal(a.deltas[:, sheet], a.deltas[:, skin[at]])


def test_what_names_and_faces_say() -> None:
    materials, one, triangles = awkward("materials_only"), awkward("one_object"), awkward("triangles_only")
    assert not materials.head.groups and len(materials.head.materials) == len(demo().head.groups)
    assert not one.head.groups and not one.head.materials
    assert set(triangles.head.polygons.counts.tolist()) == {3}
    assert len(triangles.head.groups["eye_left"]) == 2 * len(demo().head.groups["eye_left"])


def test_a_mask_has_no_back_and_a_bust_has_shoulders() -> None:
    mask, bust = awkward("open_mask"), awkward("bust")
    assert pieces_of(mask)[0] == 1 and not mask.part_names
    assert np.ptp(mask.positions[:, 2]) < 0.45 * np.ptp(demo().positions[:, 2])
    assert {"pronasale", "cheilion_left", "exocanthion_right"} <= set(mask.landmarks.points)
    assert np.ptp(bust.positions[:, 0]) > 400.0 and pieces_of(bust)[0] == pieces_of(demo())[0]
    assert bust.head.polygons.border_vertices[bust.vertices("skin")].sum() == len(bust.landmarks.curves["neck_border"])


def test_motions_and_neutrals() -> None:
    drift, half, uneven = awkward("head_drift"), awkward("half_closed"), awkward("lopsided")
    back = drift.positions[:, 2] < -60
    assert np.linalg.norm(drift.deltas[:, back], axis=2).min(axis=1).max() > 1.0
    for side in ("left", "right"):
        lids = [np.asarray(half.landmarks.curves[f"{lid}_lid_{side}"]) for lid in ("upper", "lower")]
        opening = [a.positions[lids[0], 1].max() - a.positions[lids[1], 1].min() for a in (demo(), half)]
        assert 0.25 * opening[0] < opening[1] < 0.75 * opening[0]
        shut = half.positions + half.shape(f"au43_{side}").delta
        gap = cKDTree(shut[lids[1]]).query(shut[lids[0][1:-1]])[0]
        assert gap.mean() < 1.0
    off = np.abs(uneven.positions[uneven.mirror] * MIRROR - uneven.positions).max()
    assert 2.0 < off < 12.0
    eye = uneven.vertices("eye_left")
    motion = similarity(demo().positions[eye], uneven.positions[eye], scaled=False)
    assert np.abs(motion(demo().positions[eye]) - uneven.positions[eye]).max() < 1e-6


def test_few_shapes_and_many_and_names_in_any_script() -> None:
    assert awkward("three_shapes").head.shape_names == ["blink", "jaw", "smile"]
    assert len(awkward("four_hundred_shapes").head.shapes) == 400
    for naming in NAMINGS:
        a = awkward(naming)
        assert a.head.shape_names[3] != demo().head.shape_names[3]
        assert np.array_equal(a.shape("au43_left").delta, demo().shape("au43_left").delta)


@pytest.mark.parametrize("name", NEUTRAL_NAMES)
def test_a_neutral_of_any_name_is_written_and_read(name: str, tmp_path: Path) -> None:
    a = neutral_named(awkward("three_shapes", "one_object"), name)
    paths = write(a, tmp_path)
    assert paths[0].stem == name and len(paths) == 4
    head = open_library(tmp_path, neutral=name, unit="mm", recognise=False)
    assert np.abs(head.neutral - a.positions).max() < 1e-4


def test_a_library_is_written_as_it_lies_and_in_its_unit(tmp_path: Path) -> None:
    a = awkward("three_shapes", "z_up", "inches", "named_in_japanese")
    write(a, tmp_path)
    head = open_library(tmp_path, unit="in", recognise=False)
    assert np.abs(head.neutral - a.positions).max() < 1e-3
    assert np.ptp(head.neutral[:, 2]) > np.ptp(head.neutral[:, 0])
    assert sorted(head.shape_names) == sorted(a.head.shape_names)
    for shape in head.shapes:
        true = next(s.delta for s in a.head.shapes if s.name == shape.name)
        assert np.abs(shape.delta - true).max() < 1e-3
