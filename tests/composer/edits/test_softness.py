"""The softness of a region in the document: one key for every source, filled by neighbours, undone by removing it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from composer.document.evaluated import EvaluatedDocument
from composer.document.store import open_document, save_document
from composer.edits.regions import duplicate_region, rename_region
from composer.edits.softness import set_softness, softness_of
from composer.errors import MoueError
from composer.head.soft_borders import soft_border
from tests.composer.document.small_document import small_head, small_project


def opened() -> EvaluatedDocument:
    return EvaluatedDocument(small_project(), small_head())


@pytest.mark.parametrize("name", ["glabella", "moving", "brow_left", "dots"])
def test_every_source_takes_a_softness(name: str) -> None:
    before = opened()
    after = before.again(set_softness(before.project, name, 30.0))
    assert softness_of(after.project, name) == 30.0 and softness_of(before.project, name) is None
    if name != "dots":  # its source makes the ramp itself
        np.testing.assert_array_equal(after.raw[name], soft_border(before.head, before.raw[name]).mask(30.0))
    assert not np.array_equal(after.raw[name], before.raw[name])
    fresh = EvaluatedDocument(after.project, before.library)
    for region, mask in fresh.effective.items():
        np.testing.assert_array_equal(after.effective[region], mask)
    back = after.again(set_softness(after.project, name, None))
    np.testing.assert_array_equal(back.raw[name], before.raw[name])
    assert back.project == before.project


def test_a_slider_makes_only_the_ramp_again() -> None:
    before = opened()
    one = before.again(set_softness(before.project, "brow_left", 10.0))
    two = one.again(set_softness(one.project, "brow_left", 20.0))
    assert all(two.raw[name] is one.raw[name] for name in one.raw if name != "brow_left")


@pytest.mark.parametrize("name", ["clock.moue", "clock.toml"])
def test_a_document_keeps_its_softness(tmp_path: Path, name: str) -> None:
    project = set_softness(opened().project, "glabella", 17.5)
    save_document(project.with_(path=tmp_path / name), tmp_path / name)
    assert softness_of(open_document(tmp_path / name), "glabella") == 17.5


def test_a_copy_and_another_name_keep_the_softness() -> None:
    project = set_softness(opened().project, "glabella", 17.5)
    copied, copy = duplicate_region(project, "glabella")
    assert softness_of(copied, copy) == 17.5
    assert softness_of(rename_region(project, "glabella", "between"), "between") == 17.5


def test_what_cannot_be_softened_says_why() -> None:
    project = opened().project
    with pytest.raises(MoueError, match="locked"):
        set_softness(project, "upper", 3.0)
    with pytest.raises(MoueError, match="not in 0 to 100"):
        set_softness(project, "glabella", 400.0)
    with pytest.raises(MoueError, match="no region is named"):
        set_softness(project, "glabela", 4.0)
    wrong = project.with_(regions=tuple(
        r if r.name != "glabella" else type(r)(r.name, {**r.source, "ramp_mm": "wide"}) for r in project.regions
    ))  # fmt: skip
    with pytest.raises(MoueError, match="glabella"):
        _ = EvaluatedDocument(wrong, small_head()).raw
