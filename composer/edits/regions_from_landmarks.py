"""Regions for a library from presets on its landmarks."""

from __future__ import annotations

from typing import Any

from composer.edits.region_sources import Asked
from composer.head.head import Head
from composer.head.presets import lay_regions, region_set


def lay(head: Head, asked: Asked) -> tuple[dict[str, dict[str, Any]], list[str]]:
    """A table for each region of the preset that the landmarks allow, and why others were left out.

    Raises MoueError for an unknown preset.
    """
    laid = lay_regions(head, region_set(asked.preset))
    notes = [*laid.notes, *(f"Region {name!r} was left out: {why}" for name, why in laid.left_out.items())]
    return {name: {"from": "landmarks", "preset": name} for name in laid.masks}, notes
