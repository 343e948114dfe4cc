"""Presets of regions: found in an installed Moue or a checkout, read from TOML, and applied to a head.

presets/regions/face.toml shows the layout of a file; the file's name is the preset's.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError, nearest, unknown
from composer.head.coarse_head import CoarseHead, coarse_head
from composer.head.head import Head
from composer.head.landmarks import Landmarks
from composer.head.reading import DAMAGE
from composer.head.toml_text import parse_toml
from masks.region_preset import RegionPreset, RegionSet, Seed

if TYPE_CHECKING:
    from masks.from_landmarks import LandmarkRegions

FINE = "face"
MOST_BYTES = 16 * 2**20
"""The largest preset file in bytes; a safety limit, a thousand times the size of Moue's own."""
SIDES = ("", "pair", "split")
LIPS = ("", "upper", "lower")
SET_KEYS = ("words", "interpupillary_mm", "midline_ramp_mm", "interior_fade_mm", "regions")
REGION_KEYS = ("words", "sides", "ramp_mm", "loop", "lip", "seeds")
SEED_KEYS = ("points", "curve", "span", "radius_mm")


def preset_folder(kind: str = "regions") -> Traversable:
    """The folder of presets of one kind, such as regions or places. Raises MoueError where it is missing."""
    beside = Path(__file__).resolve().parents[2] / "presets" / kind
    if beside.is_dir():
        return beside
    for package in ("composer", "presets"):
        try:
            root = files(package)
        except ModuleNotFoundError:
            continue
        folder = root / "presets" / kind if package == "composer" else root / kind
        if folder.is_dir():
            return folder
    raise MoueError(f"the presets of {kind} are missing from this installation", hint="install Moue again")


def region_set_names() -> list[str]:
    """Names of the presets of regions: the fine set first, then by name."""
    names = sorted(item.name[:-5] for item in preset_folder().iterdir() if item.name.endswith(".toml"))
    return sorted(names, key=lambda name: (name != FINE, name))


@cache
def region_set(name: str = FINE) -> RegionSet:
    """The preset of regions of this name. Raises MoueError for an unknown name or a faulty file."""
    if name not in region_set_names():
        raise unknown("preset of regions", name, region_set_names())
    file = preset_folder() / f"{name}.toml"
    return parse_region_set(file.read_text(encoding="utf-8"), name, str(file))


@cache
def place_set() -> RegionSet:
    """Where the places of a face lie, by anatomy: regions are named by it. MoueError where its file is wrong."""
    file = preset_folder("places") / f"{FINE}.toml"
    return parse_region_set(file.read_text(encoding="utf-8"), "places", str(file))


def region_preset(region: str) -> tuple[RegionSet, str]:
    """The first preset with a region of this name, the fine set first. Raises MoueError for an unknown name."""
    known: list[str] = []
    for name in region_set_names():
        preset = region_set(name)
        if region in preset.names:
            return preset, region
        known += preset.names
    raise unknown("region in the presets", region, dict.fromkeys(known))


def parse_region_set(text: str, name: str, where: str | None = None) -> RegionSet:
    """A preset from the text of its file. Raises MoueError with the fault and its region."""
    try:
        data = parse_toml(text)
    except tomllib.TOMLDecodeError as error:
        raise MoueError(f"not valid TOML: {error}", where) from error
    except DAMAGE as error:  # a number of more digits than Python reads, tables too deep
        raise MoueError(f"cannot be read ({type(error).__name__})", where) from error
    _known_keys(data, SET_KEYS, "the preset", where)
    regions = data.get("regions", {})
    if not isinstance(regions, dict) or not regions:
        raise MoueError("the preset holds no region", where, hint="add a table [regions.NAME]")
    parsed = tuple(_region(key, value, where) for key, value in regions.items())
    made = [one for region in parsed for one in region.names]
    if len(set(made)) != len(made):
        twice = next(one for one in made if made.count(one) > 1)
        raise MoueError(f"two regions would be named {twice!r}", where)
    return RegionSet(
        name,
        parsed,
        _length(data, "interpupillary_mm", 62.9, "the preset", where),
        _length(data, "midline_ramp_mm", 12.0, "the preset", where, zero=True),
        _length(data, "interior_fade_mm", 12.0, "the preset", where, zero=True),
        str(data.get("words", "")),
    )


def _region(name: str, value: Any, where: str | None) -> RegionPreset:
    place = f"region {name!r}"
    if not isinstance(value, dict):
        raise MoueError(f"{place} is not a table", where)
    _known_keys(value, REGION_KEYS, place, where)
    sides, lip = value.get("sides", ""), value.get("lip", "")
    if sides not in SIDES or lip not in LIPS:
        raise MoueError(f"{place} has sides {sides!r} and lip {lip!r}", where, hint="sides: pair or split")
    listed = value.get("seeds", [])
    if not isinstance(listed, list) or not (listed or value.get("loop")):
        raise MoueError(f"{place} has neither seeds nor a loop", where)
    ramp_mm = _length(value, "ramp_mm", 10.0, place, where)
    seeds = tuple(_seed(seed, place, where) for seed in listed)
    return RegionPreset(name, ramp_mm, seeds, sides, str(value.get("loop", "")), lip, str(value.get("words", "")))


