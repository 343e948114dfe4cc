"""From where on something counts as wrong. Every limit is common practice without a source unless said.

Lengths are millimetres on a head of adult size; `of` scales them with the head, so that a head ten times as
large is judged the same. Strains are parts of length (0.35 is 35 percent).
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

ADULT_DIAGONAL_MM = 330.0  # bounding box of an adult head with its neck, about


@dataclass(frozen=True)
class Limits:
    """The limits of all checks."""

    flipped_deg: float = 90.0  # a face that turned further than this points the other way
    fold_deg: float = 80.0  # between the normals of neighbours: less is no fold
    fold_excess_deg: float = 40.0  # sharper than at rest and in every shape alone
    fold_error_deg: float = 90.0
    stretch_warning: float = 0.35  # beyond what the recipe's own shapes do
    stretch_error: float = 1.0
    stretch_faces: int = 3  # a single sliver is no finding
    lips_warning_mm: float = 0.15
    lips_error_mm: float = 0.6
    lids_warning_mm: float = 0.10
    lids_error_mm: float = 0.5
    lids_gap_mm: float = 1.5  # further off the eyeball than at rest
    parts_warning_mm: float = 0.3  # teeth and tongue deeper in the skin than at rest
    parts_error_mm: float = 1.0
    leaves_warning_mm: float = 0.5  # what touches the skin at rest is further from it in the pose
    leaves_error_mm: float = 2.0
    jaw_warning_mm: float = 1.5  # between the jaw and what follows it
    jaw_error_mm: float = 5.0
    volume_warning: float = 0.25  # of the volume at rest, beyond every shape alone
    volume_error: float = 0.6
    uneven_mm: float = 0.5  # between the two sides, where the cells are alike
    seam_warning: float = 0.10  # 95th percentile of strain in excess on a ramp
    seam_error: float = 0.35
    seam_slope: float = 0.3  # mismatch over ramp width above which a wider ramp is advised
    empty_mm: float = 1e-3
    uncovered_mm: float = 1.0  # skin in no region that a shape moves this far
    pop_mm: float = 0.5  # a step of a sweep that jumps by this much more than its neighbours

    def of(self, diagonal_mm: float) -> Limits:
        """The same limits for a head of this diagonal in mm."""
        scale = diagonal_mm / ADULT_DIAGONAL_MM if diagonal_mm > 0.0 else 1.0
        lengths = {f.name: getattr(self, f.name) * scale for f in fields(self) if f.name.endswith("_mm")}
        return replace(self, **lengths)
