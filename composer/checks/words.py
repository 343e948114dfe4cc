"""How a person reads a finding: the title of its check, why it matters, and the names of places in plain words."""

from __future__ import annotations

import re
from collections.abc import Sequence

from composer.checks import clip_pops, pops
from composer.checks.finding import Finding
from composer.checks.registry import CHECKS, DOCUMENT_CHECKS

_SAID: dict[str, tuple[str, str]] = (
    {check.name: (check.title, check.why) for check in CHECKS}
    | {check.name: (check.title, check.why) for check in DOCUMENT_CHECKS}
    | {"contact": ("lips and lids that do not close", "a gap shows where the old head had none")}
    | {"sweep": (pops.TITLE, pops.WHY), "clip": (clip_pops.TITLE, clip_pops.WHY)}
    | {"pose": ("a pose without numbers", "it cannot be looked at or baked")}
)
_SIDE = re.compile(r"\b(\w+(?:_\w+)*)_(left|right)\b")


def title_of(finding: Finding) -> str:
    """The title of the check that found it."""
    name = finding.code.split(".")[0]
    return _SAID.get(name, (name, ""))[0]


def why_of(finding: Finding) -> str:
    """Why what it found matters."""
    return _SAID.get(finding.code.split(".")[0], ("", ""))[1]


def plain(name: str) -> str:
    """A place in plain words: `upper_lid_left` is "left upper lid", and "near cheilion_left" "near left cheilion"."""
    return _SIDE.sub(r"\2 \1", name).replace("_", " ")


def in_few_words(findings: Sequence[Finding]) -> str:
    """The worst finding in a few words, and how many more there are; notes do not count."""
    grave = sorted((finding for finding in findings if finding.severity != "note"), key=lambda finding: finding.rank)
    if not grave:
        return "nothing found"
    more = f", {len(grave) - 1} more" if len(grave) > 1 else ""
    return f"{title_of(grave[0])} {grave[0].measure}".strip() + more
