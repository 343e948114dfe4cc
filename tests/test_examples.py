"""The examples in docstrings run and give what they say; public entry points carry one."""

from __future__ import annotations

import doctest
from importlib import import_module
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
ENTRY_POINTS = {
    "composer.scripting": ["make_recipe"],
    "composer.geometry.polygons": ["Polygons"],
    "composer.geometry.rigid": ["similarity"],
    "composer.geometry.geodesic": ["HeatDistance"],
    "composer.head.catmull_clark": ["factor"],
    "composer.head.levels": ["refine"],
    "composer.head.order": ["match_order"],
    "composer.mixing.hinge": ["hinge_displacement"],
    "composer.mixing.shares": ["shares"],
    "composer.mixing.linear": ["pose"],
    "composer.mixing.match": ["Columns"],
    "composer.mixing.corrective": ["Corrective"],
    "masks.partition": ["share"],
    "composer.units": ["guess_unit"],
    "composer.errors": ["unknown"],
    "composer.formats.registry": ["suffixes"],
}
"""What must carry an example, by module; every other example of the house is run as well."""


def modules_with_examples() -> list[str]:
    files = [*(ROOT / "composer").rglob("*.py"), *(ROOT / "masks").rglob("*.py")]
    return sorted(
        ".".join(file.relative_to(ROOT).with_suffix("").parts)
        for file in files
        if "\n    >>> " in file.read_text("utf-8") or "\n>>> " in file.read_text("utf-8")
    )


@pytest.mark.parametrize("module", modules_with_examples())
def test_examples_give_what_they_say(module: str) -> None:
    outcome = doctest.testmod(import_module(module))
    assert outcome.attempted and not outcome.failed


@pytest.mark.parametrize("module", ENTRY_POINTS)
def test_entry_points_carry_an_example(module: str) -> None:
    for name in ENTRY_POINTS[module]:
        assert doctest.DocTestParser().get_examples(getattr(import_module(module), name).__doc__ or ""), name
