"""The text of `--help`: usage, what the command does, examples to copy, and options with their values, at any width.

Commands are grouped by the steps of the job. Headings are bold on a terminal, plain elsewhere.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence
from enum import Enum
from textwrap import wrap
from typing import Any

from typer.core import TyperCommand, TyperGroup

from composer.cli.console import columns, styled

LEFT = 24
"""Columns of the left side with names and values (our choice); a longer name has its own line."""
EXAMPLE = "Example:"


class Command(TyperCommand):
    """A subcommand with this help."""

    def format_help(self, ctx: Any, formatter: Any) -> None:
        """Write the whole help."""
        formatter.write("\n".join(command_lines(self, ctx)) + "\n")


class Group(TyperGroup):
    """The command itself, with this help."""

    def list_commands(self, ctx: Any) -> list[str]:
        """The names of the commands in the order of the job; older versions of typer sort them."""
        return list(self.commands)

    def format_help(self, ctx: Any, formatter: Any) -> None:
        """Write the whole help."""
        formatter.write("\n".join(group_lines(self, ctx)) + "\n")


def command_lines(command: Any, ctx: Any) -> list[str]:
    """The help of a subcommand."""
    params = command.get_params(ctx)
    arguments = [each for each in params if each.param_type_name == "argument"]
    options = [each for each in params if each.param_type_name == "option" and not getattr(each, "hidden", False)]
    needed = [f"{_longest(each.opts)} {_value(each)}".strip() for each in options if each.required]
    words = [ctx.command_path, *(_value(each) for each in arguments), *needed, "[options]"]
    return [
        *_usage(words), "", *_paragraphs(command.help or ""),
        *_section("Arguments", [(_value(each), each.help or "") for each in arguments]),
        *_section("Options", [(_names(each), _meaning(each)) for each in options]),
    ]  # fmt: skip


def group_lines(group: Any, ctx: Any) -> list[str]:
    """The help of the command itself: its commands by the steps of the job, then its options."""
    steps: dict[str, list[tuple[str, str]]] = {}
    for name in group.list_commands(ctx):
        command = group.get_command(ctx, name)
        if command is not None and not command.hidden:
            short = " ".join((command.help or "").split("\n\n")[0].split())
            steps.setdefault(command.rich_help_panel or "Commands", []).append((name, short))
    options = [(_names(each), _meaning(each)) for each in group.get_params(ctx)]
    return [
        *_usage([ctx.command_path, "[options]", "[command]"]), "", *_paragraphs(group.help or ""),
        *(line for title, rows in steps.items() for line in _section(title, rows, left=12)),
        *_section("Options", options),
    ]  # fmt: skip


def _usage(words: Sequence[str]) -> list[str]:
    lines = _shell_lines("Usage: " + " ".join(words), "       ", "")
    return [_bold("Usage:") + lines[0].removeprefix("Usage:"), *lines[1:]]


def _paragraphs(text: str) -> list[str]:
    """The docstring, wrapped, with its examples together at the end."""
    lines: list[str] = []
    examples: list[str] = []
    for paragraph in text.split("\n\n"):
        words = " ".join(paragraph.split())
        if words.startswith(EXAMPLE):
            examples.append(words.removeprefix(EXAMPLE).strip())
        elif words:
            lines += [*_wrapped(words, columns()), ""]
    if examples:
        lines += [_bold("Examples" if len(examples) > 1 else "Example")]
        lines += [line for each in examples for line in _shell_lines(f"  {each}", "    ", " \\")]
        lines.append("")
    return lines


def _wrapped(words: str, wide: int) -> list[str]:
    """Prose in lines, without backquotes; the names of options are not broken."""
    return wrap(words.replace("`", ""), wide, break_on_hyphens=False)


def _shell_lines(words: str, indent: str, join: str) -> list[str]:
    """A shell command in lines; `join` ends all of them except the last."""
    lines = wrap(words, columns() - len(join), subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)
    return [line + join for line in lines[:-1]] + lines[-1:]


def _section(title: str, rows: Iterable[tuple[str, str]], left: int = LEFT) -> list[str]:
    """A heading and its rows: a name on the left, its meaning wrapped on the right."""
    lines: list[str] = []
    for name, meaning in rows:
        right = _wrapped(meaning, columns() - left) or [""]
        beside = len(name) + 4 <= left
        lines.append(f"  {name}".ljust(left) + right[0] if beside else f"  {name}")
        lines += [" " * left + each for each in right[1 if beside else 0 :]]
    return [_bold(title), *(line.rstrip() for line in lines), ""] if lines else []


def _names(option: Any) -> str:
    short = [name for name in option.opts if not name.startswith("--")]
    long = [name for name in option.opts if name.startswith("--")]
    long += option.secondary_opts if option.is_flag else []
    return f"{', '.join([*short, *long])} {'' if option.is_flag else _value(option)}".strip()


def _longest(names: Sequence[str]) -> str:
    return max(names, key=len)


def _value(param: Any) -> str:
    """The placeholder of a value: its metavar, or the name of the parameter."""
    if getattr(param, "is_flag", False):
        return ""
    if param.metavar:
        return str(param.metavar)
    return str(param.name).upper()


def _meaning(option: Any) -> str:
    """An option's help, whether it is required, and its default."""
    default = option.default
    help_text = " ".join((option.help or "").split())
    if option.required:
        return f"{help_text} Required."
    if option.is_flag or default in (None, "", ()) or callable(default) or option.show_default is False:
        return help_text
    shown = default.value if isinstance(default, Enum) else f"{default:g}" if isinstance(default, float) else default
    return f"{help_text} (default {shown})"


def _bold(words: str) -> str:
    return f"\x1b[1m{words}\x1b[0m" if styled(sys.stdout) else words
