"""The command `moue`: one subcommand a file, grouped by the steps of the job.

Exit codes: 0 done, 1 the work found a problem, 2 wrong input, with one line on standard error, 130 stopped from the
keyboard.
"""

from __future__ import annotations

import signal
import sys
from collections.abc import Callable, Sequence
from typing import Annotated, Any, NoReturn

import typer

from composer import __version__
from composer.cli import (
    accept,
    bake,
    bench,
    carry,
    check,
    clip,
    demo,
    fit,
    inspect,
    join,
    match,
    open,
    regions,
    reorder,
    run,
    sheet,
    split,
    swap,
    table,
    trials,
)
from composer.cli.common_options import Quiet, with_allow_outside, with_quiet
from composer.cli.console import be_quiet
from composer.cli.help_text import Command, Group
from composer.errors import LINE_LIMIT, MoueError, cannot, shorten, visible

USAGE_ERROR: Any = next(each for each in typer.BadParameter.__mro__ if each.__name__ == "ClickException")
"""The error for wrong arguments; its module differs between versions of typer."""

STOPPED = 130
OPENS_NOTHING = ("demo", "bench")
"""Commands that do not open a user's document or library."""

COMMANDS: dict[str, dict[str, Callable[..., None]]] = {
    "The window": {"open": open.open_, "demo": demo.demo},
    "Look a library over": {"inspect": inspect.inspect, "reorder": reorder.reorder},
    "A new head": {"fit": fit.fit, "carry": carry.carry, "swap": swap.swap},
    "Divide the face and mix": {
        "regions": regions.regions, "split": split.split, "match": match.match, "try": trials.try_, "join": join.join,
    },
    "Check, bake, take back": {"check": check.check, "bake": bake.bake, "accept": accept.accept},
    "Picture": {"sheet": sheet.sheet},
    "Over time, and as tables": {"clip": clip.clip, "table": table.table},
    "Many heads": {"run": run.run},
    "Moue itself": {"bench": bench.bench},
}  # fmt: skip
"""Every subcommand by the step of the job, in the order of `moue --help`."""

app = typer.Typer(
    name="moue", cls=Group, invoke_without_command=True, pretty_exceptions_enable=False, rich_markup_mode=None,
)  # fmt: skip


def _version(asked: bool) -> None:
    if asked:
        sys.stdout.write(f"moue {__version__}\n")
        raise typer.Exit


@app.callback()
def window(
    context: typer.Context,
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
    quiet: Quiet = False,
) -> None:
    """Mix facial expressions by region, check them, and bake them as new targets. Without a command the window opens.
    """
    be_quiet(quiet)
    if context.invoked_subcommand is None:
        from composer.viewer.app import run_window

        run_window()


def version() -> None:
    """Show the version. Example: moue version"""
    _version(True)


for _step, _calls in COMMANDS.items():
    for _name, _call in _calls.items():
        _command = _call if _name in OPENS_NOTHING else with_allow_outside(_call)
        app.command(_name, cls=Command, rich_help_panel=_step)(with_quiet(_command))
app.command("version", cls=Command, hidden=True)(version)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command with `arguments`, or the process's own, and end with one of this module's exit codes."""
    be_quiet(False)
    try:
        code = app(args=list(arguments) if arguments is not None else None, prog_name="moue", standalone_mode=False)
    except MoueError as error:
        _end(str(error))
    except USAGE_ERROR as error:
        command = getattr(getattr(error, "ctx", None), "command_path", "") or "moue"
        words = " ".join(error.format_message().split()).replace("Value error, ", "").rstrip(".")
        _end(f"{command}: {words}; see {command} --help")
    except typer.Exit as exit_:
        raise SystemExit(exit_.exit_code) from None
    except (typer.Abort, KeyboardInterrupt):
        _end("stopped; no file is half written", STOPPED)
    except BrokenPipeError:
        raise SystemExit(0) from None
    except OSError as error:
        _end(str(cannot("read or written", error.filename or "the output", error)))
    except MemoryError:
        _end("there is not enough memory for this; close other programs, or work at a lower level")
    except RecursionError:
        _end("the input is nested too deeply; is one of its files damaged?")
    if code == STOPPED:  # some versions of typer take the interrupt themselves
        _end("stopped; no file is half written", STOPPED)
    if arguments is None:  # the work is done: a stop from now on changes nothing
        signal.signal(signal.SIGINT, signal.SIG_IGN)
    raise SystemExit(code if isinstance(code, int) else 0)


def _end(words: str, code: int = 2) -> NoReturn:
    sys.stderr.write(shorten(visible(words), LINE_LIMIT) + "\n")
    raise SystemExit(code) from None
