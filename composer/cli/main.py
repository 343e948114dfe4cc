"""The command `moue`: one subcommand a file.

Exit codes: 0 done, 1 the work found a problem, 2 wrong input, told in one line, 130 stopped by the keyboard.
"""

from __future__ import annotations

import signal
import sys
from collections.abc import Sequence
from typing import Any, NoReturn

import typer

from composer import __version__
from composer.cli import (
    accept,
    bake,
    bench,
    carry,
    check,
    demo,
    fit,
    inspect,
    join,
    match,
    open,
    regions,
    reorder,
    sheet,
    split,
    trials,
)
from composer.cli.outside import with_allow_outside
from composer.errors import LINE_LIMIT, MoueError, cannot, shorten

USAGE_ERROR: Any = next(each for each in typer.BadParameter.__mro__ if each.__name__ == "ClickException")
"""What is wrong with the words of a command; the class lies elsewhere in different versions of typer."""

STOPPED = 130
OPENS_NOTHING = ("demo", "bench")
"""Commands that open no document and no library of a person's."""
app = typer.Typer(
    name="moue",
    add_completion=False,
    invoke_without_command=True,
    help="Facial expressions mixed by region, checked, and baked as new targets. Without a command: the window.",
    pretty_exceptions_enable=False,
)
for _name, _call in (
    ("open", open.open_), ("demo", demo.demo), ("inspect", inspect.inspect), ("reorder", reorder.reorder),
    ("fit", fit.fit), ("carry", carry.carry), ("regions", regions.regions), ("split", split.split), ("bake", bake.bake),
    ("check", check.check), ("try", trials.try_), ("join", join.join), ("match", match.match),
    ("accept", accept.accept), ("sheet", sheet.sheet), ("bench", bench.bench),
):  # fmt: skip
    app.command(_name)(_call if _name in OPENS_NOTHING else with_allow_outside(_call))


@app.callback()
def window(context: typer.Context) -> None:
    """Facial expressions mixed by region, checked, and baked as new targets. Without a command: the window."""
    if context.invoked_subcommand is None:
        from composer.viewer.app import run_window

        run_window()


@app.command("version")
def version() -> None:
    """Say which Moue this is. Example: moue version"""
    typer.echo(f"moue {__version__}")


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command with `arguments`, or the process's own; see the module's words for exit codes."""
    try:
        code = app(args=list(arguments) if arguments is not None else None, standalone_mode=False)
    except MoueError as error:
        _end(str(error))
    except USAGE_ERROR as error:
        if type(error).__name__ == "NoArgsIsHelpError":
            error.show()
            raise SystemExit(0) from None
        command = getattr(getattr(error, "ctx", None), "command_path", "") or "moue"
        _end(f"{command}: {' '.join(error.format_message().split())}; see {command} --help")
    except typer.Exit as exit_:
        raise SystemExit(exit_.exit_code) from None
    except (typer.Abort, KeyboardInterrupt):
        _end("stopped; no file is half written", STOPPED)
    except BrokenPipeError:
        raise SystemExit(0) from None
    except OSError as error:
        _end(str(cannot("read or written", error.filename or "the output", error)))
    except MemoryError:
        _end("there is not enough memory for this; close what else is open, or work at a lower level")
    except RecursionError:
        _end("what was given is nested too deeply to be worked on; is a file of it damaged?")
    if code == STOPPED:  # some versions of typer take the interrupt themselves
        _end("stopped; no file is half written", STOPPED)
    if arguments is None:  # the process ends here: a stop that comes after the work is done changes nothing any more
        signal.signal(signal.SIGINT, signal.SIG_IGN)
    raise SystemExit(code if isinstance(code, int) else 0)


def _end(words: str, code: int = 2) -> NoReturn:
    sys.stderr.write(shorten(words, LINE_LIMIT) + "\n")
    raise SystemExit(code) from None
