"""Regions for a library from its face groups."""

from __future__ import annotations

from typing import Any

from composer.edits.region_sources import Asked
from composer.head.head import Head


def lay(head: Head, asked: Asked) -> tuple[dict[str, dict[str, Any]], list[str]]:
    """A table for each group."""
    return {name: {"from": "group", "group": name, "ramp_mm": asked.ramp_mm} for name in head.groups}, []
