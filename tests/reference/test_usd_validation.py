"""OpenUSD's own validators (pxr.UsdValidation, all that there are) find nothing wrong with our files."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pxr import Usd, UsdGeom, UsdValidation

from composer.formats.mesh import Mesh
from composer.formats.registry import write_mesh
from composer.head.head import InBetween, Shape
from tests.reference.test_gltf_validator import everything
from tests.small_files import meshes

quiet = settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def findings(path: Path) -> list[str]:
    """What the validators say of a file."""
    validators = UsdValidation.ValidationRegistry().GetOrLoadAllValidators()
    assert len(validators) >= 25
    stage = Usd.Stage.Open(str(path))
    return [f"{e.GetName()}: {e.GetMessage()}" for e in UsdValidation.ValidationContext(validators).Validate(stage)]


@pytest.mark.parametrize("suffix", [".usd", ".usda", ".usdc", ".usdz"])
@pytest.mark.parametrize("n_shapes", [0, 1, 3])
@pytest.mark.parametrize("rich", [False, True])
def test_no_finding(suffix: str, n_shapes: int, rich: bool, tmp_path: Path) -> None:
    mesh = everything(n_shapes, rich, rich, rich)
    if n_shapes:
        half = InBetween(0.5, mesh.shapes[0].delta * np.float32(0.2))
        mesh = replace(mesh, shapes=(replace(mesh.shapes[0], inbetweens=(half,)), *mesh.shapes[1:]))
    write_mesh(tmp_path / f"a{suffix}", mesh)
    assert findings(tmp_path / f"a{suffix}") == []


@quiet
@given(mesh=meshes(shapes=True), suffix=st.sampled_from([".usd", ".usda", ".usdc", ".usdz"]))
def test_no_finding_on_anything_that_a_head_can_be(mesh: Mesh, suffix: str, tmp_path: Path) -> None:
    write_mesh(tmp_path / f"a{suffix}", mesh)
    assert findings(tmp_path / f"a{suffix}") == []


def test_the_validators_see_planted_faults(tmp_path: Path) -> None:
    """A stage without metersPerUnit, and a binding whose schema is not applied."""
    mesh = replace(everything(1, False, False, False), shapes=(Shape("a", np.ones((108, 3), np.float32)),))
    write_mesh(tmp_path / "a.usda", mesh)
    text = (tmp_path / "a.usda").read_text()
    (tmp_path / "a.usda").write_text(text.replace("metersPerUnit", "timeCodesPerSecond", 1))
    (tmp_path / "b.usda").write_text(text.replace('["SkelBindingAPI"]', '["CollectionAPI:x"]'))
    assert any("StageMetadata" in line or "MetersPerUnit" in line for line in findings(tmp_path / "a.usda"))
    assert findings(tmp_path / "b.usda")
    assert not UsdGeom.StageHasAuthoredMetersPerUnit(Usd.Stage.Open(str(tmp_path / "a.usda")))
