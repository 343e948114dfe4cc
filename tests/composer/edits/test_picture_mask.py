"""Masks copied between regions, and ground taken in a document: locks hold, one edit."""

from __future__ import annotations

import numpy as np
import pytest

from composer.document.evaluated import EvaluatedDocument
from composer.edits.picture_mask import copy_mask, mask_of_picture
from composer.edits.regions import set_locked, set_mask
from composer.edits.take_ground import take_ground
from composer.errors import MoueError
from tests.composer.document.small_document import N, small_head, small_project

HEAD = small_head()
PROJECT = small_project()


def test_a_copied_mask_is_the_same_and_a_locked_region_keeps_its_own() -> None:
    values = np.random.default_rng(5).random(N)
    project = copy_mask(PROJECT, "brow_left", "dots", values)
    np.testing.assert_array_equal(EvaluatedDocument(project, HEAD).raw["dots"], values.astype(np.float32))
    with pytest.raises(MoueError, match="locked"):
        copy_mask(set_locked(PROJECT, "dots", True), "brow_left", "dots", values)
    with pytest.raises(MoueError, match="itself"):
        copy_mask(PROJECT, "dots", "dots", values)


def test_taken_ground_is_what_was_painted() -> None:
    project = set_mask(PROJECT, "glabella", np.ones(N))
    before = EvaluatedDocument(project, HEAD)
    held = {r.name: before.raw[r.name] for r in project.regions if r.locked and r.set == "face"}
    after = EvaluatedDocument(take_ground(project, "glabella", before.raw), HEAD)
    room = 1.0 - np.minimum(sum(held.values(), np.zeros(N)), 1.0)
    np.testing.assert_allclose(after.effective["glabella"], room, atol=1e-6)
    for name, mask in held.items():
        np.testing.assert_array_equal(after.raw[name], mask)
    with pytest.raises(MoueError, match="all that was painted"):
        take_ground(after.project, "glabella", after.raw)
    with pytest.raises(MoueError, match="locked"):
        take_ground(set_locked(project, "glabella", True), "glabella", before.raw)


def test_a_head_without_texture_coordinates_refuses_a_picture(tmp_path) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(MoueError, match="texture coordinates"):
        mask_of_picture(HEAD, tmp_path / "half.png")