def _seed(value: Any, place: str, where: str | None) -> Seed:
    if not isinstance(value, dict):
        raise MoueError(f"a seed of {place} is not a table", where)
    _known_keys(value, SEED_KEYS, f"a seed of {place}", where)
    points = value.get("points", [])
    curve = value.get("curve", "")
    span = value.get("span", [0.0, 1.0])
    if not isinstance(points, list) or not all(isinstance(one, str) for one in points) or not isinstance(curve, str):
        raise MoueError(f"a seed of {place} must name its points or its curve", where)
    if bool(points) == bool(curve):
        raise MoueError(f"a seed of {place} has points or a curve, one of the two", where)
    numbers = isinstance(span, list) and len(span) == 2 and all(isinstance(x, (int, float)) for x in span)
    if not numbers or not 0 <= span[0] <= span[1] <= 1:
        raise MoueError(f"a seed of {place} has the span {span}", where, hint="two numbers from 0 to 1, in order")
    radius_mm = _length(value, "radius_mm", None, f"a seed of {place}", where)
    return Seed(radius_mm, tuple(points), curve, (float(span[0]), float(span[1])))


def _known_keys(table: Mapping[str, Any], known: tuple[str, ...], place: str, where: str | None) -> None:
    for key in table:
        if key not in known:
            raise MoueError(f"{place} has an unknown entry {key!r}", where, hint=nearest(key, known))


def _length(
    table: Mapping[str, Any], key: str, default: float | None, place: str, where: str | None, zero: bool = False
) -> float:
    value = table.get(key, default)
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if not number or not (value > 0 or (zero and value == 0)) or value == float("inf"):
        raise MoueError(f"{place} needs {key} in mm, above zero; it has {value!r}", where)
    return float(value)


def landmark_arrays(
    landmarks: Landmarks, neutral: NDArray
) -> tuple[dict[str, NDArray[np.float64]], dict[str, NDArray]]:
    """Landmarks as arrays for masks: positions (3,) mm by name, and curves as vertices (k,) or positions (k, 3)."""
    points = {name: landmarks.position(name, neutral) for name in landmarks.points}
    curves = {
        name: curve if isinstance(curve, np.ndarray) else landmarks.curve_positions(name, neutral)
        for name, curve in landmarks.curves.items()
    }
    return points, curves


def lay_regions(
    head: Head, preset: RegionSet, landmarks: Landmarks | None = None, coarse: bool = False
) -> LandmarkRegions:
    """A preset's regions on a head, from its landmarks or the given ones: masks, and why others were left out.

    With `coarse` a large head's are laid on its coarser level and lifted. The last two are kept with the head's
    surface, read-only, for a library that is laid and then opened. Raises MoueError where there are no landmarks.
    """
    from composer.errors import MoueError
    from masks.from_landmarks import from_landmarks

    known = landmarks or head.landmarks
    if not known:
        raise MoueError(
            f"head {head.name!r} has no landmarks",
            head.path,
            hint="put landmarks.toml beside its files, or take --from displacement or groups",
        )
    level = coarse_head(head) if coarse else None
    kept: list[tuple[RegionSet, Landmarks, NDArray, bool, LandmarkRegions]]
    kept = vars(head.surface).setdefault("laid", [])
    for of, by, skin, lifted, laid in kept:
        same = of is preset and lifted is (level is not None) and np.array_equal(skin, head.skin)
        if same and (by is known or by == known):
            return laid
    if level is not None:
        laid = _laid_coarse(level, preset, known)
        kept[:] = [*kept[-1:], (preset, known, head.skin, True, laid)]
        return laid
    points, curves = landmark_arrays(known.check(head.n_vertices, head.path), head.neutral)
    try:
        laid = from_landmarks(head.surface, preset, points, curves, head.skin)
    except MoueError as error:
        raise MoueError(str(error), head.path) from error
    for mask in laid.masks.values():
        mask.setflags(write=False)
    kept[:] = [*kept[-1:], (preset, known, head.skin, False, laid)]
    return laid


def _laid_coarse(level: CoarseHead, preset: RegionSet, landmarks: Landmarks) -> LandmarkRegions:
    """A preset's regions on a large head, laid on its coarser level and lifted: they still share to at most one."""
    laid = lay_regions(level.head, preset, level.landmarks_down(landmarks))
    masks = dict(zip(laid.masks, level.level.shares_up(list(laid.masks.values())), strict=True))
    for mask in masks.values():
        mask.setflags(write=False)
    return replace(laid, masks=masks)
