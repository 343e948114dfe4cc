"""The table [clips.NAME] of a document, read and written."""

from __future__ import annotations

from typing import Any

from composer.document.join_keys import join_keys, join_of
from composer.document.values import Values
from composer.errors import MoueError
from composer.head.file_names import check_name
from composer.mixing.clip import Clip, Key
from composer.mixing.recipe import HALO, WEIGHT_RANGE

KEYS = ("fps", "length", "join", "halo", "contact", "keys", "file", "rename", "note")
KEY_KEYS = ("time", "recipe", "weight", "region", "shape", "mirrored", "interpolation")


def clips_of(whole: Values) -> tuple[Clip, ...]:
    """The clips of a document. Raises MoueError as `clip_of`, and for a name that no file may have."""
    tables = whole.tables("clips")
    for name in tables:
        check_name(name, "clip", whole.path, list(tables))
    return tuple(clip_of(name, each) for name, each in tables.items())


def clip_of(name: str, said: Values) -> Clip:
    """The clip in the table [clips.NAME]. Raises MoueError where its values are out of range or of another kind."""
    said.only(KEYS)
    join = join_of(said)
    length = said.number("length", None) if "length" in said.table else None
    rename = said.table.get("rename", {})
    if not isinstance(rename, dict) or not all(_is_names(to) for to in rename.values()):
        raise said.error("needs rename to be a table of names", 'as rename = { theirs = "ours" }')
    rename = {theirs: to if isinstance(to, str) else tuple(to) for theirs, to in rename.items()}
    keys = tuple(_key(key) for key in said.rows("keys", "key"))
    try:
        return Clip(
            name, said.number("fps", 24.0), length, keys, said.text("file") or "", rename,
            join, said.number("halo", HALO), said.flag("contact"), said.text("note", empty=True) or "",  # type: ignore[arg-type]
        )  # fmt: skip
    except MoueError as error:
        raise error.at(said.path) from None


def _is_names(said: object) -> bool:
    """Whether a value is a name, or several."""
    names = said if isinstance(said, list) else [said]
    return bool(names) and all(isinstance(name, str) and name for name in names)


def _key(said: Values) -> Key:
    said.only(KEY_KEYS)
    if "time" not in said.table:
        raise said.error("has no time", "give it in seconds")
    weight = said.number("weight", None, *WEIGHT_RANGE) if "weight" in said.table else None
    interpolation: Any = said.text("interpolation") or "linear"
    return Key(
        said.number("time", None), said.text("recipe") or "", weight, said.text("region") or "",
        said.text("shape") or "", said.flag("mirrored"), interpolation,
    )  # fmt: skip


def clip_table(clip: Clip) -> dict[str, Any]:
    """The table of a clip, without what it leaves as it is by default."""
    table: dict[str, Any] = {}
    if clip.note:
        table["note"] = clip.note
    table["fps"] = int(clip.fps) if clip.fps == int(clip.fps) else clip.fps
    if clip.length is not None:
        table["length"] = clip.length
    table |= join_keys(clip)
    if clip.file:
        table["file"] = clip.file
    if clip.rename:
        table["rename"] = {theirs: to if isinstance(to, str) else list(to) for theirs, to in clip.rename.items()}
    if clip.keys or not clip.file:
        table["keys"] = [_key_table(key) for key in clip.keys]
    return table


def _key_table(key: Key) -> dict[str, Any]:
    table: dict[str, Any] = {"time": key.time}
    table |= {"recipe": key.recipe} if key.recipe else {"region": key.region, "shape": key.shape}
    if key.weight is not None:
        table["weight"] = key.weight
    if key.mirrored:
        table["mirrored"] = True
    if key.interpolation != "linear":
        table["interpolation"] = key.interpolation
    return table
