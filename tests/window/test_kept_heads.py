"""A demo that is kept between windows is what a fresh reading of its files gives."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from composer.document.evaluated import EvaluatedDocument
from composer.document.store import open_document
from tests.window.kept_heads import keep_heads


def test_a_kept_demo_is_the_same_as_one_that_is_read(
    gl_window: object, demo: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    project = open_document(demo)
    fresh = EvaluatedDocument.open(project)
    keep_heads(monkeypatch)
    first, second = (EvaluatedDocument.open(open_document(demo)) for _ in range(2))
    assert second is not first and second.head is first.head is not fresh.head
    assert second.notes == fresh.notes and second.head.shape_names == fresh.head.shape_names
    for kept, read in ((second.raw, fresh.raw), (second.effective, fresh.effective)):
        assert kept.keys() == read.keys() and all(np.array_equal(kept[name], read[name]) for name in kept)
    for recipe in project.recipes:
        np.testing.assert_array_equal(second.pose(recipe), fresh.pose(recipe))
