"""The sources of a region's mask: each is registered here once, for documents, commands and the window.

To add one, write its `mask` (and `lay`, if it can make the regions of a whole head), and add it to SOURCES. The code
that makes masks is imported at its first use, so that a command's help does not wait for it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from composer.errors import MoueError, unknown

if TYPE_CHECKING:
    from pathlib import Path

    import numpy as np
    from numpy.typing import NDArray

    from composer.document.masks_of import MaskSources
    from composer.document.project import Region
    from composer.document.values import Values
    from composer.head.head import Head
    from composer.head.places import SurfacePoint
    from masks.from_displacement import MovingRegions

    Floats = NDArray[np.float64]

MOVING_REGIONS = 16
"""The default number of regions to find from displacement. A design choice, no source."""
SOFTNESS = 0.1, 10.0
"""The range of `softness`, the width of borders of regions from displacement; 1 is the motion's own falloff."""
UNCERTAIN_TOLD = 5
"""A note lists this many shapes and counts the others."""
RAMP = "ramp_mm"
"""The key for the softness of a region of any source: the width of the ramp at its border, mm. Sources that list it
among their keys make the ramp themselves; the masks of the others get it afterwards."""
COARSE = "coarse"
"""The key that says that a large head's regions are made on its coarser level: documents that do not say so keep the
masks that they have."""
Laid = tuple[dict[str, dict[str, Any]], list[str]]
"""The source of each region by its name, and notes on regions that were left out."""


@dataclass(frozen=True)
class Laying:
    """Options for making the regions of a whole head: the `preset` for landmarks, the `count` of regions to find from
    displacement, the width `ramp_mm` of the borders of groups, regions already `found` from displacement, and the
    `softness` of their borders."""

    preset: str = "face"
    count: int = MOVING_REGIONS
    ramp_mm: float = 8.0
    found: MovingRegions | None = None
    softness: float = 1.0


@dataclass(frozen=True)
class RegionSource:
    """One source: its `name` (the document's `from`), its other `keys`, and the function that makes its `mask`.

    `named_by` is the key whose default is the region's own name. `lay` makes the regions of a whole head; commands and
    the window call it by the word `lays`, which is empty where there is no `lay`. `needs` is what a head must have for
    it. With `wants_marks`, landmarks are first found on a head without any; with `keeps_marks`, the document stores
    them.
    """

    name: str
    keys: tuple[str, ...]
    mask: Callable[[MaskSources, Region, Values], Floats]
    named_by: str = ""
    lays: str = ""
    lay: Callable[[Head, Laying], Laid] | None = None
    needs: str = ""
    wants_marks: bool = False
    keeps_marks: bool = False


def faces_of(head: Head, group: str | None, material: str | None, path: Path) -> NDArray[np.int32]:
    """The polygons of a group, or of a material. Raises MoueError with the nearest names where there is none."""
    kind, name, known = ("material", material, head.materials) if group is None else ("group", group, head.groups)
    if name not in known:
        raise unknown(kind, str(name), list(known), path)
    return known[str(name)]


def _landmarks(sources: MaskSources, region: Region, said: Values) -> Floats:
    masks, name = sources.laid(said.text("preset") or region.name, said.flag(COARSE))
    if name not in masks:
        raise MoueError(sources.why_left_out(name), sources.project.path)
    return masks[name]


def _lay_landmarks(head: Head, how: Laying) -> Laid:
    from composer.head.presets import lay_regions, region_set

    laid = lay_regions(head, region_set(how.preset))
    notes = [*laid.notes, *(f"Left out: {why}." for why in laid.left_out.values())]
    return {name: {"from": LANDMARKS.name, "preset": name} for name in laid.masks}, notes


def _displacement(sources: MaskSources, region: Region, said: Values) -> Floats:
    count = said.whole("regions", 1, 1000) if "regions" in said.table else 12
    masks = sources.moving(count, said.number("softness", 1.0, *SOFTNESS), said.flag(COARSE)).masks
    wanted = said.text("moves") or region.name
    if wanted not in masks:
        raise unknown("region that moves together", wanted, masks, sources.project.path)
    return masks[wanted]


def _lay_displacement(head: Head, how: Laying) -> Laid:
    from composer.document.masks_of import moving_regions
    from composer.head.region_names import region_names

    found = how.found or moving_regions(head, how.count, softness=how.softness)
    names = region_names(head, found.masks)
    said = {"from": DISPLACEMENT.name, "regions": how.count}
    said |= {"softness": how.softness} if how.softness != 1.0 else {}
    return {names[name]: {**said, "moves": name} for name in found.masks}, _moving_notes(head, found)


def _moving_notes(head: Head, found: MovingRegions) -> list[str]:
    """What there is to say of regions from displacement."""
    notes = [f"The regions hold {100 * found.held:.0f} percent of what the library moves on the skin."]
    if found.uncertain:
        names = [head.shapes[i].name for i in found.uncertain]
        told = ", ".join(names[:UNCERTAIN_TOLD]) + (", ..." if len(names) > UNCERTAIN_TOLD else "")
        which = f"{len(names)} of {len(head.shapes)} shapes ({told})"
        notes.append(f"Hardly any skin keeps still in {which}: how far the head itself moved in them is a guess.")
    return notes


