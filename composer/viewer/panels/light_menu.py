"""The lights of the view, to choose from: one follows the view, the others stand about the head; soft shadows."""

from __future__ import annotations

from imgui_bundle import imgui

from composer.picture.lamps import LIGHTS
from composer.viewer.session.stage import Stage
from composer.viewer.ui.kit import Kit


def lights(stage: Stage, kit: Kit) -> None:
    """A line for each light, under a line that parts them from what stands above."""
    imgui.separator()
    imgui.text_disabled("light")
    for name, lamps in LIGHTS.items():
        if imgui.selectable(f"{name.capitalize()}##light", name == stage.light)[0]:
            stage.light = name
        kit.mark(f"light {name}")
        kit.tip(lamps.words)
    _, stage.settings.soft_shadows = imgui.checkbox("Soft shadows##light", stage.settings.soft_shadows)
    kit.mark("soft shadows")
    kit.tip("and ambient occlusion; on a card that draws 30 frames a second with them")
