"""A checked clip: what each frame's checks find, each fault once, pops that are planted, and none where none are."""

from __future__ import annotations

import os
import threading
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from composer.checks.clip_check import check_clip
from composer.checks.clip_pops import bend_at
from composer.checks.of_document import check_recipes
from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_clip import EvaluatedClip
from composer.document.moving_clip import MovingClip
from composer.document.over_cores import over_cores
from composer.edits.shapes import keep_shape
from composer.errors import MoueError
from composer.mixing.clip import Clip, Key
from composer.picture.clip_picture import write_pictures
from composer.picture.clip_report import clip_report
from tests.composer.document.small_document import small_head, small_project

LINEAR = (Key(0.0, region="all", shape="drop", weight=0.0), Key(2.0, region="all", shape="drop", weight=1.0))


def document(shapes: dict) -> EvaluatedDocument:
    project = small_project().with_(shapes=shapes)
    return EvaluatedDocument(project, small_head()).again(project)


def codes(clip: EvaluatedClip, begin: str) -> list[tuple[str, int]]:
    found = check_clip(clip, workers=1)
    return [(one.finding.code, one.worst) for one in found.faults if one.finding.code.startswith(begin)]


def test_every_frame_has_the_findings_of_its_recipe() -> None:
    evaluated = document({"drop": {"hinge": "auto"}})
    keys = (Key(0.0, "neutral"), Key(0.5, "call"), Key(1.0, "doubt"))
    checked = check_clip(EvaluatedClip(evaluated, Clip("c", 8.0, 1.0, keys)), workers=1)
    for number in (0, 3, 8):
        ((_, _, found),) = check_recipes(evaluated, [checked.clip.frame(number)])
        wanted = [(f.code, f.where, f.value) for f in found if not f.code.startswith("empty.")]
        got = [(f.code, f.where, f.value) for f in checked.frames[number] if not f.code.startswith(("clip.", "empty."))]
        assert sorted(got) == sorted(wanted)
    every = {(f.code, f.where) for found in checked.frames for f in found}
    assert {(one.finding.code, one.finding.where) for one in checked.faults} == every
    assert len(checked.faults) == len(every) > 0
    for one in checked.faults:
        values = [f.value for n in one.frames for f in checked.frames[n] if (f.code, f.where) == (
            one.finding.code, one.finding.where) and f.severity == one.finding.severity]  # fmt: skip
        assert one.finding.value == max(values)


def test_a_kink_of_an_in_between_is_a_pop_and_a_turn_is_none() -> None:
    evaluated = document({"drop": {"inbetweens": [{"at": 0.5, "target": "drop_50"}]}})
    delta = evaluated.head.shape("drop")
    project = keep_shape(small_project().with_(shapes={}), "half", 1.5 * delta.delta)  # far off the straight way
    project = project.with_(shapes={**project.shapes, "drop": {"inbetweens": [{"at": 0.5, "target": "half"}]}})
    bent = EvaluatedDocument(project, small_head()).again(project)
    clip = EvaluatedClip(bent, Clip("c", 10.0, 2.0, LINEAR))
    assert codes(clip, "clip.pop") == [("clip.pop", 10)]
    # by hand: to 0.5 it moves 3 a weight, from there -1; a step is 0.05 of the weight
    furthest = np.linalg.norm(delta.delta.astype(float), axis=1).max()
    assert bend_at(clip, MovingClip(clip), 10).max() == pytest.approx(0.5 * 0.05 * (3.0 + 1.0) * furthest, rel=1e-4)
    assert bend_at(clip, MovingClip(clip), 5).max() < 1e-4
    turning = EvaluatedClip(document({"drop": {"hinge": "auto"}}), Clip("c", 10.0, 2.0, LINEAR))
    assert not turning.straight and codes(turning, "clip.pop") == []
    keys = (*LINEAR, Key(0.0, region="all", shape="lift", weight=0.0), Key(1.0, region="all", shape="lift", weight=1.0))
    assert codes(EvaluatedClip(document({}), Clip("c", 10.0, 2.0, keys)), "clip.") == []  # the keys' own corner


