"""`library.toml` in a library's folder: neutral, unit and axes, as a person or a mended copy has settled them.

    neutral = "generic_neutral_mesh"
    unit = "cm"
    up = "z"
    ahead = "-y"

An option of a command and a document overrule it; it overrules every guess.
"""

from __future__ import annotations

import json
import tomllib
from dataclasses import dataclass
from pathlib import Path

from composer.errors import MoueError, cannot, nearest
from composer.head.atomic import write_whole
from composer.head.axes import FileAxes
from composer.head.toml_text import parse_toml
from composer.units import mm_per

NAME = "library.toml"
TEXTS = ("neutral", "unit")
KEYS = (*TEXTS, "up", "ahead")
MOST_BYTES = 1 << 16


@dataclass(frozen=True)
class Settled:
    """The neutral's name without suffix, the unit of the files and how the head stands in them; None where it is not
    settled.
    """

    neutral: str | None = None
    unit: str | None = None
    axes: FileAxes | None = None


def read_settled(folder: Path) -> Settled:
    """The settings in the folder's `library.toml`, empty where there is none. Raises MoueError where it is invalid."""
    path = folder / NAME
    if not path.is_file():
        return Settled()
    try:
        if path.stat().st_size > MOST_BYTES:
            raise MoueError("is too large for a library's settings", path)
        settings = parse_toml(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise cannot("read", path, error) from None
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise MoueError(f"is not TOML: {error}", path) from None
    for key, value in settings.items():
        if key not in KEYS:
            raise MoueError(f"has an unknown key {key[:40]!r}", path, hint=nearest(key, KEYS))
        if key in TEXTS and (not isinstance(value, str) or not value):
            raise MoueError(f"has a {key} that is not a text", path)
    unit = settings.get("unit")
    if unit is not None:
        mm_per(unit, str(path))
    axes = FileAxes.read(settings.get("up"), settings.get("ahead"), path)
    return Settled(settings.get("neutral"), unit, axes)


def write_settled(folder: Path, settled: Settled) -> Path:
    """Write `library.toml` into the folder; the path."""
    said = {key: getattr(settled, key) for key in TEXTS} | (settled.axes.written if settled.axes else {})
    lines = [f"{key} = {json.dumps(value, ensure_ascii=False)}" for key, value in said.items() if value]
    text = "# What is settled about this library; edit it by hand.\n" + "\n".join(lines) + "\n"
    write_whole(folder / NAME, lambda file: file.write(text.encode()))
    return folder / NAME
