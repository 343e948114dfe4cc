"""Keys of a clip moved, copied, stretched and set: where they come to lie, and what happens to those that lie there."""

from __future__ import annotations

import pytest

from composer.edits.clip_keys import (
    going_on,
    moved_keys,
    on_frame,
    pasted_keys,
    set_keys,
    stretched_keys,
    without_keys,
)
from composer.errors import MoueError
from composer.mixing.clip import Clip, Key, frame_times

REST, DOUBT, JOY = Key(0.0, "neutral"), Key(0.5, "doubt"), Key(1.0, "joy", interpolation="smooth")
LID = Key(0.5, "", 0.5, "lid", "blink")
CLIP = Clip("tide", 24.0, 2.0, (REST, DOUBT, JOY, LID))


def test_a_moved_key_lies_on_its_frame_bit_for_bit() -> None:
    times = frame_times(2.0, 24.0)
    for frames in (1, 7, 11, -5):
        (key,) = moved_keys(CLIP, [DOUBT], frames)[1]
        assert key.time == times[12 + frames]
    assert on_frame(CLIP, 0.511) == 0.511  # between frames it stays


def test_keys_stay_inside_the_clip_and_keep_their_distances() -> None:
    clip, keys = moved_keys(CLIP, [DOUBT, JOY], 1000)
    assert [key.time for key in keys] == [1.5, 2.0] and len(clip.keys) == 4
    clip, keys = moved_keys(CLIP, [DOUBT, JOY], -1000)
    assert [key.time for key in keys] == [0.0, 0.5]
    assert REST not in clip.keys  # the pose's key at 0 gave way to the one that came there
    assert LID in clip.keys  # a key of another thing stays, and at .5 s a key of the pose lies beside it


def test_a_copy_leaves_the_original_and_nothing_copied_changes_nothing() -> None:
    clip, keys = moved_keys(CLIP, [JOY], 12, copied=True)
    assert set(clip.keys) == {*CLIP.keys, *keys} and keys[0].time == 1.5
    assert moved_keys(CLIP, [JOY], 0, copied=True)[0].keys == CLIP.keys
    assert moved_keys(CLIP, [], 5)[0] is CLIP


def test_stretched_keys_keep_their_proportions() -> None:
    clip, keys = stretched_keys(CLIP, [REST, DOUBT, JOY, LID], 0.0, 2.0)
    assert [key.time for key in keys] == [0.0, 1.0, 2.0, 1.0] and set(clip.keys) == set(keys)
    clip, keys = stretched_keys(CLIP, [REST, DOUBT, JOY], 1.0, 0.5)
    assert [key.time for key in keys] == [0.5, 0.75, 1.0] and LID in clip.keys


def test_keys_squeezed_together_do_not_take_each_others_place() -> None:
    keys = [Key(i / 24, "", 0.1 * i, "lid", "blink") for i in range(6)]
    clip, squeezed = stretched_keys(Clip("c", 24.0, 2.0, tuple(keys)), keys, 0.0, 0.3)
    assert len(clip.keys) == 6 and len({key.time for key in squeezed}) == 6
    assert [key.weight for key in sorted(squeezed, key=lambda key: key.time)] == [key.weight for key in keys]
    with pytest.raises(MoueError, match="keys of one thing would lie at one time; stretch them less"):
        stretched_keys(CLIP.with_(keys=tuple(keys)), keys, 0.0, 0.0)


def test_set_paste_and_delete() -> None:
    other = Key(0.5, "joy")
    assert set(set_keys(CLIP, [other]).keys) == {REST, other, JOY, LID}
    clip, keys = pasted_keys(CLIP, [DOUBT, JOY], 1.75)
    assert [key.time for key in keys] == [1.75] and len(clip.keys) == 5  # what lies beyond the end is left out
    assert set(without_keys(CLIP, {REST, LID}).keys) == {DOUBT, JOY}
    assert {key.interpolation for key in going_on(CLIP, [REST, DOUBT], "hold")[1]} == {"hold"}


def test_a_clip_of_a_file_is_refused() -> None:
    with pytest.raises(MoueError, match="has its weights in talk.csv; its keys are made there"):
        set_keys(Clip("talk", file="talk.csv"), [REST])
