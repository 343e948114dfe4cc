"""The view keeps its share of any window, and panels fold where there is no room."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

pytest.importorskip("pyglet")
pytest.importorskip("imgui_bundle")

from composer.viewer.ui.room import FOLDED, LEAST, ORDER, VIEW_SHARE, most_for, room_for, usual  # noqa: E402

sides = st.sampled_from(ORDER)
sizes = st.floats(20.0, 3000.0)


@given(
    st.floats(640.0, 4000.0), st.floats(400.0, 2500.0), st.sampled_from((0.75, 1.0, 1.25, 1.5, 2.0)),
    st.dictionaries(sides, sizes, min_size=1), st.frozensets(sides), st.sampled_from(("", *ORDER)),
)  # fmt: skip
def test_the_view_keeps_its_share_and_nothing_gets_more_than_it_wants(wide, high, scale, wanted, folded, kept) -> None:
    header = 46.0 * scale
    room = room_for((wide, high), header, wanted, folded, scale, kept)
    for side in ORDER:
        if side not in wanted:
            assert room.of(side) == 0.0
        elif side in room.folded:
            assert room.of(side) == FOLDED * scale
        else:
            assert min(LEAST[side] * scale, wanted[side]) - 1e-6 <= room.of(side) <= wanted[side] + 1e-6
    assert folded & wanted.keys() <= room.folded, "what the person folds stays folded"
    view = (wide - room.left - room.right) * (high - header - room.foot)
    if room.folded != wanted.keys():
        assert view >= VIEW_SHARE * wide * high - 1.0


@pytest.mark.parametrize(("wide", "high"), [(900, 560), (1280, 800), (1920, 1080), (2560, 1440)])
def test_nothing_folds_by_itself_at_usual_sizes(wide: int, high: int) -> None:
    wanted = {"left": usual("left", wide, high, 1.0, 232.0), "right": usual("right", wide, high, 1.0, 300.0),
              "foot": usual("foot", wide, high, 1.0, 250.0)}  # fmt: skip
    room = room_for((wide, high), 46.0, wanted, frozenset(), 1.0)
    assert not room.folded
    assert (wide - room.left - room.right) * (high - 46.0 - room.foot) >= VIEW_SHARE * wide * high - 1.0


def test_the_board_grows_with_the_screen() -> None:
    heights = [usual("foot", 1280, high, 1.0, 250.0) for high in (560, 800, 1080, 1440)]
    assert heights == sorted(heights) and heights[-1] > 1.7 * heights[1]


@given(sides, st.floats(1000.0, 3000.0), st.floats(640.0, 2000.0))
def test_a_panel_dragged_as_far_as_it_goes_leaves_the_view_its_share(side, wide, high) -> None:
    wanted = {each: LEAST[each] for each in ORDER}
    most = most_for(side, (wide, high), 46.0, frozenset(ORDER), frozenset(), 1.0)
    after = room_for((wide, high), 46.0, wanted | {side: most}, frozenset(), 1.0, side)
    assert (wide - after.left - after.right) * (high - 46.0 - after.foot) >= VIEW_SHARE * wide * high - 1.0
    assert after.of(side) == pytest.approx(most, abs=1.0)
