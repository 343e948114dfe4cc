"""`moue bench`: how fast this Moue is on this machine, each row beside its reference."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from composer.bench.measures import MEASURES
from composer.bench.window_measures import WINDOW_MEASURES

ALL = [*MEASURES, *WINDOW_MEASURES]


def bench(
    only: Annotated[
        list[str] | None, typer.Option(help=f"Only this measure; may be repeated. {', '.join(ALL)}.")
    ] = None,
    json_file: Annotated[str | None, typer.Option("--json", help="Write the rows here, - for the screen.")] = None,
) -> None:
    """Measure, each row beside a reference in the same run; only the ratios mean anything on a busy machine.

    Example: moue bench --only mixing_one_cell --json bench.json
    """
    from dataclasses import asdict

    from rich.console import Console
    from rich.table import Table

    from composer.bench.registry import run
    from composer.bench.window_measures import run_window
    from composer.cli.outputs import may_write
    from composer.cli.report import write_json
    from composer.errors import MoueError, unknown

    if json_file not in (None, "-"):
        may_write(Path(str(json_file)), ".json")
    wrong = next((name for name in only or () if name not in ALL), None)
    if wrong is not None:
        raise unknown("measure", wrong, ALL)
    window = [name for name in only or WINDOW_MEASURES if name in WINDOW_MEASURES]
    console = Console(stderr=True)
    with console.status("measuring") as status:
        own = [name for name in only or MEASURES if name in MEASURES]
        rows = list(run(own, lambda name: status.update(f"measuring {name}"))) if own else []
        try:
            rows += list(run_window(window))
        except MoueError as error:
            if only:
                raise
            typer.echo(f"the window's rows are left out: {error}", err=True)
    if json_file is not None:
        write_json(json_file, [asdict(row) for row in rows])
        if json_file == "-":
            return
    table = Table("what", "median", "spread", "reference", "its median", "ratio", "goal", "holds", box=None)
    for row in rows:
        table.add_row(
            row.name, f"{row.median:.3g} ms", f"{row.spread:.2g}", row.reference, f"{row.reference_median:.3g} ms",
            f"{row.ratio:.3g}x", row.goal, "yes" if row.holds else "NO" if row.goal else "-",
        )  # fmt: skip
    Console().print(table)
    for row in rows:
        if row.note:
            typer.echo(f"{row.name}: {row.note}")
