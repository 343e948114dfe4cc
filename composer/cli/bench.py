"""`moue bench`: how fast Moue is on this machine, each row beside a reference."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from composer.bench.measures import MEASURES
from composer.bench.window_measures import WINDOW_MEASURES
from composer.cli import console
from composer.cli.sources import Json

ALL = [*MEASURES, *WINDOW_MEASURES]


def bench(
    only: Annotated[
        list[str] | None, typer.Option(metavar="NAME", help=f"Only this measure; may be repeated. {', '.join(ALL)}.")
    ] = None,
    details: Annotated[
        bool, typer.Option("--details", help="Also show each row's reference, goal and spread.")
    ] = False,
    growth: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Only how time and memory grow with heads, and plot it as .svg."),
    ] = None,
    json_file: Json = None,
) -> None:
    """Measure how fast Moue is on this machine.

    Each row has a reference from the same run. While the machine is busy, only the ratios can be compared. --growth
    takes heads of 10,000 to 2.6 million vertices with 15 to 240 shapes from opening to a bake: half an hour.

    Example: moue bench --only mixing_one_cell --json bench.json
    """
    from dataclasses import asdict

    from rich.console import Console

    from composer.bench.measure import Row
    from composer.bench.registry import run
    from composer.bench.table import detail_lines, table_lines
    from composer.bench.window_measures import run_window
    from composer.cli.report import write_json
    from composer.errors import MoueError, unknown
    from composer.head.outputs import may_write

    if json_file not in (None, "-"):
        may_write(Path(str(json_file)), ".json")
    if growth is not None:
        _grow(growth, json_file)
        return
    wrong = next((name for name in only or () if name not in ALL), None)
    if wrong is not None:
        raise unknown("measure", wrong, ALL)
    window = [name for name in only or WINDOW_MEASURES if name in WINDOW_MEASURES]
    with Console(stderr=True, quiet=console.is_quiet()).status("measuring") as status:
        plain = [name for name in only or () if name in MEASURES]
        rows: list[Row] = []
        if plain or not only:
            rows += run(plain, lambda name: status.update(f"measuring {name}"), left_out=console.warn)
        try:
            rows += list(run_window(window))
        except MoueError as error:
            if only:
                raise
            console.warn(f"the window's rows are left out: {error}")
    if json_file is not None:
        write_json(json_file, [asdict(row) for row in rows])
        if json_file == "-":
            return
    for line in table_lines(rows):
        console.say(line)
    if details:
        for line in ["", *detail_lines(rows)]:
            console.say(line)


def _grow(plot_file: Path, json_file: str | None) -> None:
    from dataclasses import asdict

    from rich.console import Console

    from composer.bench.growth import GROWTH_SHAPES, GROWTH_SIZES, all_grown, lines, write_growth
    from composer.cli.report import write_json
    from composer.head.outputs import may_write

    may_write(plot_file, ".svg")
    with Console(stderr=True, quiet=console.is_quiet()).status("measuring") as status:
        rows = list(all_grown(GROWTH_SIZES, GROWTH_SHAPES, say=lambda words: status.update(f"measured {words}")))
    write_growth(rows, None, plot_file)
    if json_file is not None:
        write_json(json_file, [asdict(row) for row in rows])
        if json_file == "-":
            return
    for line in [*lines(rows), str(plot_file)]:
        console.say(line)
