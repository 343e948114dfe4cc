"""The file of landmarks: TOML or JSON with one layout, with places on the library's head and on a sculpt.

    [points]
    pronasale = 1412                                # short: on the head
    stomion = [0.0, 1.2, 9.4]                       # a position, in the file's unit
    cheek_left = { triangle = [3, 4, 9], bary = [0.2, 0.3, 0.5] }
    [points.gnathion]                               # a pair: on the head and on the sculpt
    head = 77
    sculpt = [0.4, -12.9, 14.2]
    pinned = true                                   # a fit holds it there; without this it pulls
    [curves]
    lip_line_upper = [311, 312, 340]
    [curves.upper_lid_left]
    head = [311, 312, 340, 341]
    sculpt = [[31.0, 44.1, 96.0], [36.2, 45.0, 95.1]]
    [zones]                                         # painted for a fit: `composer.head.fit_zones`

Points may also stand at the top of the file, without `[points]`. Names are free; the anthropometric ones are
known to the presets. Vertices count from 0.
"""

from __future__ import annotations

import json
import math
import re
import tomllib
from pathlib import Path
from typing import Any, Literal

import numpy as np

from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.head.atomic import write_whole
from composer.head.fit_zones import TABLE, TOPOLOGY, FitZones, zones_of
from composer.head.places import Curve, Landmarks, Place, SurfacePoint, as_curve
from composer.head.reading import DAMAGE, text_of
from composer.head.toml_text import parse_toml

Side = Literal["head", "sculpt"]
SIZE_LIMIT = 64 * 2**20
"""The largest file in bytes; a safety limit."""


def read_landmarks(path: Path | str, mm_per_unit: float = 1.0, side: Side = "head") -> Landmarks:
    """The landmarks of one side of a file, with positions converted to mm by `mm_per_unit`.

    Raises MoueError with file and line where the file cannot be read or a place is malformed.
    """
    return read_landmark_pairs(path, mm_per_unit, mm_per_unit)[0 if side == "head" else 1]


def read_landmark_pairs(
    path: Path | str, head_mm_per_unit: float = 1.0, sculpt_mm_per_unit: float = 1.0
) -> tuple[Landmarks, Landmarks]:
    """Both sides of a file, (head, sculpt): each has the names with a place on it, positions in mm.

    Raises MoueError with file and line where the file cannot be read or a place is malformed.
    """
    path = Path(path)
    text = _text(path)
    table = _parse(text, path)
    _zone_table(table)
    reader = _Reader(text, path)
    points, curves = table.pop("points", {}), table.pop("curves", {})
    for name, section in (("points", points), ("curves", curves)):
        if not isinstance(section, dict):
            raise MoueError(f"{name} is not a table of names", path, reader.line(name))
    both = [name for name in table if name in points]
    if both:
        raise MoueError(f"landmark {both[0]!r} is there twice", path, reader.line(both[0]))
    points = {**table, **points}
    pinned = reader.pinned(points)
    sides: list[Landmarks] = []
    for side, mm in (("head", head_mm_per_unit), ("sculpt", sculpt_mm_per_unit)):
        sides.append(
            Landmarks(
                {n: reader.point(n, v, mm) for n, v in reader.of_side(points, side, "landmark")},
                {n: reader.curve(n, v, mm) for n, v in reader.of_side(curves, side, "curve")},
                pinned if side == "sculpt" else frozenset(),
            )
        )
    return sides[0], sides[1]


def read_zones(path: Path | str, polygons: Polygons) -> FitZones:
    """The zones of a fit that a file of landmarks holds, painted on the library's `polygons`; none where it holds none.

    Raises MoueError where the file cannot be read, or its zones lie on another topology.
    """
    path = Path(path)
    return zones_of(_zone_table(_parse(_text(path), path)), polygons, path)


