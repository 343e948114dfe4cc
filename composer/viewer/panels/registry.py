"""Every panel and every sheet of the window.

To add a panel: a file of this folder that draws it, a field of `Panels` where it remembers anything, and one line here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from composer.viewer.panels.board.board import draw_board
from composer.viewer.panels.brush import draw_brush
from composer.viewer.panels.dropped import draw_dropped
from composer.viewer.panels.gallery import draw_gallery
from composer.viewer.panels.marks import draw_marks
from composer.viewer.panels.memory import Panels
from composer.viewer.panels.recipes.strip import draw_recipes
from composer.viewer.session.places import Place
from composer.viewer.session.stage import Stage
from composer.viewer.ui.kit import Kit

Draw = Callable[[Stage, Kit, Panels], None]


@dataclass(frozen=True)
class Panel:
    """A panel: its `name`, the `place` in which it is shown, the `side` of the view on which it lies, and what draws
    it."""

    name: str
    place: Place
    side: Literal["left", "right", "foot"]
    draw: Draw


@dataclass(frozen=True)
class Sheet:
    """A sheet over the window, drawn in this order: its `name`, whether it `needs` an open document, and what draws
    it, where it is asked for."""

    name: str
    needs_document: bool
    draw: Draw


def _match(stage: Stage, kit: Kit, panels: Panels) -> None:
    if stage.dialogs.match:
        panels.match.draw(stage, kit, panels.tray.names(stage))


def _match_take(stage: Stage, kit: Kit, panels: Panels) -> None:
    if stage.dialogs.match_take:
        panels.take.draw(stage, kit, panels.time, panels.tray.names(stage))


def _right_of_mixing(stage: Stage, kit: Kit, panels: Panels) -> None:
    """The shapes; in their place what the checks found, or what chance found, as long as that is looked at."""
    if panels.findings.shown(stage):
        panels.findings.draw(stage, kit)
    elif panels.trying.gallery:
        draw_gallery(stage, kit, panels.trying, panels.gallery)
    else:
        panels.tray.draw(stage, kit)


PANELS: tuple[Panel, ...] = (
    Panel("recipes", "mix", "left", lambda stage, kit, panels: draw_recipes(panels.recipes, stage, kit, panels.trying)),
    Panel("tray", "mix", "right", lambda stage, kit, panels: _right_of_mixing(stage, kit, panels)),
    Panel("board", "mix", "foot", lambda stage, kit, panels: draw_board(stage, kit, panels.board)),
    Panel("region list", "paint", "left", lambda stage, kit, panels: panels.regions.draw(stage, kit)),
    Panel("brush", "paint", "right", lambda stage, kit, panels: draw_brush(stage, kit, panels.painting)),
    Panel("mark list", "marks", "left", lambda stage, kit, panels: draw_marks(stage, kit)),
    Panel("where is it", "new", "left", lambda stage, kit, panels: panels.where.draw(stage, kit, panels.fitting)),
    Panel("does it sit", "new", "right", lambda stage, kit, panels: panels.sits.draw(stage, kit, panels.fitting)),
)
def sides_of(stage: Stage) -> list[str]:
    """The sides of the view on which the open place has a panel."""
    return [panel.side for panel in PANELS if panel.place == stage.place]


SHEETS: tuple[Sheet, ...] = (
    Sheet("movers", True, lambda stage, kit, panels: panels.movers.draw(stage, kit)),
    Sheet("match", True, _match),
    Sheet("match take", True, _match_take),
    Sheet("picture", True, lambda stage, kit, panels: panels.picture.draw(stage, kit, panels.trying, panels.time)),
    Sheet("dropped", True, lambda stage, kit, panels: draw_dropped(stage, kit)),
    Sheet("about", True, lambda stage, kit, panels: panels.about.draw(stage, kit)),
    Sheet("bake", False, lambda stage, kit, panels: panels.bake.draw(stage, kit)),
    Sheet("keys", False, lambda stage, kit, panels: panels.keys.draw(stage, kit)),
    Sheet("questions", False, lambda stage, kit, panels: panels.sheets.draw(stage, kit)),
)
