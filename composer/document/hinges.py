"""The hinges of a document's shapes: read from the document, or estimated where it says "auto".

The first bake writes an estimate into the document (`settled`); from then on it is read from there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.document.mask_file import read_mask
from composer.document.project import Project
from composer.document.stored import file_of, free_place, stored_places
from composer.errors import MoueError
from composer.head.head import Head
from composer.mixing.hinge import Hinge
from composer.mixing.hinge_estimate import estimate_hinge, worthwhile
from composer.units import mm_per


@dataclass(frozen=True, eq=False)
class KnownHinges:
    """The hinges of an earlier state of a document on the same library."""

    project: Project
    head: Head
    hinges: dict[str, Hinge]

    def holds_for(self, project: Project, head: Head, name: str) -> bool:
        """Whether the known hinge of a shape is still valid: neither its table nor the shape changed."""
        said, earlier = project.shapes[name].get("hinge", "off"), self.project.shapes.get(name, {}).get("hinge", "off")
        if said != earlier or name not in self.head.shape_index:
            return False
        if self.head.shape(name).delta is not head.shape(name).delta:
            return False
        place = str(said["rigidity"]) if isinstance(said, Mapping) else ""
        return project.stored.get(place) is self.project.stored.get(place)


def hinges_of(project: Project, head: Head, known: KnownHinges | None = None) -> dict[str, Hinge]:
    """The hinge of each shape that has one; a hinge "auto" that explains too little is left out.

    Origins in the document are in the unit of the head's files. Hinges in `known` are reused, and the same mapping is
    returned where nothing changed. Raises MoueError for an unknown shape, or a rigidity of another length.
    """
    found: dict[str, Hinge] = {}
    for name, said in project.shapes.items():
        hinge = said.get("hinge", "off")
        if hinge == "off":
            continue
        shape = head.shape(name)
        if known is not None and known.holds_for(project, head, name):
            if name in known.hinges:
                found[name] = known.hinges[name]
            continue
        made = estimate_hinge(head.surface, shape.delta, name) if hinge == "auto" else _read(project, head, name, hinge)
        if hinge != "auto" or worthwhile(made):
            found[name] = made
    if known is not None and list(found.items()) == list(known.hinges.items()):
        return known.hinges
    return found


def _read(project: Project, head: Head, name: str, said: Mapping) -> Hinge:
    place = str(said["rigidity"])
    held = project.stored.get(place)
    rigidity = np.asarray(held if held is not None else read_mask(file_of(project, place)), dtype=np.float32)
    if len(rigidity) != head.n_vertices:
        what = f"the hinge of {name!r} has {len(rigidity)} rigidities, the head {head.n_vertices} vertices"
        raise MoueError(what, project.path)
    if not (np.isfinite(rigidity).all() and rigidity.min() >= 0.0 and rigidity.max() <= 1.0):
        raise MoueError(f"the hinge of {name!r} has rigidities outside [0, 1]", project.path)
    origin = np.asarray(said["origin"], dtype=np.float64) * mm_per(head.unit)
    angle = np.radians(float(said["angle_deg"]))
    return Hinge(np.asarray(said["axis"], dtype=np.float64), origin, angle, rigidity, float(said.get("explained", 1.0)))


def settled(project: Project, head: Head, hinges: Mapping[str, Hinge]) -> tuple[Project, dict[str, NDArray], list[str]]:
    """The project with every hinge "auto" written out, the rigidities to store, and a sentence on each.

    The same project where no hinge is "auto".
    """
    shapes, notes = dict(project.shapes), []
    stored: dict[str, NDArray] = {}
    for name, said in project.shapes.items():
        if said.get("hinge") != "auto":
            continue
        hinge = hinges.get(name)
        if hinge is None:
            shapes[name] = {**said, "hinge": "off"}
            notes.append(f"Shape {name!r} does not turn about a hinge; it moves in a straight line.")
            continue
        place = free_place(f"hinge_{name}", "masks", [*stored_places(project), *project.stored, *stored])
        stored[place] = hinge.rigidity
        shapes[name] = {**said, "hinge": {
            "axis": [round(float(v), 9) for v in hinge.axis],
            "origin": [round(float(v) / mm_per(head.unit), 9) for v in hinge.origin],
            "angle_deg": round(hinge.angle_deg, 9), "explained": round(hinge.explained, 6), "rigidity": place,
        }}  # fmt: skip
        explains = f"this explains {100 * hinge.explained:.1f} percent of its movement"
        notes.append(f"Shape {name!r} turns {abs(hinge.angle_deg):.1f} degrees; {explains}.")
    return (project.with_(shapes=shapes), stored, notes) if shapes != dict(project.shapes) else (project, {}, [])
