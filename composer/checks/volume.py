"""Lips and cheeks that lose or gain volume, beyond what any of the recipe's shapes does alone.

Why it matters: flesh keeps its volume. A lip that thins when two movements meet on it looks drawn on, a cheek that
swells looks like a ball. The volume of a patch of skin is that of the cone from an apex to its triangles, sum of
(a - o) . ((b - o) x (c - o)) / 6: rigid motion leaves it, a uniform scale s gives s^3. A lip's apex is the middle of
its border. A cheek is a nearly flat patch: its apex lies below that middle, along the patch's mean normal, by the
radius of a disc of the patch's area at rest.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.checks.check import Check
from composer.checks.finding import Finding, Severity
from composer.checks.in_words import TWICE, fraction, multiple
from composer.checks.lips import lip_zones
from composer.checks.subject import CheckSubject
from composer.geometry.vectors import cross, dot, lengths

CHEEK = "cheek"  # regions with this in their names are cheeks
_WITHIN = 0.5  # where a cheek's mask is larger, it is the cheek


@dataclass(frozen=True, eq=False)
class Patch:
    """A patch of skin: triangles (t, 3), border vertices (b,), the apex's depth below their middle in mm, and the
    volume at rest in mm^3."""

    triangles: NDArray[np.int32]
    border: NDArray[np.int32]
    depth: float
    rest: float

    def volume(self, positions: NDArray) -> float:
        """mm^3 of the cone over the patch at `positions` (n, 3)."""
        return cone_volume(positions, self.triangles, self.border, self.depth)


def cone_volume(positions: NDArray, triangles: NDArray, border: NDArray, depth: float = 0.0) -> float:
    """mm^3 of the cone over `triangles` (t, 3) from an apex `depth` mm below the middle of `border` (b,)."""
    apex = positions[border].mean(axis=0)
    a, b, c = (positions[triangles[:, i]] - apex for i in range(3))
    if depth:
        normal = cross(b - a, c - a).sum(axis=0)
        below = depth * normal / max(float(np.linalg.norm(normal)), 1e-30)
        a, b, c = a + below, b + below, c + below
    return float(dot(a, cross(b, c)).sum()) / 6.0


def patch_of(neutral: NDArray, triangles: NDArray, flat: bool) -> Patch | None:
    """A patch of the neutral (n, 3); `flat` puts the apex below it. None where there is nothing to enclose."""
    if not len(triangles):
        return None
    ends = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    _, first, count = np.unique(np.sort(ends, axis=1), axis=0, return_index=True, return_counts=True)
    border = np.unique(ends[first[count == 1]])
    if not len(border):
        return None
    a, b, c = (neutral[triangles[:, i]] for i in range(3))
    area = 0.5 * float(lengths(cross(b - a, c - a)).sum())
    depth = float(np.sqrt(area / np.pi)) if flat else 0.0
    rest = cone_volume(neutral, triangles, border, depth)
    return Patch(triangles, border, depth, rest) if abs(rest) > 1e-9 * area**1.5 else None


def patches(subject: CheckSubject) -> dict[str, Patch]:
    """The patches of a head by name: both lips where their lines are known, and every region named as a cheek."""
    facts = subject.facts
    neutral = facts.head.neutral

    def lips() -> dict[str, Patch]:
        zones = lip_zones(facts)
        if isinstance(zones, str):
            return {}
        each = {"upper lip": zones.upper, "lower lip": zones.lower}
        made = {name: patch_of(neutral, triangles, flat=False) for name, triangles in each.items()}
        return {name: patch for name, patch in made.items() if patch is not None}

    found = dict(facts.kept("lip volumes", facts.head, lips))
    for region, mask in subject.masks.items():
        if CHEEK not in region.lower():
            continue

        def cheek(mask: NDArray = mask) -> Patch | None:
            inner = facts.triangles[(mask > _WITHIN)[facts.triangles].all(axis=1)]
            return patch_of(neutral, inner, flat=True)

        patch = facts.kept(("volume", region), mask, cheek)
        if patch is not None:
            found[region] = patch
    return found


def _run(subject: CheckSubject) -> Iterator[Finding]:
    limits = subject.limits
    for name, patch in patches(subject).items():
        vertices = np.unique(patch.triangles)
        if not subject.movement[vertices].any():
            continue
        now = patch.volume(subject.pose) / patch.rest
        if abs(now - 1.0) <= limits.volume_warning:
            continue
        alone = [1.0]
        for source in subject.sources:
            if source.moves[vertices].any():
                alone.append(patch.volume(subject.head.neutral + source.delta) / patch.rest)
        more = max(now - max(alone), min(alone) - now)
        if more <= limits.volume_warning:
            continue
        severity: Severity = "error" if more > limits.volume_error else "warning"
        gains = now > 1.0
        yield Finding(
            code="volume.gain" if gains else "volume.loss",
            severity=severity,
            words=f"{name} {_change(now)}, {_share(more)} more than with any shape alone",
            hint="lower the cells that add up there, or sculpt a corrective that "
            f"{'thins' if gains else 'fills'} it",
            vertices=vertices.astype(np.int32),
            value=more * 100.0,
            unit="percent",
            where=name,
        )


def _change(now: float) -> str:
    """A volume of `now` times that at rest, in words."""
    if now > TWICE:
        return f"swells to {multiple(now)} its volume"
    return f"{'gains' if now > 1.0 else 'loses'} {_share(abs(now - 1.0))} of its volume"


def _share(part: float) -> str:
    return f"{multiple(part)} it" if part > TWICE else "all" if part > 0.95 else fraction(part)


VOLUME = Check("volume", "volume of lips and cheeks", "flesh keeps its volume", _run)
