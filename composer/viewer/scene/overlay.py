"""What is laid over the head: colours of regions, heat of a mask, of strain, of movement, of the way from A to B.

Colours are computed again only where what they show has changed. Strain is slow to compute: while something is
dragged it waits until the pose stands still.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from composer.picture.heat import Scale, mask_scale, movement, movement_scale, signed_strain, signed_strain_scale
from composer.picture.regions import region_colours
from composer.viewer.session.same_key import same_key
from composer.viewer.session.stage import Stage
from composer.viewer.session.trying import Trying

Bytes = NDArray[np.uint8]
LEAST_MM = 0.1
"""The top of a scale of movement is at least this: the rounding of a head at rest is no movement."""

LEGENDS = {
    "percent more": "more than the shapes do", "percent": "of the whole", "mm": "how far", "degrees": "how sharp"
}  # fmt: skip
UNITS = {"percent more": "%", "percent": "%", "mm": "mm", "degrees": "°"}
"""The words over the legend of a finding, and the unit beside its numbers, by the unit of the finding."""


@dataclass
class Shown:
    """The colours (n, 4) uint8 now laid over, their legend, where region numbers go (window
    points), and plain colours (sRGB, 0 to 255) with the words for them."""

    cover: Bytes | None = None
    legend: Scale | None = None
    numbers: dict[str, tuple[float, float]] = field(default_factory=dict)
    swatches: tuple[tuple[tuple[int, int, int], str], ...] = ()


class Overlays:
    """Colours over the head of one window."""

    def __init__(self) -> None:
        self._key: tuple = ()
        self._shown = Shown()
        self._heat: tuple[NDArray, Bytes] | None = None

    def of(self, stage: Stage, trying: Trying, still: bool, raw: NDArray | None = None) -> Shown:
        """What the stage wants laid over; `raw` (n,) a mask that is being painted, shown in place of the chosen one."""
        session, kind = stage.session, stage.overlay
        if session is None:
            return Shown()
        if stage.place == "paint" and kind in ("none", "mask"):
            kind = "mask"
        if stage.finding is not None and stage.place == "mix":
            return self._found(stage)
        if kind in ("none", "skin"):
            self._key, self._shown = (), Shown()
            return self._shown
        moving = kind in ("strain", "movement", "difference", "left")
        if moving and not still and self._key and self._key[0] == kind and kind == "strain":
            return self._shown
        masks = session.evaluated.effective
        signs = session.signs if kind == "regions" else None
        key = (kind, masks, signs, session.region, session.version if moving else 0, session, raw, session.target,
               trying.a, trying.b)  # fmt: skip
        if not same_key(self._key, key):
            self._key, self._shown = key, self._made(stage, trying, kind, raw)
        if kind == "regions":
            self._place_numbers(stage)
        return self._shown

    def _found(self, stage: Stage) -> Shown:
        """Where a finding is, as heat by how bad each place is."""
        finding, session = stage.finding, stage.opened
        assert finding is not None
        key = ("finding", finding)
        if not same_key(self._key, key):
            amounts = np.zeros(session.head.n_vertices)
            bad = np.ones(len(finding.vertices)) if finding.amounts is None else np.abs(finding.amounts)
            amounts[finding.vertices] = bad
            top = float(bad.max(initial=0.0)) or 1.0
            around = session.head.polygons.adjacency
            spread = np.maximum(amounts, 0.5 * np.asarray((around > 0) @ amounts > 0, dtype=np.float64) * 0.2 * top)
            scale = Scale(LEGENDS.get(finding.unit, finding.unit or "how many"), UNITS.get(finding.unit, ""), 0.0, top)
            self._key, self._shown = key, Shown(as_bytes(scale.colours(spread)), scale)
        return self._shown

    def _made(self, stage: Stage, trying: Trying, kind: str, raw: NDArray | None) -> Shown:
        session = stage.opened
        head = session.head
        if kind == "regions":
            masks = {r.name: session.evaluated.effective[r.name] for r in session.project.regions}
            hues = {name: sign.hue for name, sign in session.signs.items()}
            return Shown(as_bytes(_skin_only(region_colours(masks, hues), session.head.skin))) if masks else Shown()
        if kind == "mask":
            mask = raw if raw is not None else session.evaluated.effective.get(session.region)
            if mask is None:
                return Shown(None, mask_scale())
            return Shown(self._heat_of(mask), Scale(f"mask of {session.region}", "", 0.0, 1.0))
        if kind == "strain":
            amounts = signed_strain(head.neutral, session.positions(), head.polygons.triangles)
            scale = signed_strain_scale(amounts[head.skin])
        elif kind == "movement":
            amounts = movement(head.neutral, session.positions())
            scale = movement_scale(amounts)
        elif kind == "left":
            if session.target is None:
                stage.overlay = "none"
                return Shown()
            amounts = movement(session.target, session.positions())
            held = movement_scale(amounts)
            scale = Scale("to the target", "mm", held.low, held.high)
        else:
            compared: list[NDArray | None] = [None]
            refused = not stage.guard(lambda: compared.append(trying.difference_mm(session)))
            away = compared[-1]
            if away is None:
                if not refused:
                    stage.say("Set A first: its button lies under the recipes.")
                stage.overlay = "none"
                return Shown()
            amounts = away
            held = movement_scale(amounts)
            scale = Scale("from A to B", "mm", held.low, held.high)
        if kind != "strain":
            scale = replace(scale, high=max(scale.high, LEAST_MM))
        return Shown(as_bytes(scale.colours(amounts)), scale)

    def _heat_of(self, mask: NDArray) -> Bytes:
        """The colours (n, 4) of a mask (n,): where it is as the last one was, those of the last one, so that a dab on a
        head of a million vertices costs what it touches. They are changed in place; each time they are another view."""
        scale, held = mask_scale(), self._heat
        if held is None or len(held[0]) != len(mask):
            self._heat = np.array(mask), as_bytes(scale.colours(mask))
            return self._heat[1].view()
        known, heat = held
        changed = np.flatnonzero(known != mask)
        known[changed] = mask[changed]
        heat[changed] = as_bytes(scale.colours(mask[changed]))
        return heat.view()

    def _place_numbers(self, stage: Stage) -> None:
        """Numbers where each region has most weight, of those that face the eye."""
        session, eye = stage.opened, stage.eye
        if eye is None:
            return
        left, top, _, _ = stage.view
        frame = session.positions()
        normals = session.frame_normals
        places: dict[str, tuple[float, float]] = {}
        chosen: list[tuple[str, int]] = []
        toward = eye.place
        for region in session.project.regions:
            at = session.centre_of(region.name)
            if float(normals[at] @ (toward - frame[at])) > 0.2 * float(np.linalg.norm(toward - frame[at])):
                chosen.append((region.name, at))
        if chosen:
            seen, _ = eye.project(np.asarray(frame[[at for _, at in chosen]], dtype=np.float64), *stage.view_size)
            taken: list[tuple[float, float]] = []
            for (name, _), (x, y) in zip(chosen, seen, strict=True):
                if all(abs(x - a) > 18 or abs(y - b) > 15 for a, b in taken):
                    places[name] = (left + float(x), top + float(y))
                    taken.append((float(x), float(y)))
        self._shown.numbers = places


def _skin_only(colours: NDArray, skin: NDArray) -> NDArray:
    colours[~skin, 3] = 0.0
    return colours


def as_bytes(colours: NDArray) -> Bytes:
    """(n, 4) uint8 of colours and cover in [0, 1]; NaN is none."""
    return np.round(255.0 * np.clip(np.nan_to_num(colours), 0.0, 1.0)).astype(np.uint8)
