"""One registration makes a source known to documents, to `moue regions` and to the window."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from composer.document import region_sources
from composer.document.evaluated import EvaluatedDocument
from composer.document.project import Region
from composer.document.region_sources import SOURCES, RegionSource
from composer.edits.lay_regions import laid_regions
from composer.errors import MoueError
from tests.composer.document.small_document import N, small_head, small_project


def test_a_source_that_is_registered_is_known_everywhere(monkeypatch: pytest.MonkeyPatch) -> None:
    def mask(sources, region, said):  # type: ignore[no-untyped-def]
        return np.full(sources.head.n_vertices, said.number("share", 1.0, 0.0, 1.0))

    flat = RegionSource(
        "flat", ("share",), mask, "", "flat", lambda head, how: ({"face": {"from": "flat", "share": 0.25}}, ["Flat."])
    )
    monkeypatch.setattr(region_sources, "SOURCES", {**SOURCES, "flat": flat})
    for module in ("composer.document.masks_of.SOURCES", "composer.edits.lay_regions.LAYERS"):
        monkeypatch.setattr(module, {**SOURCES, "flat": flat})
    head = small_head()
    project, notes = laid_regions(head, Path("made.moue"), "flat")
    assert "Flat." in notes
    np.testing.assert_array_equal(EvaluatedDocument(project, head).raw["face"], np.full(N, 0.25))
    other = Region("face", {"from": "flat", "shore": 0.5})
    with pytest.raises(MoueError, match="shore"):
        _ = EvaluatedDocument(project.with_(regions=(other,)), head).raw


@pytest.mark.parametrize("source", ["grups", "group", ""])
def test_an_unknown_source_is_never_taken_for_another(source: str) -> None:
    with pytest.raises(MoueError, match="no source of regions is named"):
        laid_regions(small_head(), Path("made.moue"), source)
    region = Region("brow", {"from": f"{source}x"})
    with pytest.raises(MoueError, match="no source of masks is named"):
        _ = EvaluatedDocument(small_project().with_(regions=(region,)), small_head()).raw


@pytest.mark.parametrize("ramp_mm", [float("nan"), float("inf"), -1.0])
def test_a_border_that_is_no_width_is_refused(ramp_mm: float) -> None:
    with pytest.raises(MoueError, match="mm wide"):
        laid_regions(small_head(), Path("made.moue"), "groups", ramp_mm=ramp_mm)
