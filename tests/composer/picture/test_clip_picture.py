"""A clip's pictures over several cores, and a head pictured without some of its parts."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from composer.document.evaluated_clip import evaluated_clip
from composer.errors import MoueError
from composer.head.head import Part
from composer.picture.clip_picture import pictures, write_pictures
from composer.picture.figure import Figure
from composer.picture.render import Studio
from tests.composer.document.test_clips import folder, opened
from tests.composer.picture.test_pictures import egg_head

__all__ = ["folder"]


def test_the_number_of_cores_changes_no_picture_of_a_clip(folder: Path) -> None:
    clip = evaluated_clip(opened(folder), "tide")
    studio = Studio.of(clip.evaluated.head, 0)
    one, two = (
        [image.tobytes() for image in pictures(clip, studio, [0, 8, 16, 24], size=(40, 50), workers=n)] for n in (1, 2)
    )
    assert one == two and len(set(one)) > 1, "something moves"


def test_a_folder_that_holds_other_files_is_refused_before_any_picture(folder: Path) -> None:
    (folder / "out").mkdir()
    (folder / "out" / "own.txt").write_text("mine")
    told: list[str] = []
    clip = evaluated_clip(opened(folder), "tide")
    with pytest.raises(MoueError, match="holds files that are no pictures"):
        write_pictures(clip, folder / "out", progress=lambda _, words: told.append(words))
    assert not told and [file.name for file in (folder / "out").iterdir()] == ["own.txt"]


def test_hidden_parts_are_not_pictured() -> None:
    """The triangles that are left are those of the other pieces: counted by their corners."""
    head = egg_head()
    own = np.arange(head.n_vertices // 3)
    part = Part("cap", own)
    head = head.with_(parts=(part,))
    inside = np.isin(head.polygons.triangles, own).all(axis=1)
    assert inside.any() and not inside.all()
    without = Figure.of(head, 0, hidden=frozenset({"cap"})).triangles
    alone = Figure.of(head, 0, hidden=frozenset({"skin"})).triangles
    np.testing.assert_array_equal(without, head.polygons.triangles[~inside])
    np.testing.assert_array_equal(alone, head.polygons.triangles[inside])
