"""What a job may say about each step: the keys, and what their values may be. They are named like options."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from composer.document.values import Values
from composer.formats.registry import suffixes
from composer.jobs.job import Setting
from composer.units import MM_PER_UNIT

Reader = Callable[[Values, str], Setting]
VIEWS = ("front", "three_quarter", "profile", "profile_right", "below", "back")
CLIP_FORMATS = ("obj", "ply", "npz", "usd", "glb")


def _flag(values: Values, key: str) -> Setting:
    return values.flag(key)


def _whole(low: int, high: int) -> Reader:
    return lambda values, key: values.whole(key, low, high)


def _length(values: Values, key: str) -> Setting:
    return values.number(key, None, 0.0)


def _text(values: Values, key: str) -> Setting:
    return values.text(key) or ""


def _texts(values: Values, key: str) -> Setting:
    listed = values.table[key]
    if not isinstance(listed, list) or not all(isinstance(each, str) and each for each in listed):
        raise values.error(f"needs {key} to be a list of texts", f'as {key} = ["..."]')
    return tuple(listed)


def _one_of(*known: str) -> Reader:
    def read(values: Values, key: str) -> Setting:
        text = values.text(key)
        if text not in known:
            raise values.error(f"needs {key} to be one of: {', '.join(known)}")
        return text

    return read


KEYS: Mapping[str, Mapping[str, Reader]] = {
    "mend": {},
    "fit": {
        "level": _whole(0, 8), "reach_mm": _length, "free": _texts, "protect": _text, "relax": _flag,
        "any_size": _flag, "like_unit": _one_of(*MM_PER_UNIT), "pin": _texts, "click_mm": _length, "turn_over": _flag,
        "follow_all": _flag, "sculpt_unit": _one_of(*MM_PER_UNIT), "close_ups": _flag,
    },
    "carry": {
        "way": _one_of("gradient", "frame", "delta"), "contact": _flag,
        "amplitude": _one_of("auto", "library", "head"), "fitted_unit": _one_of(*MM_PER_UNIT),
    },
    "check": {"sweep": _whole(4, 201), "pairs": _flag},
    "bake": {
        "format": _one_of(*(each.removeprefix(".") for each in suffixes(writing=True))), "level": _whole(0, 8),
        "unit": _one_of(*MM_PER_UNIT), "name": _text, "steps": _whole(1, 100), "order_of": _text,
    },
    "sheet": {"view": _one_of(*VIEWS), "columns": _whole(1, 40)},
    "clip": {"names": _texts, "format": _one_of(*CLIP_FORMATS), "level": _whole(0, 8), "unit": _one_of(*MM_PER_UNIT)},
}  # fmt: skip
"""By step, in the order in which they run, each key and how its value is read."""
FILES = {("fit", "protect"), ("bake", "order_of")}
"""Settings that name a file, from the job's folder."""


def settings_of(values: Values, step: str) -> dict[str, Setting]:
    """The settings in one table of a step. Raises MoueError for an unknown key, with the nearest, and for a value out
    of range."""
    readers = KEYS[step]
    values.only(tuple(readers))
    return {key: readers[key](values, key) for key in values.table}
