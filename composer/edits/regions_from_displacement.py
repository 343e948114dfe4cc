"""Regions for a library from what moves together in its shapes."""

from __future__ import annotations

from typing import Any

from composer.document.masks_of import moving_regions
from composer.edits.region_sources import Asked
from composer.head.head import Head
from composer.head.region_names import region_names


def lay(head: Head, asked: Asked) -> tuple[dict[str, dict[str, Any]], list[str]]:
    """A table for each region, named by place where landmarks are known. Raises MoueError where nothing moves."""
    found = asked.found or moving_regions(head, asked.count)
    names = region_names(head, found.masks)
    tables = {names[name]: {"from": "displacement", "moves": name, "regions": asked.count} for name in found.masks}
    return tables, [f"The regions hold {100 * found.held:.0f} percent of the library's motion."]
