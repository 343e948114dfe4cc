"""The places of the window, what can be laid over the head, and from where it is looked at, with their words."""

from __future__ import annotations

from typing import Literal

Place = Literal["mix", "paint", "marks", "new"]
PLACES: dict[Place, str] = {"mix": "Mix", "paint": "Paint", "marks": "Landmarks", "new": "New head"}
Overlay = Literal["none", "regions", "mask", "strain", "movement", "difference", "left", "skin"]
OVERLAYS: dict[Overlay, tuple[str, str]] = {
    "none": ("Plain", "the head as it is"),
    "regions": ("Regions", "every region in a colour and with its number"),
    "mask": ("Mask", "the effective mask of the chosen region, as heat"),
    "strain": ("Strain", "stretched skin in vermilion, squeezed skin in blue"),
    "movement": ("Movement", "how far the skin has moved from the neutral"),
    "difference": ("A to B", "how far A and B lie apart"),
    "left": ("To the target", "how far the pose lies from the target that was matched"),
    "skin": ("Skin", "the texture that lies beside the head"),
}
VIEWS = {
    "front": "Front", "three_quarter": "Three quarter", "side": "Side", "profile": "Left", "profile_right": "Right",
    "back": "Back", "below": "Below",
}  # fmt: skip
"""Left and right are the head's own; three quarter and side are seen from where the chosen region lies."""
