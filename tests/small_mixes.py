"""Poses and displacements evaluated afresh, with nothing kept from before: what faster ways are compared with."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.mixing.linear import Mixer, moved
from composer.mixing.recipe import ALL, Recipe
from composer.mixing.seamless import SeamlessJoin, seamless_displacement
from composer.mixing.seamless_surface import SeamlessSurface


def seamless_pose(mixer: Mixer, recipe: Recipe, *, strength: float | None = None) -> NDArray[np.float64]:
    """(n, 3) mm, the pose of one recipe joined seamlessly with its own halo, everything made anew."""
    skin = SeamlessSurface(mixer.head.surface, mixer.head.skin)
    masks = {region: mixer.masks[region] for region in recipe.regions if region in mixer.masks and region != ALL}
    join = SeamlessJoin(skin, masks, halo=recipe.halo)
    return moved(mixer.head.neutral, seamless_displacement(mixer, join, recipe, strength))