def write_landmarks(
    path: Path | str,
    landmarks: Landmarks,
    sculpt: Landmarks | None = None,
    mm_per_unit: float = 1.0,
    sculpt_mm_per_unit: float = 1.0,
    zones: dict[str, Any] | None = None,
) -> None:
    """Write landmarks as TOML, or as JSON where `path` ends in .json; with `sculpt`, as pairs; with `zones`, the table
    that `FitZones.table` gives.

    Positions are divided by their `mm_per_unit` and keep all their digits. Raises MoueError where the file
    cannot be written.
    """
    path = Path(path)
    table: dict[str, dict[str, Any]] = {}
    for kind, encode in (("points", _place_out), ("curves", _curve_out)):
        section: dict[str, Any] = {}
        ours = getattr(landmarks, kind)
        theirs = getattr(sculpt, kind) if sculpt else {}
        for name in [*ours, *(n for n in theirs if n not in ours)]:
            here = {"head": encode(ours[name], mm_per_unit)} if name in ours else {}
            if name in theirs:
                here["sculpt"] = encode(theirs[name], sculpt_mm_per_unit)
                if kind == "points" and sculpt and name in sculpt.pinned:
                    here["pinned"] = True
            section[name] = here["head"] if list(here) == ["head"] else here
        table[kind] = section
    if zones:
        table[TABLE] = zones
    text = json.dumps(table, indent=1) + "\n" if path.suffix.lower() == ".json" else _toml(table)
    write_whole(path, lambda file: file.write(text.encode()))


def _zone_table(table: dict[str, Any]) -> dict[str, Any]:
    """The table of zones, taken out of a file's table; empty where there is none. A landmark may have that name."""
    zones = table.get(TABLE)
    return table.pop(TABLE) if isinstance(zones, dict) and TOPOLOGY in zones else {}


def _text(path: Path) -> str:
    try:
        return text_of(path, SIZE_LIMIT, "a file of landmarks")
    except UnicodeDecodeError:
        raise MoueError("is not text", path, hint="landmarks are TOML or JSON in UTF-8") from None


def _parse(text: str, path: Path) -> dict[str, Any]:
    try:
        if path.suffix.lower() == ".json":
            table = json.loads(text, object_pairs_hook=_no_doubles)
        else:
            table = parse_toml(text)
    except json.JSONDecodeError as error:
        raise MoueError(f"is not JSON: {error.msg}", path, error.lineno) from None
    except tomllib.TOMLDecodeError as error:
        place = re.search(r"\(at line (\d+)", str(error))
        words = re.sub(r"\s*\(at .*\)$", "", str(error))
        raise MoueError(f"is not TOML: {words}", path, int(place[1]) if place else None) from None
    except _Double as error:
        raise MoueError(f"{error.name!r} is there twice", path, _line(text, error.name)) from None
    except RecursionError:
        raise MoueError("is nested too deeply for a file of landmarks", path) from None
    except DAMAGE as error:  # a number of more digits than Python reads
        raise MoueError(f"cannot be read: {error}", path) from None
    if not isinstance(table, dict):
        raise MoueError("is no table of landmarks", path, 1)
    return table


class _Double(Exception):
    def __init__(self, name: str) -> None:
        self.name = name


def _no_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    table: dict[str, Any] = {}
    for name, value in pairs:
        if name in table:
            raise _Double(name)
        table[name] = value
    return table


def _line(text: str, name: str) -> int | None:
    """The last line, counted from 1, with a key or a table of this name."""
    pattern = re.compile(rf"(?:^|[\s{{,.\[\"']){re.escape(name)}[\"']?\s*(?:[.=:\]]|$)")
    found = [number for number, line in enumerate(text.splitlines(), 1) if pattern.search(line)]
    return found[-1] if found else None


