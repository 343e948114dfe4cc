"""`library.toml` in a library's folder: what a person, or a mended copy, has settled about it.

    neutral = "generic_neutral_mesh"
    unit = "cm"

What a command or a document says goes before it; it goes before any guess.
"""

from __future__ import annotations

import json
import tomllib
from dataclasses import dataclass
from pathlib import Path

from composer.errors import MoueError, cannot, nearest
from composer.head.atomic import write_whole
from composer.units import mm_per

NAME = "library.toml"
KEYS = ("neutral", "unit")
MOST_BYTES = 1 << 16


@dataclass(frozen=True)
class Settled:
    """The neutral's name without suffix and the unit of the files; None where that is not settled."""

    neutral: str | None = None
    unit: str | None = None


def read_settled(folder: Path) -> Settled:
    """What the folder's `library.toml` says, nothing where there is none. Raises MoueError where it makes no sense."""
    path = folder / NAME
    if not path.is_file():
        return Settled()
    try:
        if path.stat().st_size > MOST_BYTES:
            raise MoueError("is too large for a library's settings", path)
        said = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise cannot("read", path, error) from None
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise MoueError(f"is not TOML: {error}", path) from None
    for key, value in said.items():
        if key not in KEYS:
            raise MoueError(f"has an unknown key {key[:40]!r}", path, hint=nearest(key, KEYS))
        if not isinstance(value, str) or not value:
            raise MoueError(f"needs {key} to be a text", path)
    unit = said.get("unit")
    if unit is not None:
        mm_per(unit, str(path))
    return Settled(said.get("neutral"), unit)


def write_settled(folder: Path, settled: Settled) -> Path:
    """Write `library.toml` into the folder; the path."""
    lines = [f"{key} = {json.dumps(value, ensure_ascii=False)}" for key in KEYS if (value := getattr(settled, key))]
    text = "# What is settled about this library; edit it by hand.\n" + "\n".join(lines) + "\n"
    write_whole(folder / NAME, lambda file: file.write(text.encode()))
    return folder / NAME
