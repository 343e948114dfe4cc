"""Press on the face, and a gauge beside the pointer turns the weight of the region under it."""

from __future__ import annotations

from composer.mixing.recipe import WEIGHT_RANGE, Cell
from composer.viewer.session.cell_edits import cells_edit
from composer.viewer.session.pointing import look_up, region_at
from composer.viewer.session.stage import Stage
from composer.viewer.tools.desk import Desk
from composer.viewer.tools.gestures import Abandoned, HeadTool, Point, Tool

PIXELS_FOR_ONE, STARTS_AT = 170.0, 4.0


def turn_weight(desk: Desk, at: Point) -> Tool:
    """Choose the region under the pointer; dragging up and down turns the weight of its strongest cell, or of the
    chosen shape's where the region has none."""
    stage, gauge = desk.stage, desk.gauge
    session = stage.opened
    desk.trying.stop(session)
    region = region_at(stage, look_up(stage, at.x, at.y))
    if region:
        session.region = region
    cell = _cell(stage, region)
    moved = 0.0
    try:
        while True:
            point = yield
            moved = at.y - point.y
            if point.released:
                break
            if cell is None or (gauge.key is None and abs(moved) < STARTS_AT):
                continue
            if gauge.key is None:
                gauge.key, gauge.before, gauge.x, gauge.y = cell.key, cell.weight, at.x, at.y
                session.shape = cell.shape
            fine = 0.2 if point.shift else 1.0
            wanted = min(max(cell.weight + fine * moved / PIXELS_FOR_ONE, WEIGHT_RANGE[0]), WEIGHT_RANGE[1])
            gauge.weight = round(wanted, 3 if point.shift else 2)
            now = Cell(cell.region, cell.shape, gauge.weight, cell.mirrored)
            stage.guard(lambda now=now: session.preview(cells_edit(stage, now)))  # type: ignore[misc]
        if gauge.key is not None:
            session.commit()
        elif cell is None and abs(moved) >= STARTS_AT and region:
            stage.say(_advice(stage, region))
    except Abandoned:
        session.abort()
    finally:
        gauge.key = None


def _cell(stage: Stage, region: str) -> Cell | None:
    """The cell that the gauge turns; None where there is none, or it is locked."""
    session = stage.opened
    if not region or not session.recipe_name:
        return None
    cell = session.strongest(region)
    if session.shape:
        weight = session.weight((region, session.shape, False))
        if weight is not None or cell is None:
            cell = Cell(region, session.shape, weight or 0.0)
    return None if cell is None or session.held.locked(cell.key) else cell


def _advice(stage: Stage, region: str) -> str:
    session = stage.opened
    if not session.recipe_name:
        return "There is no recipe yet: drop a picture from the tray here, and the first one is made."
    if not session.shape:
        return f"Nothing moves {region} yet: drop a picture from the tray here, or choose one and press again."
    return f"That cell of {region} is locked."


GAUGE = HeadTool(
    "gauge", "left", "", lambda desk: desk.stage.place == "mix", turn_weight,
    "press on the face and drag up or down", "a gauge turns the weight of that region",
)  # fmt: skip
