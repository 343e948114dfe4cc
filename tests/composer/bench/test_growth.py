"""How time and memory grow: a planted power law is found, the plot is an SVG, and a small head goes all the way."""

from __future__ import annotations

import xml.etree.ElementTree as xml
from pathlib import Path

import pytest

from composer.bench.growth import STEPS, Grown, grown, lines, slope, write_growth


def planted(power: float) -> list[Grown]:
    return [Grown(size, 15, {step: 1e-4 * size**power for step in STEPS}, {step: 1e-3 * size for step in STEPS})
            for size in (10_000, 40_000, 160_000, 640_000)]  # fmt: skip


@pytest.mark.parametrize("power", [0.5, 1.0, 1.7])
def test_the_slope_is_the_power_of_a_power_law(power: float) -> None:
    assert slope(planted(power), "open", 15) == pytest.approx(power, abs=1e-9)
    assert f"{power:.2f}" in lines(planted(power))[-1]


def test_the_plot_has_a_curve_and_a_point_for_each_head(tmp_path: Path) -> None:
    write_growth(planted(1.0), tmp_path / "g.json", tmp_path / "g.svg")
    drawn = xml.parse(tmp_path / "g.svg").getroot()
    space = "{http://www.w3.org/2000/svg}"
    assert len(drawn.findall(f".//{space}polyline")) == 2 and len(drawn.findall(f".//{space}circle")) == 8
    for line in drawn.findall(f".//{space}polyline"):  # a power law is a straight line over logarithms, and rises
        points = [tuple(map(float, point.split(","))) for point in line.attrib["points"].split()]
        steps = [(x1 - x0, y1 - y0) for (x0, y0), (x1, y1) in zip(points, points[1:], strict=False)]
        assert all(step == pytest.approx(steps[0], abs=0.3) for step in steps) and steps[0][1] < 0


def test_a_head_goes_from_regions_to_a_match() -> None:
    told = grown(10_000, 3)
    assert set(told.seconds) == set(STEPS) == set(told.mb) and min(told.mb.values()) > 1.0
