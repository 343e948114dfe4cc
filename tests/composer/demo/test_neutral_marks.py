"""Landmarks by their anthropometric definitions, curves on the cage's edges, texture coordinates without overlaps."""

from __future__ import annotations

import numpy as np
import pytest

from composer.demo.untangle import normals
from tests.composer.demo.neutral_heads import NAMES, neutral, skin

MIDLINE = (
    "vertex", "trichion", "glabella", "sellion", "pronasale", "subnasale", "labiale_superius", "stomion",
    "labiale_inferius", "sublabiale", "pogonion", "gnathion", "opisthocranion", "cervicale",
)  # fmt: skip
PAIRED = (
    "frontotemporale", "brow_medial", "brow_peak", "brow_lateral", "endocanthion", "exocanthion",
    "palpebrale_superius", "palpebrale_inferius", "orbitale", "zygion", "cheek", "alare", "subalare",
    "crista_philtri", "cheilion", "gonion", "tragion", "otobasion_superius", "otobasion_inferius",
    "superaurale", "subaurale", "postaurale",
)  # fmt: skip
CLOSED = ("ear_root_left", "ear_root_right", "neck_border", "mouth_inner", "socket_left", "socket_right")
GROUPS = (
    "face", "mouth_interior", "socket_left", "socket_right", "ear_left", "ear_right", "scalp", "neck",
    "nostril_left", "nostril_right",
)  # fmt: skip
PARTS = (
    "eye_left", "eye_right", "teeth_upper", "teeth_lower", "gum_upper", "gum_lower", "tongue", "lashes_upper_left",
    "lashes_upper_right", "lashes_lower_left", "lashes_lower_right", "brow_left", "brow_right",
)  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_points_lie_where_anthropometry_puts_them(name: str) -> None:
    # definitions after Farkas 1994 and Martin: order along the profile, extremes of features
    base = neutral(name)
    at = {mark: base.positions[v] for mark, v in base.landmarks.points.items()}
    assert set(at) == set(MIDLINE) | {f"{mark}_{side}" for mark in PAIRED for side in ("left", "right")}
    down = [at[mark][1] for mark in MIDLINE[:12] if mark != "labiale_inferius"]
    assert all(a > b for a, b in zip(down, down[1:], strict=False))
    assert all(at[mark][0] == 0 for mark in MIDLINE)
    for mark in PAIRED:
        left, right = at[f"{mark}_left"], at[f"{mark}_right"]
        assert left[0] > 0 and np.array_equal(left * [-1, 1, 1], right)
    assert at["pronasale"][2] == max(p[2] for p in at.values())
    assert at["opisthocranion"][2] == min(p[2] for p in at.values())
    assert at["sellion"][2] < min(at["glabella"][2], at["pronasale"][2])
    assert at["endocanthion_left"][0] < at["palpebrale_superius_left"][0] < at["exocanthion_left"][0]
    assert at["superaurale_left"][1] > at["tragion_left"][1] > at["subaurale_left"][1]
    assert at["postaurale_left"][2] < at["tragion_left"][2]


@pytest.mark.parametrize("name", NAMES)
def test_curves_run_along_edges(name: str) -> None:
    base = neutral(name)
    edges = {frozenset(e) for e in base.polygons.edges.tolist()}
    # the midline steps from lip to lip; jawline and nasolabial line go from grid place to grid place
    allowed = {"midline_front": 1, "jawline": 99, "nasolabial_left": 99, "nasolabial_right": 99}
    for curve, ids in base.landmarks.curves.items():
        line = ids.tolist() + ([int(ids[0])] if curve in CLOSED else [])
        broken = [i for i, e in enumerate(zip(line, line[1:], strict=False)) if frozenset(e) not in edges]
        assert len(broken) <= allowed.get(curve, 0), curve
        assert len(set(ids.tolist())) == len(ids), curve


