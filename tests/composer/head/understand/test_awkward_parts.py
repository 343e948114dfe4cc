"""Parts, frame and gaze of libraries that nobody marked, named or lined up: told by form and motion alone."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from composer.head.head import Head, Part
from composer.head.parts import recognise_parts
from composer.head.understand.anatomy import anatomy_of
from tests.awkward_heads import awkward
from tests.awkward_surgery import AwkwardHead

TRAITS = [
    (), ("half_closed",), ("layered_eyes",), ("rooted_lashes",), ("mouth_of_one_piece",), ("mouth_of_forty_pieces",),
    ("coincident_sheets",), ("materials_only",), ("triangles_only",), ("bust",), ("lopsided",), ("z_up",), ("inches",),
    ("head_drift",), ("three_shapes",), ("layered_eyes", "rooted_lashes", "one_object", "z_up", "inches"),
]  # fmt: skip
FOLLOWS = {
    "eye": {"own"}, "iris": {"own"}, "wet": {"surface"}, "occlusion": {"surface"}, "lashes": {"surface"},
    "brow": {"surface"}, "teeth_upper": {"skull"}, "gum_upper": {"skull"}, "teeth_lower": {"jaw"}, "gum_lower": {"jaw"},
    "tongue": {"jaw"}, "hair": {"surface", "skin"},
}  # fmt: skip


@cache
def bare(*traits: str) -> tuple[AwkwardHead, Head, tuple[Part, ...]]:
    """An awkward head, the same without any name of a group or a material, and the parts found on that."""
    a = awkward(*traits)
    head = a.head.with_(groups={}, materials={})
    return a, head, recognise_parts(head)


@pytest.mark.parametrize("traits", TRAITS, ids=lambda traits: "+".join(traits) or "demo")
def test_every_piece_follows_what_it_truly_follows(traits: tuple[str, ...]) -> None:
    a, _, parts = bare(*traits)
    follows = np.full(a.head.n_vertices, "skin", dtype="<U8")
    for part in parts:
        follows[part.vertices] = part.follows
    assert set(follows[a.vertices("skin")]) == {"skin"}
    for name in a.part_names:
        known = next((each for start, each in FOLLOWS.items() if name.startswith(start)), None)
        assert known is not None, name
        told = set(follows[a.vertices(name)].tolist())
        if name.startswith(("eye", "iris")) and "three_shapes" in traits:
            known = {"skull"}
        assert told <= known, f"{name} follows {told}, not {known}"


@pytest.mark.parametrize("traits", TRAITS, ids=lambda traits: "+".join(traits) or "demo")
def test_an_eyeball_is_called_so_on_its_own_side_and_looks_ahead(traits: tuple[str, ...]) -> None:
    a, _, found = bare(*traits)
    parts = {part.name: part for part in found}
    ahead = a.axes[2]
    for side in ("left", "right"):
        truth = np.sort(np.concatenate([a.vertices(f"eye_{side}"), a.vertices(f"iris_{side}")]))
        part = parts[f"eye_{side}"]
        assert np.array_equal(part.vertices, truth)
        assert part.gaze is not None and np.degrees(np.arccos(np.clip(part.gaze @ ahead, -1, 1))) < 1.0


@pytest.mark.parametrize("traits", TRAITS, ids=lambda traits: "+".join(traits) or "demo")
def test_the_frame_is_the_heads_own(traits: tuple[str, ...]) -> None:
    a, head, _ = bare(*traits)
    frame = anatomy_of(head).frame
    turned = a.axes
    np.testing.assert_allclose(frame.axes, turned, atol=np.radians(3.0) if "lopsided" in traits else 1e-9)
    assert abs(frame.offset) < 2.0


def test_an_open_mask_has_no_parts_and_a_frame() -> None:
    _, head, parts = bare("open_mask")
    assert not parts
    np.testing.assert_allclose(anatomy_of(head).frame.axes, np.eye(3), atol=1e-9)


def test_a_head_turned_askew_keeps_its_sides() -> None:
    """Up and ahead by motion are only near; left and right are the mirror plane's, to a degree."""
    from scipy.spatial.transform import Rotation

    a, plain, _ = bare("layered_eyes")
    turn = Rotation.from_euler("yxz", [29.0, 17.0, 12.0], degrees=True).as_matrix()
    shapes = tuple(type(s)(s.name, (s.delta @ turn.T).astype(np.float32)) for s in a.head.shapes)
    head = plain.with_(neutral=a.head.neutral @ turn.T, shapes=shapes)
    frame = anatomy_of(head).frame
    assert frame.axes[0] @ turn[:, 0] > np.cos(np.radians(1.0))
    assert frame.axes[1] @ turn[:, 1] > np.cos(np.radians(30.0))
    parts = {part.name for part in recognise_parts(head)}
    assert {"eye_left", "eye_right", "teeth_lower", "teeth_upper", "lid_sheet_left"} <= parts
