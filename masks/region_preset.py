"""What a preset of regions says: where each region's seeds lie on a face, how far they reach, and how wide the
ramps between them are. Plain data; a file is parsed elsewhere, masks/from_landmarks.py makes the masks.
"""

from __future__ import annotations

from dataclasses import dataclass

LEFT, RIGHT = "_left", "_right"
SIDES = (LEFT, RIGHT)


@dataclass(frozen=True)
class Seed:
    """Where a region grows from: landmark points (one, or several joined by a line along the surface), or the
    stretch `span` (from, to in [0, 1] of its length) of a curve; and how far it reaches from there, `radius_mm`.

    Several names in one entry of `points`, parted by `+`, mean the place midway between them. In a region that has
    sides, a name without a side means the landmark of that side, where there is one.
    """

    radius_mm: float
    points: tuple[str, ...] = ()
    curve: str = ""
    span: tuple[float, float] = (0.0, 1.0)


@dataclass(frozen=True)
class RegionPreset:
    """One region, or with `sides` "pair" a region for each side grown from that side's own seeds, or with "split" one
    grown as a whole and cut along the midline into its two halves.

    `loop` is a closed curve: the region is what it encloses. `lip` ("upper" or "lower") keeps the region off the
    other lip altogether. `ramp_mm` is the width of the ramps at its border, and at a border shared with another
    region the narrower of both is used.
    """

    name: str
    ramp_mm: float
    seeds: tuple[Seed, ...] = ()
    sides: str = ""
    loop: str = ""
    lip: str = ""
    words: str = ""

    @property
    def names(self) -> tuple[str, ...]:
        """The names of the regions that come of it."""
        return (self.name + LEFT, self.name + RIGHT) if self.sides else (self.name,)


@dataclass(frozen=True)
class RegionSet:
    """Regions that share a face. All lengths are for a face whose pupils are `interpupillary_mm` apart, and are
    scaled to the face at hand; `midline_ramp_mm` is the width over which split regions go over at the midline.
    """

    name: str
    regions: tuple[RegionPreset, ...]
    interpupillary_mm: float = 62.9
    midline_ramp_mm: float = 12.0
    interior_fade_mm: float = 12.0
    words: str = ""

    @property
    def names(self) -> tuple[str, ...]:
        """The names of all regions that come of it, in order."""
        return tuple(name for region in self.regions for name in region.names)
