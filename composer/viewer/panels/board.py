"""The board: a matrix, a row a region, a column a shape, a cell a weight."""

from __future__ import annotations

from dataclasses import dataclass, field

from imgui_bundle import ImVec2, imgui

from composer.edits.cells import remove_cell
from composer.mixing.recipe import ALL, WEIGHT_RANGE, Cell, CellKey, Row
from composer.picture.palette import region_colour
from composer.viewer.panels.row_menu import row_menu
from composer.viewer.session.cell_edits import carried_edit, cells_edit
from composer.viewer.session.stage import Stage, weight_words
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32

NAME_WIDE, COLUMN_WIDE, ROW_HIGH, HEAD_HIGH = 206.0, 78.0, 25.0, 62.0
WHEEL_STEP, PIXELS_FOR_ONE = 0.05, 150.0


@dataclass
class Board:
    """How the board stands: the chosen cell, what is dragged, what is typed, and which rows and columns are shown."""

    used_rows: bool = True
    used_columns: bool = True
    mirrored: bool = False
    drag: tuple[CellKey, float, float] | None = None
    typing: CellKey | None = None
    typed: str = ""
    asked: set[str] = field(default_factory=set)
    menu: str = ""
    followed: tuple[str, str] = ("", "")
    asking: bool = False

    def draw(self, stage: Stage, kit: Kit) -> None:
        """The whole panel."""
        session = stage.opened
        self._bar(stage, kit)
        if not session.project.recipes:
            kit.quiet("No recipe yet. New makes one; a picture dropped on the face makes one too.")
            return
        rows, columns = self.rows(stage), self.columns(stage)
        imgui.push_style_color(imgui.Col_.child_bg, theme.vec4(theme.DEEP))
        imgui.push_style_var(imgui.StyleVar_.window_padding, ImVec2(0, 0))
        flags = imgui.WindowFlags_.horizontal_scrollbar | imgui.WindowFlags_.no_scroll_with_mouse
        flags |= imgui.WindowFlags_.no_nav
        fixes = session.evaluated.corrective_weights(session.recipe) if session.project.correctives else {}
        foot = -kit.px(34) if fixes else 0.0
        imgui.begin_child("matrix", ImVec2(0, foot), imgui.ChildFlags_.none, flags)
        self._matrix(stage, kit, rows, columns)
        if self.asking:
            self.asking = False
            imgui.open_popup("row menu")
        row_menu(stage, kit, self.menu)
        imgui.end_child()
        imgui.pop_style_var()
        imgui.pop_style_color()
        if fixes:
            self._correctives(stage, kit, fixes)

    def _correctives(self, stage: Stage, kit: Kit, fixes: dict[str, float]) -> None:
        """What comes in by itself: each corrective with how far it is in."""
        imgui.align_text_to_frame_padding()
        kit.quiet("correctives")
        triggers = {one.shape: one.triggers for one in stage.opened.project.correctives}
        for name, amount in fixes.items():
            imgui.same_line(0, kit.px(8))
            words = f"{name}  {weight_words(round(amount, 2))}"
            size = ImVec2(imgui.calc_text_size(words).x + kit.px(18), imgui.get_frame_height())
            at, draw = imgui.get_cursor_screen_pos(), imgui.get_window_draw_list()
            high = ImVec2(at.x + size.x, at.y + size.y)
            draw.add_rect_filled(at, high, u32(theme.RAISED), kit.px(5))
            draw.push_clip_rect(at, ImVec2(at.x + size.x * min(max(amount, 0.0), 1.0), high.y), True)
            draw.add_rect_filled(at, high, u32(theme.MOSS, 0.55), kit.px(5))
            draw.pop_clip_rect()
            draw.add_text(ImVec2(at.x + kit.px(9), at.y + kit.px(5)), u32(theme.TEXT), words)
            imgui.dummy(size)
            kit.mark(f"corrective {name}")
            cells = ", ".join(f"{t.region} × {t.shape} at {weight_words(t.at)}" for t in triggers[name])
            kit.tip(f"comes in with {cells}")

    # Which rows and columns.

    def rows(self, stage: Stage) -> list[str]:
        """Regions shown: the base row, those that the recipe uses and the chosen one; all when asked."""
        session = stage.opened
        names = session.region_names
        if not self.used_rows:
            return names
        used = set(session.recipe.regions) | {ALL, session.region}
        return [name for name in names if name in used]

    def columns(self, stage: Stage) -> list[str]:
        """Shapes shown: those that the recipe uses and the chosen one; all when asked, hidden ones left out."""
        session = stage.opened
        used = {cell.shape for cell in session.recipe.cells} | {session.shape}
        hidden = {n for n, said in session.project.shapes.items() if said.get("hidden")}
        names = session.head.shape_names
        return [n for n in names if n in used or (not self.used_columns and n not in hidden)]

    # Above the matrix.

    def _bar(self, stage: Stage, kit: Kit) -> None:
        session = stage.opened
        imgui.align_text_to_frame_padding()
        with kit.bold():
            imgui.text("Board")
        imgui.same_line(0, kit.px(14))
        if kit.button("Every region", "rows of all regions, or only of those in use", on=not self.used_rows):
            self.used_rows = not self.used_rows
        _beside("Every shape", kit.px(4))
        if kit.button("Every shape", "columns of all shapes, or only of those in use", on=not self.used_columns):
            self.used_columns = not self.used_columns
        _beside("Both sides", kit.px(14))
        if kit.button("Both sides", "what is done on one side is done on the other", "link", on=session.linked):
            session.linked = not session.linked
        _beside("Mirrored", kit.px(4))
        if kit.button("Mirrored", "new cells take the shape's mirror image", on=self.mirrored):
            self.mirrored = not self.mirrored
        if session.held.hides:
            _beside("Show all again", kit.px(14))
            if kit.button(
                "Show all again", "solo and mute hold something back from what you see; a bake has all of it"
            ):
                session.held.solo.clear()
                session.held.mute.clear()
                session.follow()
        imgui.same_line(0, kit.px(14))
        kit.quiet(kit.fit(self._words(stage), imgui.get_content_region_avail().x))

    def _words(self, stage: Stage) -> str:
        session = stage.opened
        key = (session.region, session.shape, self.mirrored)
        weight = session.weight(key)
        if not session.shape:
            return "choose a shape in the tray"
        return f"{session.region}  ×  {session.shape}" + ("" if weight is None else f"  {weight_words(weight)}")

    # The matrix.

    def _matrix(self, stage: Stage, kit: Kit, rows: list[str], columns: list[str]) -> None:
        session = stage.opened
        draw = imgui.get_window_draw_list()
        at, view = imgui.get_window_pos(), imgui.get_window_size()
        name_wide, wide = _name_wide(kit), kit.px(COLUMN_WIDE)
        high, head = kit.px(ROW_HIGH), kit.px(HEAD_HIGH)
        scroll_x, scroll_y = imgui.get_scroll_x(), imgui.get_scroll_y()
        imgui.dummy(ImVec2(name_wide + wide * max(len(columns), 1) + kit.px(16), head + high * len(rows) + kit.px(8)))
        self._follow(stage, rows, columns, high, wide, view.y - head - high, view.x - name_wide - wide)
        right, bottom = at.x + view.x, at.y + view.y
        left, top = at.x + name_wide, at.y + head
        mouse = imgui.get_mouse_pos()
        over = imgui.is_window_hovered() and imgui.get_scroll_max_y() >= 0
        column = int((mouse.x - left + scroll_x) // wide) if mouse.x >= left else -1
        row = int((mouse.y - top + scroll_y) // high) if mouse.y >= top else -1
        if not over or column >= len(columns) or row >= len(rows):
            column = row = -1 if not over else (column if column < len(columns) else -1)
            row = row if over and row < len(rows) else -1
        here = over and row >= 0 and column >= 0

        draw.push_clip_rect(ImVec2(left, top), ImVec2(right, bottom), True)
        self._cells(stage, kit, rows, columns, left - scroll_x, top - scroll_y, (row, column) if here else (-1, -1))
        draw.pop_clip_rect()
        draw.push_clip_rect(ImVec2(at.x, top), ImVec2(left, bottom), True)
        self._names(stage, kit, rows, at.x, top - scroll_y, bottom, row if over and mouse.x < left else -1)
        draw.pop_clip_rect()
        draw.push_clip_rect(ImVec2(left, at.y), ImVec2(right, top), True)
        self._heads(stage, kit, columns, left - scroll_x, at.y, column if over and mouse.y < top else -1)
        draw.pop_clip_rect()
        draw.add_rect_filled(at, ImVec2(left, top), u32(theme.DEEP))
        draw.add_text(ImVec2(at.x + kit.px(10), top - kit.px(22)), u32(theme.QUIET), "region")
        draw.add_line(ImVec2(at.x, top), ImVec2(right, top), u32(theme.EDGE))
        draw.add_line(ImVec2(left, at.y), ImVec2(left, bottom), u32(theme.EDGE))
        if not columns:
            words = "Drop pictures from the tray on the face, or here."
            draw.add_text(ImVec2(left + kit.px(14), top + (high - imgui.get_font_size()) / 2), u32(theme.QUIET), words)
        if here:
            self._pointed(stage, kit, rows[row], columns[column])
        elif over and row >= 0 and mouse.x < left:
            self._named(stage, kit, rows[row])
        elif over and column >= 0 and mouse.y < top:
            self._headed(stage, columns[column])
        if stage.carried_shape and over and row >= 0 and imgui.is_mouse_released(0):
            shape, stage.carried_shape = stage.carried_shape, ""
            stage.do(carried_edit(stage, rows[row], shape, self.mirrored), f"{shape} in {rows[row]}")
            session.region, session.shape = rows[row], shape
        self._dragged(stage)
        self._type(stage, kit, rows, columns, left - scroll_x, top - scroll_y)
        self._wheel(stage, rows, columns, row, column, here, over)

    def _follow(
        self, stage: Stage, rows: list[str], columns: list[str], high: float, wide: float, tall: float, broad: float
    ) -> None:
        """Scroll to the chosen cell when another has been chosen elsewhere."""
        session = stage.opened
        chosen = (session.region, session.shape)
        if chosen == self.followed or self.drag is not None:
            return
        self.followed = chosen
        if session.region in rows:
            y = rows.index(session.region) * high
            if not imgui.get_scroll_y() <= y <= imgui.get_scroll_y() + tall:
                imgui.set_scroll_y(max(y - tall / 2, 0.0))
        if session.shape in columns:
            x = columns.index(session.shape) * wide
            if not imgui.get_scroll_x() <= x <= imgui.get_scroll_x() + broad:
                imgui.set_scroll_x(max(x - broad / 2, 0.0))

    def _cells(
        self, stage: Stage, kit: Kit, rows: list[str], columns: list[str], x0: float, y0: float, over: tuple[int, int]
    ) -> None:
        session = stage.opened
        draw, wide, high, gap = imgui.get_window_draw_list(), kit.px(COLUMN_WIDE), kit.px(ROW_HIGH), kit.px(1.5)
        low, top = draw.get_clip_rect_min(), draw.get_clip_rect_max()
        cells = {cell.key: cell for cell in session.recipe.cells}
        first, last = int(max((low.y - y0) // high, 0)), int(min((top.y - y0) // high + 1, len(rows)))
        begin, end = int(max((low.x - x0) // wide, 0)), int(min((top.x - x0) // wide + 1, len(columns)))
        for i in range(first, last):
            y = y0 + i * high
            chosen_row = rows[i] == session.region
            if chosen_row:
                draw.add_rect_filled(ImVec2(low.x, y), ImVec2(top.x, y + high), u32(theme.SLATE))
            for j in range(begin, end):
                x = x0 + j * wide
                if columns[j] == session.shape:
                    draw.add_rect_filled(ImVec2(x, y), ImVec2(x + wide, y + high), u32(theme.SLATE))
                own = [cells[k] for m in (False, True) if (k := (rows[i], columns[j], m)) in cells]
                box = ImVec2(x + gap, y + gap), ImVec2(x + wide - gap, y + high - gap)
                kit.seen[f"cell {rows[i]} {columns[j]}"] = (box[0].x, box[0].y, box[1].x, box[1].y)
                if own:
                    for n, cell in enumerate(own):
                        part = (wide - 2 * gap) / len(own)
                        self._cell(stage, kit, cell, x + gap + n * part, y + gap, part, high - 2 * gap)
                elif (i, j) == over:
                    draw.add_rect(box[0], box[1], u32(theme.EDGE), kit.px(4))
                else:
                    draw.add_circle_filled(ImVec2(x + wide / 2, y + high / 2), kit.px(1.4), u32(theme.EDGE), 8)
                if chosen_row and columns[j] == session.shape:
                    draw.add_rect(box[0], box[1], u32(theme.SAND), kit.px(4), kit.px(1.6))

    def _cell(self, stage: Stage, kit: Kit, cell: Cell, x: float, y: float, wide: float, high: float) -> None:
        """One weight: a bar as long as it is, from the right and hatched where it is below zero, and its number."""
        session = stage.opened
        draw, shown = imgui.get_window_draw_list(), session.held.shows(cell.key)
        ground, bar = theme.RAISED, (theme.TIDE if cell.weight >= 0 else theme.CORAL)
        draw.add_rect_filled(ImVec2(x, y), ImVec2(x + wide, y + high), u32(ground), kit.px(4))
        part = min(abs(cell.weight), 1.0) * wide
        a, b = (x, x + part) if cell.weight >= 0 else (x + wide - part, x + wide)
        if part > 1.0:
            alpha = 0.85 if shown else 0.25
            draw.add_rect_filled(ImVec2(a, y), ImVec2(b, y + high), u32(bar, alpha), kit.px(4))
        if cell.weight > 1.0:
            over = (cell.weight - 1.0) * wide
            draw.add_rect_filled(
                ImVec2(x, y + high - kit.px(4)), ImVec2(x + over, y + high), u32(theme.SAND), kit.px(2)
            )
        words = weight_words(cell.weight)
        size = imgui.calc_text_size(words)
        colour = theme.DARK if shown and part > wide * 0.6 else theme.TEXT
        draw.add_text(ImVec2(x + (wide - size.x) / 2, y + (high - size.y) / 2), u32(colour), words)
        side = x + wide - kit.px(9)
        if cell.mirrored:
            kit.sign("mirror", side, y + high / 2, kit.px(11), colour)
        if session.held.locked(cell.key):
            kit.sign("lock", x + kit.px(9), y + high / 2, kit.px(11), colour)
        elif not shown:
            kit.sign("mute", x + kit.px(9), y + high / 2, kit.px(11), theme.QUIET)

    def _names(self, stage: Stage, kit: Kit, rows: list[str], x: float, y0: float, bottom: float, over: int) -> None:
        session = stage.opened
        draw, high, wide = imgui.get_window_draw_list(), kit.px(ROW_HIGH), _name_wide(kit)
        used = set(session.recipe.regions)
        numbers = {name: i for i, name in enumerate(session.region_names[1:])}
        for i, name in enumerate(rows):
            y = y0 + i * high
            if y > bottom or y + high < y0:
                continue
            chosen = name == session.region
            if chosen or i == over:
                ground = theme.RAISED if chosen else theme.SLATE
                draw.add_rect_filled(ImVec2(x, y), ImVec2(x + wide, y + high), u32(ground))
            if name in numbers:
                swatch(kit, numbers[name], session.hues[name], x + kit.px(17), y + high / 2)
            row = session.recipe.row(name)
            signs = self._signs(stage, name, row)
            room = wide - kit.px(38) - kit.px(17) * len(signs)
            words = kit.fit("base, all of the face", room) if name == ALL else kit.fit(name, room, theme.SIDES)
            colour = theme.TEXT if name in used or chosen else theme.QUIET
            draw.add_text(
                ImVec2(x + kit.px(34 if name in numbers else 10), y + (high - imgui.get_font_size()) / 2),
                u32(colour),
                words,
            )
            for n, (kind, ink_) in enumerate(reversed(signs)):
                kit.sign(kind, x + wide - kit.px(12 + 17 * n), y + high / 2, kit.px(12), ink_)
            kit.seen[f"row {name}"] = (x, y, x + wide, y + high)

    def _signs(self, stage: Stage, name: str, row: Row) -> list[tuple[str, theme.Ink]]:
        """What a row's end says: it replaces, is soloed, muted, locked."""
        session = stage.opened
        mark = ("row", name)
        signs = [("replace", theme.SAND)] if row.kind == "replace" else []
        signs += [("solo", theme.SAND)] if mark in session.held.solo else []
        signs += [("mute", theme.CORAL)] if row.amount == 0.0 or mark in session.held.mute else []
        region = next((r for r in session.project.regions if r.name == name), None)
        signs += [("lock", theme.QUIET)] if mark in session.held.lock or (region and region.locked) else []
        return signs

    def _heads(self, stage: Stage, kit: Kit, columns: list[str], x0: float, y: float, over: int) -> None:
        session = stage.opened
        draw, wide, high = imgui.get_window_draw_list(), kit.px(COLUMN_WIDE), kit.px(HEAD_HIGH)
        low, top = draw.get_clip_rect_min(), draw.get_clip_rect_max()
        for j, name in enumerate(columns):
            x = x0 + j * wide
            if x + wide < low.x or x > top.x:
                continue
            if name == session.shape or j == over:
                ground = theme.RAISED if name == session.shape else theme.SLATE
                draw.add_rect_filled(ImVec2(x, y), ImVec2(x + wide, y + high), u32(ground))
            side = kit.px(38)
            left = x + (wide - side) / 2
            picture = kit.picture("shape", name)
            if picture:
                draw.add_image_rounded(
                    imgui.ImTextureRef(picture), ImVec2(left, y + kit.px(3)), ImVec2(left + side, y + kit.px(3) + side),
                    ImVec2(0, 0), ImVec2(1, 1), u32(theme.TEXT), kit.px(5),
                )  # fmt: skip
            label = str(session.project.shapes.get(name, {}).get("label") or name)
            words = kit.fit(label, wide - kit.px(6), theme.SIDES)
            size = imgui.calc_text_size(words)
            draw.add_text(ImVec2(x + (wide - size.x) / 2, y + high - size.y - kit.px(2)), u32(theme.TEXT), words)
            marks = [k for k in ("solo", "mute", "lock") if ("column", name) in getattr(session.held, k)]
            for n, kind in enumerate(marks):
                kit.sign(kind, x + wide - kit.px(9), y + kit.px(10 + 13 * n), kit.px(11), theme.SAND)
            kit.seen[f"column {name}"] = (x, y, x + wide, y + high)

    # What the pointer does.

    def _pointed(self, stage: Stage, kit: Kit, region: str, shape: str) -> None:
        """The pointer is over a cell."""
        session = stage.opened
        key = self._key_at(stage, region, shape)
        weight = session.weight(key)
        if imgui.is_mouse_double_clicked(0):
            stage.guard(session.abort)
            self.drag, self.typing, self.typed = None, key, weight_words(weight or 0.0)
            session.region, session.shape = region, shape
        elif imgui.is_mouse_clicked(0):
            session.region, session.shape = region, shape
            if not session.held.locked(key):
                self.drag = (key, imgui.get_mouse_pos().x, weight or 0.0)
        elif imgui.is_mouse_clicked(1):
            session.region, session.shape, self.menu = region, shape, f"{region}\n{shape}\n{key[2]:d}"
            imgui.open_popup("row menu")
        elif self.drag is None and self.typing is None and weight is not None and _resting():
            with kit.hint():
                imgui.text(f"{region} × {shape}" + (" mirrored" if key[2] else ""))
                kit.quiet(f"{weight_words(weight)}; drag, wheel, or double click to type")

    def _key_at(self, stage: Stage, region: str, shape: str) -> CellKey:
        """The cell meant in a place of the board: the one that is there, else a new one."""
        session = stage.opened
        there = [m for m in (False, True) if session.weight((region, shape, m)) is not None]
        return (region, shape, there[0] if len(there) == 1 else self.mirrored)

    def _named(self, stage: Stage, kit: Kit, region: str) -> None:
        session = stage.opened
        if imgui.is_mouse_clicked(0):
            session.region = region
        elif imgui.is_mouse_clicked(1):
            session.region, self.menu = region, region
            imgui.open_popup("row menu")

    def _headed(self, stage: Stage, shape: str) -> None:
        session = stage.opened
        if imgui.is_mouse_clicked(0):
            session.shape = shape
        elif imgui.is_mouse_clicked(1):
            session.shape, self.menu = shape, f"\n{shape}"
            imgui.open_popup("row menu")

    def _dragged(self, stage: Stage) -> None:
        """A cell that is held: right is more, left is less; release is one step, Escape none."""
        session = stage.opened
        if self.drag is None:
            return
        key, start, weight = self.drag
        if imgui.is_key_pressed(imgui.Key.escape):
            session.abort()
            self.drag = None
            return
        moved = imgui.get_mouse_pos().x - start
        if abs(moved) >= 3.0 or session.previewing:
            fine = 0.2 if imgui.get_io().key_shift else 1.0
            wanted = min(max(weight + fine * moved / PIXELS_FOR_ONE, WEIGHT_RANGE[0]), WEIGHT_RANGE[1])
            cell = Cell(key[0], key[1], round(wanted, 2 if fine == 1.0 else 3), key[2])
            stage.guard(lambda: session.preview(cells_edit(stage, cell)))
        if not imgui.is_mouse_down(0):
            session.commit()
            self.drag = None

    def _type(self, stage: Stage, kit: Kit, rows: list[str], columns: list[str], x0: float, y0: float) -> None:
        """A field over the cell whose weight is typed."""
        key = self.typing
        if key is None:
            return
        if key[0] not in rows or key[1] not in columns:
            self.typing = None
            return
        wide, high = kit.px(COLUMN_WIDE), kit.px(ROW_HIGH)
        imgui.set_cursor_screen_pos(ImVec2(x0 + columns.index(key[1]) * wide, y0 + rows.index(key[0]) * high))
        imgui.set_next_item_width(wide)
        fresh = "typing" not in self.asked
        if fresh:
            imgui.set_keyboard_focus_here()
            self.asked.add("typing")
        flags = imgui.InputTextFlags_.enter_returns_true | imgui.InputTextFlags_.auto_select_all
        entered, self.typed = imgui.input_text("##weight", self.typed, flags)
        kit.mark("typed weight")
        done = entered or (not fresh and imgui.is_item_deactivated())
        if done:
            self.typing = None
            self.asked.discard("typing")
            if not imgui.is_key_pressed(imgui.Key.escape):
                stage.guard(lambda: self._typed(stage, key))

    def _typed(self, stage: Stage, key: CellKey) -> None:
        session = stage.opened
        try:
            weight = float(self.typed.replace(",", "."))
        except ValueError:
            stage.say(f"{self.typed!r} is no weight; type a number from -1 to 2", "wrong")
            return
        session.apply(cells_edit(stage, Cell(key[0], key[1], weight, key[2])))

    def _wheel(
        self, stage: Stage, rows: list[str], columns: list[str], row: int, column: int, here: bool, over: bool
    ) -> None:
        """The wheel turns the chosen cell when it is under the pointer, and scrolls everywhere else."""
        session, io = stage.opened, imgui.get_io()
        if not over or (io.mouse_wheel == 0 and io.mouse_wheel_h == 0):
            return
        if here and (rows[row], columns[column]) == (session.region, session.shape) and not io.key_shift:
            self.nudge(stage, WHEEL_STEP * io.mouse_wheel)
        elif io.key_shift:
            imgui.set_scroll_x(imgui.get_scroll_x() - io.mouse_wheel * 60)
        else:
            imgui.set_scroll_y(imgui.get_scroll_y() - io.mouse_wheel * 50)
            imgui.set_scroll_x(imgui.get_scroll_x() - io.mouse_wheel_h * 60)

    # What keys do, called by the window.

    def nudge(self, stage: Stage, by: float) -> None:
        """Change the chosen cell's weight by an amount, as one step."""
        session = stage.session
        if session is None or not session.shape or not session.project.recipes:
            return
        key = self._key_at(stage, session.region, session.shape)
        if session.held.locked(key):
            stage.say("That cell is locked.")
            return
        weight = min(max((session.weight(key) or 0.0) + by, WEIGHT_RANGE[0]), WEIGHT_RANGE[1])
        stage.do(cells_edit(stage, Cell(key[0], key[1], round(weight, 3), key[2])))

    def type_chosen(self, stage: Stage) -> None:
        """Open the field over the chosen cell."""
        session = stage.session
        if session is not None and session.shape and session.project.recipes:
            key = self._key_at(stage, session.region, session.shape)
            if not session.held.locked(key):
                self.typing, self.typed = key, weight_words(session.weight(key) or 0.0)

    def ask_menu(self, stage: Stage) -> None:
        """Open the menu of the chosen cell, or of the chosen row where no shape is chosen."""
        session = stage.session
        if session is not None and session.project.recipes:
            key = self._key_at(stage, session.region, session.shape)
            self.menu = f"{key[0]}\n{key[1]}\n{key[2]:d}" if session.shape else session.region
            self.asking = True

    def clear(self, stage: Stage) -> None:
        """Take the chosen cell out of the recipe."""
        session = stage.session
        if session is None:
            return
        key = self._key_at(stage, session.region, session.shape)
        if session.weight(key) is not None and not session.held.locked(key):
            name = session.recipe_name
            stage.do(lambda project: remove_cell(project, name, key))

    def step(self, stage: Stage, rows: int, columns: int) -> None:
        """Choose the cell so many rows and columns further on."""
        session = stage.session
        if session is None:
            return
        regions, shapes = self.rows(stage), self.columns(stage)
        if regions:
            at = regions.index(session.region) if session.region in regions else 0
            session.region = regions[min(max(at + rows, 0), len(regions) - 1)]
        if shapes:
            at = shapes.index(session.shape) if session.shape in shapes else 0
            session.shape = shapes[min(max(at + columns, 0), len(shapes) - 1)]


def _beside(words: str, gap: float) -> None:
    """The next button, of these words, goes beside the last one where there is room, else to the next line."""
    imgui.same_line(0, gap)
    if imgui.get_content_region_avail().x < imgui.calc_text_size(words).x + 2 * imgui.get_style().frame_padding.x:
        imgui.new_line()


def _name_wide(kit: Kit) -> float:
    """How wide the names of the rows are, in pixels: less on a narrow board, so that columns have room, too."""
    return max(min(kit.px(NAME_WIDE), 0.42 * imgui.get_window_width()), kit.px(110))


def _resting() -> bool:
    """Whether the pointer rests over the board long enough for a hint."""
    still = imgui.get_io().mouse_delta.x == 0 and not imgui.is_mouse_down(0)
    return still and imgui.is_window_hovered(imgui.HoveredFlags_.for_tooltip)


def swatch(kit: Kit, index: int, hue: int, x: float, y: float, draw: imgui.ImDrawList | None = None) -> None:
    """A region's colour and its number, so that colour is never the only sign."""
    red, green, blue = region_colour(hue)
    draw, r = draw or imgui.get_window_draw_list(), kit.px(10)
    draw.add_rect_filled(
        ImVec2(x - r, y - r * 0.8),
        ImVec2(x + r, y + r * 0.8),
        u32((red / 255, green / 255, blue / 255, 1.0)),
        kit.px(4),
    )
    words = str(index + 1)
    size = kit.px(11)
    wide = imgui.calc_text_size(words).x * size / imgui.get_font_size()
    draw.add_text(kit.faces.bold, size, ImVec2(x - wide / 2, y - size * 0.56), u32(theme.DARK), words)
