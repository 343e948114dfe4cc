"""Colours over a sculpt and the library on it: which surface is which, the zones that are painted, how far they lie
apart."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.fitting.not_followed import Why
from composer.picture.heat import Scale, movement_scale
from composer.viewer.new_head.new_head import NewHead
from composer.viewer.scene.overlay import Shown, as_bytes
from composer.viewer.session.same_key import same_key
from composer.viewer.session.stage import Stage

Rgb = tuple[int, int, int]
Swatch = tuple[Rgb, str]
SCULPT: Swatch = ((227, 188, 133), "the sculpt")
ON_IT: Swatch = ((96, 160, 190), "the library on it")
FORM: Swatch = ((126, 176, 108), "keeps the library's form")
STILL: Swatch = ((176, 128, 190), "is held where it is")
WORN: Swatch = ((200, 132, 104), "under hair, a hat or a collar")
STROKE: Swatch = ((240, 200, 120), "under the brush")
SURFACE, ZONE = 0.62, 0.72
"""How much of the skin a surface's own colour and a zone hide; chosen by eye."""
TOP = 0.98
"""Share of the skin that the scale of distances holds: the furthest vertices do not decide about all others."""


class NewHeadColours:
    """The colours of one window's new head, made again only where what they show has changed."""

    def __init__(self) -> None:
        self._key: tuple = ()
        self._shown = Shown()

    def of(self, stage: Stage, new: NewHead) -> Shown:
        """What is laid over both surfaces as the stage stands, with the legend."""
        heat = stage.distance_heat and new.shown_cage is not None
        both = stage.shown_of_new == "both"
        fitted = new.step.fitted
        key = (new, new.version if heat else 0, heat, both, stage.shown_of_new, new.zones, stage.painted_zone, fitted)
        if not same_key(self._key, key):
            self._key, self._shown = key, _made(stage, new, heat, both)
        return self._shown


def _made(stage: Stage, new: NewHead, heat: bool, both: bool) -> Shown:
    library = np.zeros((new.library.n_vertices, 4))
    sculpt = np.zeros((new.n_sculpt, 4))
    swatches, legend = [], None
    if both:
        sculpt[:] = _ink(SCULPT, SURFACE)
        swatches.append(SCULPT)
        if not heat:
            library[:] = _ink(ON_IT, SURFACE)
            swatches.append(ON_IT)
    if heat:
        library, legend = _distance(new)
    if stage.shown_of_new != "sculpt":
        zones = (_worn(new), new.zones.form, new.zones.still, stage.painted_zone)
        for swatch, zone in zip((WORN, FORM, STILL, STROKE), zones, strict=True):
            if zone is not None and zone.any():
                library = _laid(library, swatch, zone)
                swatches.append(swatch)
    if not library[:, 3].any() and not sculpt[:, 3].any():
        return Shown(None, legend, swatches=tuple(swatches))
    return Shown(as_bytes(np.concatenate([sculpt, library])), legend, swatches=tuple(swatches))


def _worn(new: NewHead) -> NDArray[np.float64] | None:
    """(n,) where the fit has found what a head wears, and has kept the library's form; None before there is a fit."""
    fitted = new.step.fitted
    why = fitted.levels[0].why if fitted is not None else ()
    return (np.asarray(why) == Why.WORN).astype(np.float64) if len(why) == new.library.n_vertices else None


def _distance(new: NewHead) -> tuple[NDArray[np.float64], Scale]:
    """(n, 4) colours by how far the library's skin lies from the sculpt, and their scale."""
    away = new.distance_mm()
    assert away is not None
    skin = new.library.skin
    held = movement_scale(np.quantile(away[skin], TOP, keepdims=True))
    scale = Scale("from the sculpt", "mm", held.low, held.high)
    colours = np.array(scale.colours(away))
    colours[~skin, 3] = 0.0
    return colours, scale


def _laid(colours: NDArray, swatch: Swatch, zone: NDArray) -> NDArray[np.float64]:
    """(n, 4) the colours with a zone (n,) in [0, 1] laid over them."""
    amount = ZONE * np.clip(zone, 0.0, 1.0)[:, None]
    below = colours[:, 3:] * (1.0 - amount)
    cover = amount + below
    mixed = (amount * _ink(swatch, 1.0)[:3] + below * colours[:, :3]) / np.maximum(cover, 1e-9)
    return np.concatenate([mixed, cover], axis=1)


def _ink(swatch: Swatch, cover: float) -> NDArray[np.float64]:
    return np.array([*(channel / 255.0 for channel in swatch[0]), cover])
