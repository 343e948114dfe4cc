"""The command `moue`: one subcommand a file; what a person did wrong is one line and exit code 2."""

from __future__ import annotations

import sys
from collections.abc import Sequence

import typer

from composer import __version__
from composer.cli import bake, bench, check, demo, inspect, regions, sheet, split
from composer.errors import MoueError

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    help="Moue: facial expressions mixed by region, checked, and baked as new targets.",
    pretty_exceptions_enable=False,
)
for _name, _call in (
    ("demo", demo.demo), ("inspect", inspect.inspect), ("regions", regions.regions), ("split", split.split),
    ("bake", bake.bake), ("check", check.check),
    ("sheet", sheet.sheet), ("bench", bench.bench),
):  # fmt: skip
    app.command(_name)(_call)


@app.command("version")
def version() -> None:
    """Say which Moue this is."""
    typer.echo(f"moue {__version__}")


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command with `arguments`, or the process's own."""
    try:
        app(args=list(arguments) if arguments is not None else None)
    except MoueError as error:
        sys.stderr.write(f"{error}\n")
        raise SystemExit(2) from None
    except KeyboardInterrupt:
        sys.stderr.write("stopped; nothing is half written\n")
        raise SystemExit(130) from None
