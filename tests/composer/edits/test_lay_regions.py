"""Regions for a head that has none: what is found is written down, reads back the same, and a stranger's names do."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from composer.document.evaluated import EvaluatedDocument
from composer.document.store import open_document, save_document
from composer.edits.lay_regions import laid_regions
from composer.formats.library import open_library
from composer.head.presets import lay_regions, region_set
from tests.awkward_heads import awkward, write


def test_an_unmarked_library_keeps_its_found_landmarks_parts_and_regions_in_its_document(tmp_path: Path) -> None:
    a = awkward("three_shapes", "rooted_lashes", "one_object", "inches")
    write(a, tmp_path / "library")
    head = open_library(tmp_path / "library")
    assert head.landmarks is None and {"eye_left", "teeth_lower", "lashes_left"} <= {p.name for p in head.parts}
    place = tmp_path / "own" / "document.toml"
    place.parent.mkdir()
    project, notes = laid_regions(head, place, "landmarks")
    assert len(project.regions) >= 36 and any("guessed" in note for note in notes)
    save_document(project, place)
    longest = max(len(line) for line in place.read_text().splitlines())
    assert longest < 1000
    opened = EvaluatedDocument.open(open_document(place))
    assert opened.head.landmarks is not None and opened.head.landmarks.points.keys() == project.landmarks.keys()
    assert [(p.name, p.follows, p.gaze) for p in opened.head.parts] == [(p.name, p.follows, p.gaze) for p in head.parts]
    for mine, theirs in zip(opened.head.parts, head.parts, strict=True):
        assert np.array_equal(mine.vertices, theirs.vertices)
    laid = lay_regions(head, region_set("face"), opened.head.landmarks)
    for region in project.regions:
        np.testing.assert_allclose(opened.raw[region.name], laid.masks[region.name], atol=1e-6)


def test_groups_take_materials_too_and_names_become_plain(tmp_path: Path) -> None:
    a = awkward("three_shapes", "materials_only")
    named = {f"M:{name}/x": faces for name, faces in a.head.materials.items()}
    head = a.head.with_(materials=named, groups={})
    project, _ = laid_regions(head, tmp_path / "document.toml", "groups")
    assert len(project.regions) == len(named) and not any(set(region.name) & set(":/") for region in project.regions)
    masks = EvaluatedDocument(project, head).raw
    for region in project.regions:
        inside = np.unique(head.polygons.indices[np.isin(head.polygons.corner_face, named[region.source["material"]])])
        assert masks[region.name][inside].mean() > 0.5


def test_one_missing_curve_costs_no_more_than_its_own_region(tmp_path: Path) -> None:
    a = awkward("three_shapes")
    marks = a.landmarks
    for gone in list(marks.curves)[::3]:
        curves = {name: curve for name, curve in marks.curves.items() if name != gone}
        left = lay_regions(a.head, region_set("face"), type(marks)(marks.points, curves))
        assert len(left.masks) >= 38, gone