def test_curves_of_lids_and_lips_run_as_promised() -> None:
    base = neutral("keeper")
    marks, at = base.landmarks, base.positions
    for lid in ("upper_lid_left", "lower_lid_left"):
        ids = marks.curves[lid]
        assert (ids[0], ids[-1]) == (marks.points["endocanthion_left"], marks.points["exocanthion_left"])
    for lip in ("lip_line_upper", "lip_line_lower"):
        ids = marks.curves[lip]
        assert (ids[0], ids[-1]) == (marks.points["cheilion_right"], marks.points["cheilion_left"])
        assert np.all(np.diff(at[ids, 0]) > 0)
    jaw = marks.curves["jawline"]
    assert (jaw[0], jaw[-1]) == (marks.points["gonion_right"], marks.points["gonion_left"])
    assert marks.points["gnathion"] in jaw


@pytest.mark.parametrize("name", NAMES)
def test_groups_and_parts_divide_the_head(name: str) -> None:
    base = neutral(name)
    assert set(base.groups) == set(GROUPS) | set(PARTS)
    assert np.array_equal(np.sort(np.concatenate(list(base.groups.values()))), np.arange(base.polygons.n_faces))
    assert tuple(part.name for part in base.parts) == PARTS
    follows = {part.name: part.follows for part in base.parts}
    assert follows["eye_left"] == "skull" and follows["teeth_upper"] == "skull"
    assert follows["teeth_lower"] == follows["tongue"] == "jaw"
    assert follows["lashes_upper_left"] == follows["brow_left"] == "surface"
    assert base.head().skin.sum() == base.n_skin


@pytest.mark.parametrize("name", NAMES)
def test_texture_coordinates_lie_in_the_picture_and_never_overlap(name: str) -> None:
    base = neutral(name)
    corner = base.uv.uv[base.uv.indices].reshape(-1, 4, 2)
    assert corner.min() >= 0 and corner.max() <= 1
    outside = np.concatenate([base.groups[g] for g in ("face", "scalp", "neck", "ear_left", "ear_right")])
    charts = [np.sort(outside)] + [base.groups[g] for g in GROUPS if g.startswith(("mouth", "socket", "nostril"))]
    boxes = []
    for faces in charts:
        quads = corner[faces]
        halves = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
        one, two = halves[:, 1] - halves[:, 0], halves[:, 2] - halves[:, 0]
        area = 0.5 * (one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0])
        # a chart whose triangles all turn one way and whose border is a simple curve has no overlap; a quad may be
        # bent in the picture, so the whole quad's area is what must keep its sign
        whole = area[: len(quads)] + area[len(quads) :]
        assert np.all(np.sign(whole) == np.sign(whole.sum()))
        boxes.append((*quads.min((0, 1)), *quads.max((0, 1))))
    for i, a in enumerate(boxes):
        for b in boxes[i + 1 :]:
            assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]


def test_the_back_of_the_head_is_a_seam() -> None:
    base = neutral("keeper")
    quads = skin(base)[1]
    used: dict[int, set[int]] = {}
    for vertex, place in zip(quads.ravel().tolist(), base.uv.indices[: quads.size].tolist(), strict=True):
        used.setdefault(vertex, set()).add(place)
    split = {vertex for vertex, places in used.items() if len(places) > 1}
    behind = [v for v in split if base.positions[v, 0] == 0 and base.positions[v, 2] < -20]
    assert len(behind) > 30


@pytest.mark.parametrize("name", NAMES)
def test_teeth_tongue_and_lashes_are_where_they_belong(name: str) -> None:
    base = neutral(name)
    parts = {part.name: base.positions[part.vertices] for part in base.parts}
    line = base.positions[base.landmarks.points["stomion"]]
    assert parts["teeth_upper"][:, 1].min() > line[1] - 6 and parts["teeth_lower"][:, 1].max() < line[1] + 6
    assert all(parts[p][:, 2].max() < line[2] for p in ("teeth_upper", "teeth_lower", "tongue"))
    lids = base.positions[base.landmarks.curves["upper_lid_left"]]
    near = np.linalg.norm(parts["lashes_upper_left"][:, None] - lids[None], axis=2).min(1)
    assert near.min() < 1.0 and near.max() < 9.0
    faces = base.positions[base.polygons.indices.reshape(-1, 4)[base.groups["eye_left"]]]
    outward = (normals(faces) * (faces.mean(1) - base.eye_left)).sum(1)
    assert np.all(outward > 0)