def test_a_weight_that_leaps_in_a_file_is_told(tmp_path: Path) -> None:
    times = np.arange(25) / 24.0
    smooth = 0.5 - 0.5 * np.cos(2 * np.pi * times)
    for leap, expected in ((0.0, []), (0.3, [("clip.leap", 9)])):
        values = smooth + leap * (np.arange(25) == 9)
        rows = "".join(f"{t},{v}\n" for t, v in zip(times, values, strict=True))
        (tmp_path / "talk.csv").write_text("time,lift\n" + rows)
        evaluated = document({})
        evaluated = evaluated.again(evaluated.project.with_(path=tmp_path / "document.toml"))
        assert codes(EvaluatedClip(evaluated, Clip("c", file="talk.csv")), "clip.") == expected


def test_cores_give_what_one_gives_and_stop_when_told() -> None:
    evaluated = document({"drop": {"hinge": "auto"}})
    clip = EvaluatedClip(evaluated, Clip("c", 8.0, 1.0, (Key(0.0, "neutral"), Key(1.0, "call"))))
    one, two = (check_clip(clip, workers=workers) for workers in (1, 2))
    told = [[(f.code, f.where, f.value) for f in found] for found in one.frames]
    assert told == [[(f.code, f.where, f.value) for f in found] for found in two.frames]
    assert over_cores(lambda: lambda i: i * i, 5, workers=3) == [0, 1, 4, 9, 16]

    def stop(fraction: float, words: str) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        check_clip(clip, stop, workers=2)

    def fails(number: int) -> int:
        raise MoueError(f"{number} cannot be")

    with pytest.raises(MoueError, match="cannot be"):
        over_cores(lambda: fails, 4, workers=2)
    here = os.getpid()
    if threading.active_count() == 1 and hasattr(os, "fork"):  # a process that the system ends is told, not waited for
        with pytest.raises(MoueError, match="was ended before its work was done"):
            over_cores(lambda: lambda i: os.kill(os.getpid(), 9) if os.getpid() != here else i, 4, workers=2)


def test_the_page_and_the_pictures(tmp_path: Path) -> None:
    evaluated = document({})
    key = Key(0.0, region="all", shape="lift", weight=0.0)
    keys = (key, Key(1.0, region="all", shape="lift", weight=0.7), Key(1.0, "doubt", 1.0))
    clip = EvaluatedClip(evaluated, Clip("tide", 2.0, 1.0, keys))
    checked = check_clip(clip, workers=1)
    page = clip_report(replace(checked, faults=tuple(checked.grave[:1])))
    assert page.count("<polyline") == 4 and "data:image/webp;base64," in page and "<script" not in page
    assert "brow_left/au1_left" in page and checked.name_of(checked.grave[0].worst) in page
    files = write_pictures(clip, tmp_path / "pictures", size=(60, 70))
    assert [file.name for file in files] == ["tide.webp", *(f"tide_{i:04d}.png" for i in range(3))]
    moving = Image.open(files[0])
    assert moving.n_frames == 3 and moving.size == (60, 70)
    durations = []
    for number in range(3):
        moving.seek(number)
        moving.load()
        durations.append(moving.info["duration"])
    assert durations == [500] * 3
    (files[1]).write_bytes(b"mine")
    with pytest.raises(MoueError, match="tide_0000.png has been changed"):
        write_pictures(clip, tmp_path / "pictures", size=(60, 70))


def test_a_cell_that_moves_nothing_is_told_once_and_rest_is_no_fault() -> None:
    evaluated = document({})
    still = evaluated.project.with_(shapes={"still": {"delta": "shapes/still.npy"}})
    zero = np.zeros((evaluated.head.n_vertices, 3), dtype=np.float32)
    evaluated = evaluated.again(still.with_(stored={**still.stored, "shapes/still.npy": zero}))
    lift = [Key(t, region="all", shape="lift", weight=w) for t, w in ((0.0, 0.0), (0.5, 1.0), (1.0, 0.0))]
    clip = EvaluatedClip(evaluated, Clip("c", 8.0, 1.0, tuple(lift)))
    assert codes(clip, "empty.") == []
    idle = Key(0.0, region="all", shape="still", weight=0.5)
    assert codes(EvaluatedClip(evaluated, Clip("c", 8.0, 1.0, (*lift, idle))), "empty.") == [("empty.cell", 4)]