def _group(sources: MaskSources, region: Region, said: Values) -> Floats:
    from masks.from_groups import from_faces

    name, material = said.text("group"), said.text("material")
    if (name is None) == (material is None):
        raise said.error("names no group", 'add group = "..." or material = "..."')
    faces = faces_of(sources.head, name, material, sources.project.path)
    return from_faces(sources.head.surface, faces, _ramp(said))


def _lay_groups(head: Head, how: Laying) -> Laid:
    if not 0.0 <= how.ramp_mm <= 1000.0:
        raise MoueError(f"borders {how.ramp_mm} mm wide cannot be laid", hint="give 0 to 1000 mm")
    laid: dict[str, dict[str, Any]] = {}
    for key, faces in (("group", head.groups), ("material", head.materials)):
        for name in faces:
            laid.setdefault(_plain(str(name)), {"from": GROUP.name, key: str(name), "ramp_mm": how.ramp_mm})
    return laid, []


def _plain(name: str) -> str:
    """A group's or material's name as a region's name, without characters that no file name may have."""
    return re.sub(r'[/\\:*?"<>|]+', "_", name).strip(" .") or "group"


def _component(sources: MaskSources, region: Region, said: Values) -> Floats:
    from masks.from_groups import from_component

    return from_component(sources.head.surface, said.whole("component", 0))


def _vertices(sources: MaskSources, region: Region, said: Values) -> Floats:
    import numpy as np

    from masks.from_groups import from_vertices

    return from_vertices(sources.head.surface, np.asarray(said.ranges("vertices"), dtype=np.int64), _ramp(said))


def _loop(sources: MaskSources, region: Region, said: Values) -> Floats:
    import numpy as np

    from masks.from_loops import from_loop

    inside = said.whole("inside", 0) if "inside" in said.table else None
    return from_loop(sources.head.surface, np.asarray(said.wholes("loop"), dtype=np.int64), inside, _ramp(said))


def _spot(sources: MaskSources, region: Region, said: Values) -> Floats:
    from composer.head.spots import spot_on

    return spot_on(sources.head, spot_place(said, sources.head.n_vertices), said.number("radius_mm", None, 0.1, 1000.0))


def spot_place(said: Values, n_vertices: int) -> SurfacePoint:
    """The place of a spot, a point on a triangle of the head. Raises MoueError where it is none."""
    from composer.head.places import SurfacePoint

    triangle, bary = said.wholes("triangle"), said.three("bary")
    if len(triangle) != 3 or not all(0 <= v < n_vertices for v in triangle) or abs(sum(bary) - 1.0) > 1e-6:
        raise said.error("names no place on this head", "triangle is three vertices, bary three weights that sum to 1")
    return SurfacePoint((triangle[0], triangle[1], triangle[2]), (bary[0], bary[1], bary[2]))


def _image(sources: MaskSources, region: Region, said: Values) -> Floats:
    from composer.document.mask_file import read_picture
    from masks.from_image import from_image

    head = sources.head
    if head.uv is None:
        raise MoueError("the head has no texture coordinates", sources.project.path)
    mask, placed = from_image(head.polygons, read_picture(sources.beside(said)), head.uv.uv, head.uv.indices)
    sources.unplaced(region, int((~placed).sum()))
    return mask


def _file(sources: MaskSources, region: Region, said: Values) -> Floats:
    import numpy as np

    from composer.document.mask_file import read_mask

    held = sources.stored(region)
    return np.asarray(held) if held is not None else read_mask(sources.beside(said))


def _ramp(said: Values) -> float:
    return said.number("ramp_mm", 0.0, 0.0, 1000.0)


LANDMARKS = RegionSource(
    "landmarks", ("preset", COARSE), _landmarks, "preset", "landmarks", _lay_landmarks, "landmarks",
    wants_marks=True, keeps_marks=True,
)  # fmt: skip
DISPLACEMENT = RegionSource(
    "displacement", ("moves", "regions", "softness", COARSE), _displacement, "moves", "displacement",
    _lay_displacement, "displacement", wants_marks=True,
)  # fmt: skip
GROUP = RegionSource(
    "group", ("group", "material", "ramp_mm"), _group, "", "groups", _lay_groups, "groups or materials"
)
SPOT = RegionSource("spot", ("triangle", "bary", "radius_mm"), _spot)
SOURCES: Mapping[str, RegionSource] = {
    source.name: source
    for source in (
        LANDMARKS,
        DISPLACEMENT,
        GROUP,
        RegionSource("component", ("component",), _component),
        RegionSource("vertices", ("vertices", "ramp_mm"), _vertices),
        RegionSource("loop", ("loop", "inside", "ramp_mm"), _loop),
        SPOT,
        RegionSource("image", ("file",), _image),
        RegionSource("file", ("file",), _file),
    )
}
LAYERS: Mapping[str, RegionSource] = {source.lays: source for source in SOURCES.values() if source.lay is not None}
"""The sources that can make the regions of a whole head, by the word `lays`."""


def source_of(region: Region, path: Path) -> RegionSource:
    """The source of a region. Raises MoueError, with the nearest names, for one that is not registered."""
    name = region.source.get("from")
    if name not in SOURCES:
        raise unknown("source of masks", str(name), SOURCES, path)
    return SOURCES[str(name)]
