"""The lights of the view, as a person chooses them."""

from __future__ import annotations

import os

import numpy as np

from tests.window.hand import Hand


def brightness(hand: Hand) -> tuple[float, float]:
    """How bright the right and the left cheek are, 0 to 255."""
    seen, held = hand.view_picture().astype(float).mean(axis=2), []
    head = hand.session.head
    for side in ("right", "left"):
        at = head.neutral[[head.landmarks.vertex(f"cheek_{side}", head.neutral)]]
        (across, down), *_ = hand.stage.eye.project(at, *hand.stage.view_size)[0]
        held.append(float(seen[round(down) - 4 : round(down) + 5, round(across) - 4 : round(across) + 5].mean()))
    return held[0], held[1]


def choose(hand: Hand, name: str) -> None:
    hand.click_on("overlay")
    hand.until(lambda: f"light {name}" in hand.seen, "the lights")
    hand.click_on(f"light {name}")
    assert hand.stage.light == name
    hand.move(4, 4)  # away from the head, which shows what the pointer lies on
    hand.settle()


def test_a_light_that_stands_stays_with_the_head_and_the_other_with_the_view(open_demo: Hand) -> None:
    hand = open_demo
    hand.click_on("view front")
    hand.settle()
    folder = os.environ.get("MOUE_SHOTS")
    found = {"view": brightness(hand)}
    for name in ("daylight", "studio", "rim"):
        choose(hand, name)
        found[name] = brightness(hand)
        if folder:
            hand.click_on("overlay")
            hand.shot(f"{folder}/{name}.png")
            hand.key("Escape")
    assert found["view"][0] > found["view"][1] + 8, "the window is at the viewer's left"
    np.testing.assert_allclose(found["daylight"], found["view"], atol=6.0)  # seen from the front, both are the same
    assert sum(found["rim"]) < sum(found["daylight"]) - 40, "the light is behind the head"
    choose(hand, "view")
    np.testing.assert_allclose(brightness(hand), found["view"], atol=3.0)
