"""Zones of a fit that a person has painted on the library's head, kept in the file of its landmarks.

    [zones]
    topology = "..."                                # the fingerprint of the library's polygons
    form = { vertices = [311, 312], amounts = [1.0, 0.5] }

`form` are places that keep the library's form instead of following the sculpt, `still` places that stay where they are.
A zone is (n,) in [0, 1] in memory; the file lists the vertices above 0. Vertices count from 0.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.geometry.polygons import Polygons, read_only
from composer.head.fingerprint import fingerprint

TABLE, TOPOLOGY = "zones", "topology"
KINDS = ("form", "still")
DIGITS = 3
"""Digits of an amount in the file: far below what an eye sees of it."""
Zone = NDArray[np.float64] | None


@dataclass(frozen=True, eq=False)
class FitZones:
    """`form` and `still`, each (n,) in [0, 1] or None where nothing is painted."""

    form: Zone = None
    still: Zone = None

    def with_(self, kind: str, values: NDArray) -> FitZones:
        """The same with one zone ("form" or "still") replaced by `values` (n,); all zero counts as nothing."""
        zones = {name: getattr(self, name) for name in KINDS}
        amounts = np.clip(np.round(np.asarray(values, dtype=np.float64), DIGITS), 0.0, 1.0)
        zones[kind] = read_only(amounts) if amounts.any() else None
        return FitZones(**zones)

    def same_as(self, other: FitZones) -> bool:
        """Whether both hold the same amounts."""
        return all(_same(getattr(self, name), getattr(other, name)) for name in KINDS)

    def __bool__(self) -> bool:
        return self.form is not None or self.still is not None

    def table(self, polygons: Polygons) -> dict[str, Any]:
        """The file's table of these zones on the library's polygons; empty where nothing is painted."""
        if not self:
            return {}
        table: dict[str, Any] = {TOPOLOGY: fingerprint(polygons)}
        for name in KINDS:
            zone = getattr(self, name)
            if zone is not None:
                at = np.flatnonzero(zone)
                table[name] = {"vertices": at.tolist(), "amounts": np.round(zone[at], DIGITS).tolist()}
        return table


def zones_of(table: Mapping[str, Any], polygons: Polygons, where: Path | str) -> FitZones:
    """The zones that a file's table holds. Raises MoueError, naming `where`, for zones of another topology and for
    vertices or amounts that are none."""
    if not table:
        return FitZones()
    if table.get(TOPOLOGY) != fingerprint(polygons):
        raise MoueError("has zones painted on another topology", where, hint="remove its [zones] and paint them anew")
    zones = FitZones()
    for name in KINDS:
        if name in table:
            zones = zones.with_(name, _values(table[name], polygons.n_vertices, name, where))
    return zones


def _values(entry: Any, n: int, name: str, where: Path | str) -> NDArray[np.float64]:
    wrong = MoueError(f"zone {name!r} is no list of vertices with their amounts", where)
    if not isinstance(entry, dict) or set(entry) != {"vertices", "amounts"}:
        raise wrong
    at, amounts = entry["vertices"], entry["amounts"]
    if not (isinstance(at, list) and isinstance(amounts, list) and len(at) == len(amounts)):
        raise wrong
    whole = all(type(v) is int and 0 <= v < n for v in at)
    if not whole or not all(type(a) in (int, float) and 0.0 <= a <= 1.0 for a in amounts):
        raise wrong
    values = np.zeros(n)
    values[np.array(at, dtype=np.int64)] = amounts
    return values


def _same(one: Zone, other: Zone) -> bool:
    return (one is None and other is None) or (one is not None and other is not None and np.array_equal(one, other))