class _Reader:
    """Converts values of the file to places, and finds the line of each name for errors."""

    def __init__(self, text: str, path: Path) -> None:
        self.text, self.path = text, path

    def line(self, name: str) -> int | None:
        return _line(self.text, name)

    def wrong(self, name: str, what: str) -> MoueError:
        return MoueError(
            f"landmark {name[:40]!r} {what}",
            self.path,
            self.line(name),
            hint="a place is a vertex, [x, y, z] or { triangle, bary }",
        )

    def of_side(self, section: dict[str, Any], side: str, kind: str) -> list[tuple[str, Any]]:
        out = []
        for name, value in section.items():
            if isinstance(value, dict) and ("head" in value or "sculpt" in value):
                known = ("head", "sculpt", "pinned") if kind == "landmark" else ("head", "sculpt")
                extra = [key for key in value if key not in known]
                if extra:
                    raise MoueError(
                        f"{kind} {name!r} has {extra[0]!r}",
                        self.path,
                        self.line(name),
                        hint=f"{', '.join(known[:-1])} and {known[-1]} are known",
                    )
                if side in value:
                    out.append((name, value[side]))
            elif side == "head":
                out.append((name, value))
        return out

    def pinned(self, points: dict[str, Any]) -> frozenset[str]:
        """The points that say `pinned = true`. Raises MoueError where it is neither true nor false, and where a pinned
        point has no place on the sculpt."""
        names = set()
        for name, value in points.items():
            if not isinstance(value, dict) or "pinned" not in value:
                continue
            if not isinstance(value["pinned"], bool):
                raise MoueError(
                    f"landmark {name[:40]!r} has a pinned that is neither true nor false", self.path, self.line(name)
                )
            if value["pinned"] and "sculpt" not in value:
                raise MoueError(
                    f"landmark {name[:40]!r} is pinned but has no place on the sculpt", self.path, self.line(name),
                    hint="give the place that it holds: { sculpt = ..., pinned = true }",
                )  # fmt: skip
            if value["pinned"]:
                names.add(name)
        return frozenset(names)

    def point(self, name: str, value: Any, mm_per_unit: float) -> Place:
        if _is_vertex(value):
            return int(value)
        if isinstance(value, list) and len(value) == 3 and all(map(_is_number, value)):
            x, y, z = (float(v) * mm_per_unit for v in value)
            return (x, y, z)
        if isinstance(value, dict) and set(value) == {"triangle", "bary"}:
            triangle, bary = value["triangle"], value["bary"]
            if not (isinstance(triangle, list) and len(triangle) == 3 and all(map(_is_vertex, triangle))):
                raise self.wrong(name, "has a triangle that is not three vertices")
            if not (isinstance(bary, list) and len(bary) == 3 and all(map(_is_number, bary))):
                raise self.wrong(name, "has a bary that is not three numbers")
            if abs(sum(bary) - 1.0) > 1e-6:
                raise self.wrong(name, "has a bary that does not sum to one")
            return SurfacePoint(
                (triangle[0], triangle[1], triangle[2]), (float(bary[0]), float(bary[1]), float(bary[2]))
            )
        raise self.wrong(name, "is no place")

    def curve(self, name: str, value: Any, mm_per_unit: float) -> Curve:
        if not isinstance(value, list) or not value:
            raise self.wrong(name, "is no list of places")
        return as_curve([self.point(name, place, mm_per_unit) for place in value])


def _is_vertex(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value < 2**31


def _is_number(value: Any) -> bool:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return False
    return abs(value) < 1e15 if isinstance(value, int) else math.isfinite(value)


def _place_out(place: Place, mm_per_unit: float) -> Any:
    if isinstance(place, SurfacePoint):
        return {"triangle": [int(v) for v in place.triangle], "bary": [float(b) for b in place.bary]}
    if isinstance(place, tuple):
        return [float(v) / mm_per_unit for v in place]
    return int(place)


def _curve_out(curve: Curve, mm_per_unit: float) -> Any:
    if isinstance(curve, np.ndarray):
        return curve.tolist()
    return [_place_out(place, mm_per_unit) for place in curve]


def _toml(table: dict[str, dict[str, Any]]) -> str:
    lines = ["# Landmarks: a place is a vertex counted from 0, [x, y, z], or a point of a triangle."]
    for kind, section in table.items():
        lines.append(f"\n[{kind}]")
        lines += [f"{_key(name)} = {_value(value)}" for name, value in section.items()]
    return "\n".join(lines) + "\n"


def _key(name: str) -> str:
    """A key in TOML: bare where allowed, else a quoted string (TOML 1.0, "Keys", "String")."""
    if re.fullmatch(r"[A-Za-z0-9_-]+", name):
        return name
    return json.dumps(name, ensure_ascii=False).replace("\x7f", "\\u007F")


def _value(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_value(inner)}" for key, inner in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_value(inner) for inner in value) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    return repr(value)
