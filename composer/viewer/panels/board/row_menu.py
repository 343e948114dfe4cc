"""The menus of a row, a column and a cell of the board."""

from __future__ import annotations

from imgui_bundle import ImVec2, imgui

from composer.edits.cells import remove_cell, set_cell
from composer.edits.recipes import replace_recipe
from composer.edits.regions import set_locked
from composer.edits.rows import flipped_recipe, paste_row, row_cells, set_row
from composer.edits.sides import partner
from composer.mixing.recipe import ALL, Cell, CellKey, Recipe, Row
from composer.plain_number import as_meant
from composer.viewer.session.cell_edits import clear_row
from composer.viewer.session.held import Mark, marks_of
from composer.viewer.session.stage import Stage
from composer.viewer.ui.kit import Kit


def row_menu(stage: Stage, kit: Kit, subject: str) -> None:
    """The menu of a region; of a shape where `subject` is a line break and its name; of a cell where it is region,
    shape and 1 for mirrored, separated by line breaks."""
    imgui.push_style_var(imgui.StyleVar_.window_padding, ImVec2(kit.px(10), kit.px(9)))
    if imgui.begin_popup("row menu"):
        parts = subject.split("\n")
        if len(parts) == 3:
            _cell(stage, kit, (parts[0], parts[1], parts[2] == "1"))
        elif len(parts) == 2:
            with kit.bold():
                kit.text(parts[1])
            _holds(stage, kit, ("column", parts[1]), "column")
        elif subject:
            _row(stage, kit, subject)
        imgui.end_popup()
    imgui.pop_style_var()


def copy_row(stage: Stage, region: str) -> None:
    """Keep a row's cells for pasting."""
    session = stage.session
    if session is not None:
        stage.copied_cells = ()
        stage.copied_row = (row_cells(session.recipe, region), session.recipe.row(region))
        stage.say(f"Copied the row {region}." if region != ALL else "Copied the base row.")


def paste_into(stage: Stage, region: str) -> None:
    """Put the copied row in the place of a region's row."""
    session = stage.session
    if session is None or stage.copied_row is None or not session.recipe_name:
        return
    name, (cells, row) = session.recipe_name, stage.copied_row
    stage.do(lambda project: paste_row(project, name, region, cells, row),
             f"Pasted into {region}." if region != ALL else "Pasted into the base row.")  # fmt: skip


def _cell(stage: Stage, kit: Kit, key: CellKey) -> None:
    session = stage.opened
    region, shape, mirrored = key
    with kit.bold():
        imgui.text(kit.fit(f"{region} × {shape}", kit.px(300)))
    name, weight = session.recipe_name, session.weight(key)
    locked = session.held.locked(key)
    turned = (region, shape, not mirrored)
    words = "Use the shape unmirrored" if mirrored else "Mirror the shape"
    if _item(kit, words, able=weight is not None and not locked and session.weight(turned) is None):
        stage.do(lambda p: set_cell(remove_cell(p, name, key), name, Cell(region, shape, weight or 0.0, not mirrored)))
    if _item(kit, "Remove", kit.keys.words("clear_cell"), able=weight is not None and not locked):
        stage.do(lambda p: remove_cell(p, name, key))
    imgui.separator()
    _holds(stage, kit, marks_of(key)[2], "cell")
    imgui.separator()
    if imgui.begin_menu("Row"):
        _row(stage, kit, region)
        imgui.end_menu()
    kit.mark("Row menu")
    if imgui.begin_menu("Column"):
        _holds(stage, kit, ("column", shape), "column")
        imgui.end_menu()
    kit.mark("Column menu")


def _row(stage: Stage, kit: Kit, region: str) -> None:
    session = stage.opened
    with kit.bold():
        imgui.text("base row" if region == ALL else region)
    recipe, row = session.recipe, session.recipe.row(region)
    name = session.recipe_name
    if region != ALL:
        kinds = {"add": "Adds to the base", "replace": "Replaces the base"}
        chosen = kit.choice(kinds, row.kind, key="row ")
        if chosen != row.kind:
            stage.do(lambda p: set_row(p, name, region, Row(chosen, row.amount)))  # type: ignore[arg-type]
    imgui.set_next_item_width(kit.px(180))
    changed, amount = imgui.slider_float("amount of the row", row.amount * 100, 0, 100, "%.0f %%")
    kit.mark("amount of the row")
    if changed:
        stage.guard(lambda: session.preview(lambda p: set_row(p, name, region, Row(row.kind, as_meant(amount) / 100))))
    if imgui.is_item_deactivated():
        session.commit()
    imgui.separator()
    if _item(kit, "Copy row", kit.keys.words("copy")):
        copy_row(stage, region)
    if _item(kit, "Paste row", kit.keys.words("paste"), able=stage.copied_row is not None):
        paste_into(stage, region)
    other = partner(region, session.region_names)
    if other is not None and _item(kit, f"Mirror to {other}"):
        stage.do(lambda p: replace_recipe(p, name, _flipped_over(stage, recipe, region, other)))
    if _item(kit, "Clear row"):
        stage.do(clear_row(stage, region))
    imgui.separator()
    _holds(stage, kit, ("row", region), "row")
    its_region = next((each for each in session.project.regions if each.name == region), None)
    if its_region is not None and _item(kit, "Unlock its mask" if its_region.locked else "Lock its mask"):
        locked = not its_region.locked
        stage.do(lambda p: set_locked(p, region, locked))


def _flipped_over(stage: Stage, recipe: Recipe, region: str, other: str) -> Recipe:
    """The recipe with the mirror image of one row in the place of the other side's row."""
    session = stage.opened
    flipped = flipped_recipe(recipe, session.region_names, session.head.shape_names)
    cells = [c for c in recipe.cells if c.region != other] + list(row_cells(flipped, other))
    rows = {**recipe.rows}
    if region in recipe.rows:
        rows[other] = recipe.rows[region]
    return recipe.with_(cells=tuple(cells), rows=rows)


def _holds(stage: Stage, kit: Kit, mark: Mark, words: str) -> None:
    session = stage.opened
    for which, on, off in (
        ("solo", f"Solo this {words}", f"Unsolo this {words}"),
        ("mute", f"Mute this {words}", f"Unmute this {words}"),
        ("lock", f"Lock this {words}", f"Unlock this {words}"),
    ):
        if _item(kit, off if mark in getattr(session.held, which) else on):
            session.held.toggle(which, mark)
            session.follow()


def _item(kit: Kit, words: str, combo: str = "", able: bool = True) -> bool:
    pressed, _ = imgui.menu_item(words, combo, False, able)
    kit.mark(words)
    return pressed
