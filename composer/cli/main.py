"""The command `moue`: one subcommand a file, in groups by the steps of the job.

Exit codes: 0 done, 1 the work found a problem, 2 wrong input, told in one line, 130 stopped by the keyboard.
"""

from __future__ import annotations

import inspect as signatures
import signal
import sys
from collections.abc import Callable, Sequence
from functools import wraps
from typing import Annotated, Any, NoReturn

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
from composer.cli.console import be_quiet
from composer.cli.help_text import Command, Group
from composer.cli.outside import with_allow_outside
from composer.errors import LINE_LIMIT, MoueError, cannot, shorten, visible

USAGE_ERROR: Any = next(each for each in typer.BadParameter.__mro__ if each.__name__ == "ClickException")
"""What is wrong with the words of a command; the class lies elsewhere in different versions of typer."""

STOPPED = 130
OPENS_NOTHING = ("demo", "bench")
"""Commands that open no document and no library of a person's."""

COMMANDS: dict[str, dict[str, Callable[..., None]]] = {
    "The window": {"open": open.open_, "demo": demo.demo},
    "Look a library over": {"inspect": inspect.inspect, "reorder": reorder.reorder},
    "A new head": {"fit": fit.fit, "carry": carry.carry},
    "Divide the face and mix": {
        "regions": regions.regions, "split": split.split, "match": match.match, "try": trials.try_, "join": join.join,
    },
    "Check, bake, take back": {"check": check.check, "bake": bake.bake, "accept": accept.accept},
    "Picture": {"sheet": sheet.sheet},
    "Moue itself": {"bench": bench.bench},
}  # fmt: skip
"""Every subcommand, by the step of the job that it belongs to; `moue --help` shows them so."""

Quiet = Annotated[
    bool, typer.Option("--quiet", "-q", help="Say nothing but errors; the exit code and the files tell the rest.")
]

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
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Say which Moue this is.")
    ] = False,
    quiet: Quiet = False,
) -> None:
    """Facial expressions mixed by region, checked, and baked as new targets. Without a command: the window."""
    be_quiet(quiet)
    if context.invoked_subcommand is None:
        from composer.viewer.app import run_window

        run_window()


def version() -> None:
    """Say which Moue this is. Example: moue version"""
    _version(True)


def _with_quiet(call: Callable[..., None]) -> Callable[..., None]:
    """The command with the option --quiet, which every subcommand has."""
    said = signatures.signature(call, eval_str=True)
    option = signatures.Parameter("quiet", signatures.Parameter.KEYWORD_ONLY, default=False, annotation=Quiet)

    @wraps(call)
    def run(*words: Any, quiet: bool = False, **options: Any) -> None:
        if quiet:
            be_quiet()
        call(*words, **options)

    parameters = [*said.parameters.values(), option]
    run.__signature__ = said.replace(parameters=parameters)  # type: ignore[attr-defined]
    run.__annotations__ = {each.name: each.annotation for each in parameters}
    return run


for _step, _calls in COMMANDS.items():
    for _name, _call in _calls.items():
        _whole = _call if _name in OPENS_NOTHING else with_allow_outside(_call)
        app.command(_name, cls=Command, rich_help_panel=_step)(_with_quiet(_whole))
app.command("version", cls=Command, hidden=True)(version)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command with `arguments`, or the process's own, and end with one of the exit codes above."""
    be_quiet(False)
    try:
        code = app(args=list(arguments) if arguments is not None else None, prog_name="moue", standalone_mode=False)
    except MoueError as error:
        _end(str(error))
    except USAGE_ERROR as error:
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
    sys.stderr.write(shorten(visible(words), LINE_LIMIT) + "\n")
    raise SystemExit(code) from None
