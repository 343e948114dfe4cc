"""Parts of a real library: all its pieces right, with its names and without, and jaw and lids that keep together."""

from __future__ import annotations

import numpy as np
import pytest

from composer.head.head import Head
from composer.head.landmarks import Landmarks
from composer.head.parts import recognise_parts
from composer.head.presets import lay_regions, region_set
from composer.head.understand.anatomy import anatomy_of
from composer.head.understand.veils import veils_of
from composer.mixing.anchors import anchors
from composer.mixing.linear import pose
from composer.mixing.recipe import Cell, Recipe


def opening(head: Head) -> str:
    """The shape that opens the jaw, as motion says."""
    shape = anatomy_of(head).opening.shape
    assert shape is not None
    return head.shapes[shape].name


@pytest.mark.parametrize("named", [True, False])
def test_all_pieces_are_told_right(real_head: Head, named: bool) -> None:
    head = real_head if named else real_head.with_(groups={}, materials={}, parts=())
    parts = {part.name: part for part in recognise_parts(head)}
    label = head.polygons.components
    pieces = {name: len(np.unique(label[part.vertices])) for name, part in parts.items()}
    assert sum(pieces.values()) - 1 == label.max()  # the gums and tongue are one piece, cut in two
    assert pieces["teeth_upper"] == pieces["teeth_lower"] == 16
    assert pieces["eye_left"] == pieces["eye_right"] == 2
    assert pieces["lashes_left"] == pieces["lashes_right"] == 6
    assert pieces["lid_sheet_left"] == pieces["lid_sheet_right"] == 2
    assert pieces["ball_sheet_left"] == pieces["ball_sheet_right"] == 1
    assert {parts[name].follows for name in ("teeth_lower", "gum_lower")} == {"jaw"}
    assert {parts[name].follows for name in ("lashes_left", "lid_sheet_right")} == {"surface"}


def test_the_eyes_never_look_inwards(real_head: Head) -> None:
    left, right = (np.array(real_head.part(f"eye_{side}").gaze) for side in ("left", "right"))
    outward = np.degrees(np.arctan2([left[0], -right[0]], [left[2], right[2]]))
    assert outward.min() > -0.5 and outward.max() < 10.0
    np.testing.assert_allclose(left * (-1, 1, 1), right, atol=1e-3)


def test_a_jaw_opened_by_regions_takes_teeth_and_tongue_along(real_head: Head, real_marks: Landmarks) -> None:
    head = real_head.with_(landmarks=real_marks)
    masks = lay_regions(head, region_set("face")).masks
    name = opening(head)
    regions = [region for region in masks if region.startswith(("lower_lip", "chin", "jaw"))]
    moved = pose(head, masks, Recipe("open", tuple(Cell(region, name, 1.0) for region in regions)))
    for part in ("teeth_lower", "gum_lower"):
        vertices = head.part(part).vertices
        whole = head.target(name)[vertices]
        assert np.linalg.norm(whole - head.neutral[vertices], axis=1).max() > 30.0
        assert np.linalg.norm(moved[vertices] - whole, axis=1).max() < 1.0
    still = head.part("teeth_upper").vertices
    assert np.abs(moved[still] - head.neutral[still]).max() < 0.01


def test_a_blink_by_regions_leaves_the_lash_roots_on_the_lid(real_head: Head, real_marks: Landmarks) -> None:
    head = real_head.with_(landmarks=real_marks)
    masks = lay_regions(head, region_set("face")).masks
    bound = anchors(head)
    place = np.full(head.n_vertices, -1)
    place[bound.vertices] = np.arange(len(bound.vertices))
    for side in ("left", "right"):
        lashes = place[head.part(f"lashes_{side}").vertices]
        corners, bary = bound.corners[lashes], bound.bary[lashes]
        vertices = bound.vertices[lashes]

        def off(points: np.ndarray, at: np.ndarray = vertices, c: np.ndarray = corners, b: np.ndarray = bary):
            return points[at] - np.einsum("kij,ki->kj", points[c], b)

        at_rest = off(head.neutral)
        roots = np.linalg.norm(at_rest, axis=1) < 0.05
        blink = max((s.name for s in head.shapes), key=lambda n: float(head.shape(n).delta[vertices, 1].min() * -1))
        lids = [region for region in masks if "lid" in region and region.endswith(side)]
        moved = pose(head, masks, Recipe("blink", tuple(Cell(region, blink, 1.0) for region in lids)))
        assert roots.sum() > 50 and np.linalg.norm(head.shape(blink).delta[vertices], axis=1).max() > 5.0
        library = np.linalg.norm(off(head.target(blink)) - at_rest, axis=1)[roots].max()
        assert np.linalg.norm(off(moved) - at_rest, axis=1)[roots].max() < library + 0.05


def test_pictures_leave_out_what_would_cover_lids_and_eyes(real_head: Head) -> None:
    out = veils_of(real_head)
    assert out == {f"{name}_{side}" for name in ("lid_sheet", "ball_sheet", "lashes") for side in ("left", "right")}
