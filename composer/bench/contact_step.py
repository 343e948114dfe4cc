"""A weight dragged in a recipe that keeps contact, on the demo head at level 1, beside the same drag without it."""

from __future__ import annotations

from itertools import cycle

import numpy as np

from composer.bench.demo_surface import demo_head
from composer.bench.measure import Row, measure
from composer.head.presets import lay_regions, region_set
from composer.mixing.active import LivePose
from composer.mixing.contact import MixContact
from composer.mixing.linear import Mixer
from composer.mixing.recipe import Cell, Recipe


def rows() -> list[Row]:
    """At most 8 ms: lids that shut too far over a looking eye, and lips that press into each other."""
    head = demo_head(1, shapes=True)
    mixer = Mixer(head, dict(lay_regions(head, region_set("face")).masks))
    contact = MixContact(mixer)
    return [
        _row(mixer, contact, "lids", ("au07_left", "gaze_up"), "au43_left"),
        _row(mixer, contact, "lips", ("au24", "au23"), "au28"),
    ]


def _row(mixer: Mixer, contact: MixContact, what: str, held: tuple[str, ...], dragged: str) -> Row:
    cells = (*(Cell("all", name, 1.0) for name in held), Cell("all", dragged, 0.9))
    recipe = Recipe("bench", cells, contact=True)
    parted, plain = LivePose(mixer, recipe), LivePose(mixer, recipe)
    parted.keep_contact(contact)
    weights = cycle(np.linspace(0.9, 1.0, 11).tolist())

    def drag() -> object:
        return parted.set_weight("all", dragged, next(weights))

    def alone() -> object:
        return plain.set_weight("all", dragged, next(weights))

    for _ in range(22):
        drag()
    name = f"drag with contact, {what}, {mixer.head.n_vertices:,}"
    return measure(name, drag, "the same without", alone, repeats=20, most_ms=8.0)
