"""JSON as every command writes it."""

from __future__ import annotations

import json

from composer.errors import visible


def json_text(report: object) -> str:
    """`report` as JSON, in UTF-8 when it is written; control characters in names become escapes, so that a reader gets
    the same name."""
    return visible(json.dumps(report, indent=2, ensure_ascii=False), keep="\n") + "\n"
