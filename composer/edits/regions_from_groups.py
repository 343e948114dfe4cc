"""Regions for a library from its face groups and its materials."""

from __future__ import annotations

import re
from typing import Any

from composer.edits.region_sources import Asked
from composer.head.head import Head


def lay(head: Head, asked: Asked) -> tuple[dict[str, dict[str, Any]], list[str]]:
    """A table for each group, and for each material whose name no group has."""
    tables: dict[str, dict[str, Any]] = {}
    for key, faces in (("group", head.groups), ("material", head.materials)):
        for name in faces:
            tables.setdefault(_plain(str(name)), {"from": "group", key: str(name), "ramp_mm": asked.ramp_mm})
    return tables, []


def _plain(name: str) -> str:
    """A group's or material's name as a region may bear it: without what no file's name holds."""
    return re.sub(r'[/\\:*?"<>|]+', "_", name).strip(" .") or "group"
