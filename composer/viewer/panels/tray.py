"""The tray: every shape as a picture of the open head, to be searched, marked, grouped and dragged onto the face."""

from __future__ import annotations

from dataclasses import dataclass, field

from imgui_bundle import ImVec2, imgui

from composer.document.earlier_heads import GROUP
from composer.edits.shapes import delete_kept_shape, group_shape, hide_shape, label_shape, mark_shape
from composer.picture.two_lines import Lines
from composer.viewer.session.cell_edits import carried_edit
from composer.viewer.session.dropped import tell_dropped
from composer.viewer.session.hardly import Hardly
from composer.viewer.session.pointing import look_up, region_at
from composer.viewer.session.sculpts import retouch_shape
from composer.viewer.session.stage import Stage
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32

DIMMED = 0.4
"""Opacity of the picture of a shape that hardly moves the region that is pointed at, or else chosen."""
STEP = 1.12
"""A step of the wheel makes pictures so many times as large."""
EVERYTHING, MARKED, UNUSED = "All", "Favourites", "Hidden"
SMALLEST, LARGEST = 48, 240


@dataclass
class Tray:
    """What is searched for, which group is shown, and which shape's menu is open."""

    search: str = ""
    group: str = EVERYTHING
    menu: str = ""
    label: str = ""
    wanted_group: str = ""
    pressed: str = ""
    shown: tuple[str, str] = ("", "")
    labels: dict[str, str] = field(default_factory=dict)
    words: dict[str, Lines] = field(default_factory=dict)
    reach: Hardly = field(default_factory=Hardly)

    def draw(self, stage: Stage, kit: Kit) -> None:
        """The whole panel."""
        session = stage.opened
        imgui.align_text_to_frame_padding()
        with kit.bold():
            imgui.text("Shapes")
        names = self.names(stage)
        imgui.same_line()
        total = len(session.head.shapes)
        kit.quiet(f"{len(names)} of {total}" if len(names) != total else f"{total}")
        self._size(stage, kit)
        tip = "by name, by label, or by a region that a shape moves: brow, mouth left"
        self.search = kit.search("search shapes", self.search, tip=tip)
        self._where_shapes_move(stage)
        self._groups(stage, kit)
        kit.area("shapes")
        self.reach.begin(stage, bool(self.search.strip()))
        self._grid(stage, kit, names)
        self._menu(stage, kit)
        imgui.end_child()

    def _size(self, stage: Stage, kit: Kit) -> None:
        """How large the pictures are: a slider at the end of the line, and Ctrl and the wheel over them."""
        settings, wide = stage.settings, kit.px(74)
        imgui.same_line()
        room = imgui.get_content_region_avail().x
        if room < wide:
            imgui.new_line()
            wide = -1.0
        else:
            imgui.set_cursor_pos_x(imgui.get_cursor_pos_x() + room - wide)
        changed, size = kit.slider("picture size", settings.picture_px, SMALLEST, LARGEST, "size", wide=wide)
        kit.tip("how large the pictures are; Ctrl and the wheel over them")
        if changed:
            settings.picture_px = round(size)

    def names(self, stage: Stage) -> list[str]:
        """Shapes that fit the search and the group: every word in a shape's name, its label or one region it moves;
        those first of which the name itself has more of the words."""
        session = stage.opened
        entries = session.project.shapes
        words = self.search.lower().split()
        kept = []
        for name in session.head.shape_names:
            entry = entries.get(name, {})
            if bool(entry.get("hidden")) != (self.group == UNUSED):
                continue
            if self.group == MARKED and not entry.get("marked"):
                continue
            if self.group not in (EVERYTHING, MARKED, UNUSED) and group_of(stage, name) != self.group:
                continue
            text = f"{name} {entry.get('label', '')}".lower().replace(" ", "_")
            if any(all(word in each for word in words) for each in (text, *session.moved_by(name))):
                kept.append((-sum(word in text for word in words), name))
        return [name for _, name in sorted(kept, key=lambda each: each[0])]

    def _where_shapes_move(self, stage: Stage) -> None:
        """Find out beside the frame loop what the search by region needs."""
        session, name = stage.opened, "Looking where shapes move"
        if not self.search.strip() or session.knows_moved or any(job.name == name for job in stage.work.jobs):
            return
        stage.work.begin(name, session.look_for_moved, session.take_moved, quiet=True)

    def _groups(self, stage: Stage, kit: Kit) -> None:
        session = stage.opened
        entries = session.project.shapes.values()
        groups = [EVERYTHING]
        groups += [MARKED] if any(entry.get("marked") for entry in entries) else []
        groups += sorted(filter(None, {group_of(stage, name) for name in session.head.shape_names}))
        groups += [UNUSED] if any(entry.get("hidden") for entry in entries) else []
        if self.group not in groups:
            self.group = EVERYTHING
        if len(groups) == 1:
            return
        width = imgui.get_content_region_avail().x
        for i, name in enumerate(groups):
            wide = imgui.calc_text_size(name).x + kit.px(22)
            if i and imgui.get_cursor_screen_pos().x:
                imgui.same_line(0, kit.px(4))
                if imgui.get_cursor_pos_x() + wide > width + kit.px(12):
                    imgui.new_line()
            if kit.button(f"{name}##group", "", on=name == self.group, name=f"group {name}"):
                self.group = name

    def _grid(self, stage: Stage, kit: Kit, names: list[str]) -> None:
        if not names:
            kit.quiet("No shape matches the search." if stage.opened.head.shapes else "This head has no shapes yet.")
            return
        room, gap = imgui.get_content_region_avail().x, kit.px(6)
        io = imgui.get_io()
        if io.key_ctrl and io.mouse_wheel and imgui.is_window_hovered():
            size = stage.settings.picture_px * STEP**io.mouse_wheel
            stage.settings.picture_px = round(min(max(size, SMALLEST), LARGEST))
        across = max(round((room + gap) / (kit.px(stage.settings.picture_px) + gap)), 1)
        side = (room - gap * (across - 1)) / across
        start = imgui.get_cursor_screen_pos()
        entries = stage.opened.project.shapes
        self.labels = {name: str(entries.get(name, {}).get("label") or name) for name in names}
        self.words = kit.in_two_lines(list(self.labels.values()), side)
        tall = imgui.get_text_line_height() * (2 if any(second for _, second in self.words.values()) else 1)
        high = side + kit.px(6) + tall
        lines = -(-len(names) // across)
        top = imgui.get_scroll_y()
        first = max(int(top // (high + gap)) - 1, 0)  # one line more on both sides, for the keyboard to walk on to
        last = min(int((top + imgui.get_window_height()) // (high + gap)) + 2, lines)
        for line in range(first, last):
            for column, name in enumerate(names[line * across : (line + 1) * across]):
                imgui.set_cursor_screen_pos(ImVec2(start.x + column * (side + gap), start.y + line * (high + gap)))
                self._card(stage, kit, name, side, high)
        imgui.set_cursor_screen_pos(start)
        imgui.dummy(ImVec2(1, lines * (high + gap)))

    def _card(self, stage: Stage, kit: Kit, name: str, side: float, high: float) -> None:
        session = stage.opened
        entry = session.project.shapes.get(name, {})
        at, draw = imgui.get_cursor_screen_pos(), imgui.get_window_draw_list()
        star = ImVec2(at.x + side - kit.px(11), at.y + kit.px(11))
        mouse, marked = imgui.get_mouse_pos(), bool(entry.get("marked"))
        on_star = abs(mouse.x - star.x) < kit.px(11) and abs(mouse.y - star.y) < kit.px(11)
        if imgui.invisible_button(f"shape {name}", ImVec2(side, high), imgui.ButtonFlags_.enable_nav):
            if on_star and imgui.is_mouse_released(0):
                stage.do(lambda p: mark_shape(p, name, not marked))
            else:
                session.shape = name
        kit.mark(f"shape {name}")
        kit.seen[f"star {name}"] = (star.x - 4, star.y - 4, star.x + 4, star.y + 4)
        hovered, chosen = imgui.is_item_hovered(), session.shape == name
        if imgui.is_item_activated():
            self.pressed = name
        if self.pressed == name and imgui.is_mouse_dragging(0, kit.px(5)) and imgui.is_item_active():
            stage.carried_shape = name
        if kit.menu_asked():
            session.shape, self.menu = name, name
            self.label, self.wanted_group = str(entry.get("label", "")), str(entry.get("group", ""))
            imgui.open_popup("shape menu")
        picture = kit.picture("shape", name)
        box = ImVec2(at.x, at.y), ImVec2(at.x + side, at.y + side)
        dim = DIMMED if self.reach.hardly(session, name) and not (chosen or hovered) else 1.0
        if picture:
            ink = u32(theme.TEXT, dim)
            draw.add_image_rounded(imgui.ImTextureRef(picture), *box, ImVec2(0, 0), ImVec2(1, 1), ink, kit.px(6))
        else:
            draw.add_rect_filled(*box, u32(theme.RAISED), kit.px(6))
        if chosen or hovered:
            draw.add_rect(*box, u32(theme.SAND if chosen else theme.QUIET), kit.px(6), kit.px(2.2 if chosen else 1.2))
        if marked or hovered:
            shade = theme.SAND if marked else theme.TEXT if on_star else theme.QUIET
            draw.add_circle_filled(star, kit.px(9), u32(theme.DEEP, 0.55))
            kit.sign("star", star.x, star.y, kit.px(14), shade)
        ink = u32(theme.TEXT if chosen or hovered else theme.QUIET, 0.4 + 0.6 * dim)
        kit.label(self.words[self.labels[name]], at.x, at.y + side + kit.px(2), side, ink)
        if hovered and not stage.carried_shape and imgui.is_item_hovered(imgui.HoveredFlags_.for_tooltip):
            with kit.hint():
                kit.text(str(entry.get("label") or name))
                if entry.get("label"):
                    kit.quiet(name)
                words = f"moves up to {session.furthest_mm(name):.1f} mm"
                betweens = len(session.head.shape(name).inbetweens)
                kit.quiet(words + (f", {betweens} in-between{'s' * (betweens > 1)}" if betweens else ""))
                if self.reach.hardly(session, name):
                    kit.quiet("hardly moves the region that is chosen")
                kit.quiet("drag it onto the face")

    def carried_over(self, stage: Stage, mirrored: bool) -> None:
        """Show the carried shape while it is over the head, and end its preview beside it."""
        if stage.in_view(*stage.pointer):
            self.over_face(stage, mirrored)
        elif stage.opened.previewing:
            stage.opened.abort()
            self.shown = ("", "")

    def over_face(self, stage: Stage, mirrored: bool) -> None:
        """A shape is carried over the head: it is shown in the region under the pointer."""
        session, shape = stage.opened, stage.carried_shape
        region = region_at(stage, look_up(stage, *stage.pointer))
        if region and (region, shape) != self.shown:
            stage.guard(lambda: session.preview(carried_edit(stage, region, shape, mirrored)))
        elif not region and session.previewing:
            session.abort()
        self.shown = (region, shape)
        session.region = region or session.region

    def let_go(self, stage: Stage, mirrored: bool) -> None:
        """Drop the carried shape: its preview becomes one step; beside the face nothing happens."""
        session, shape = stage.opened, stage.carried_shape
        stage.carried_shape, self.shown = "", ("", "")
        region = region_at(stage, look_up(stage, *stage.pointer))
        if not region:
            session.abort()
            if look_up(stage, *stage.pointer) is not None:
                stage.say("There is no region at that place. Drop the picture on a row of the board instead.")
            return
        if stage.do(carried_edit(stage, region, shape, mirrored)):
            tell_dropped(stage, region, shape, mirrored)
            session.region, session.shape = region, shape

    def _menu(self, stage: Stage, kit: Kit) -> None:
        session = stage.opened
        if not imgui.begin_popup("shape menu"):
            return
        name = self.menu
        entry = session.project.shapes.get(name, {})
        with kit.bold():
            kit.text(name)
        for words, held, edit in (("label", "label", label_shape), ("group", "wanted_group", group_shape)):
            imgui.set_next_item_width(kit.px(190))
            enter = imgui.InputTextFlags_.enter_returns_true
            entered, text = kit.text_field(f"shape {words}", getattr(self, held), flags=enter)
            imgui.same_line(0, kit.px(6))
            imgui.text(words)
            setattr(self, held, text)
            if entered:
                stage.do(lambda p, e=edit, t=text: e(p, name, t.strip()))  # type: ignore[misc]
                imgui.close_current_popup()
        imgui.separator()
        marked, hidden = bool(entry.get("marked")), bool(entry.get("hidden"))
        if imgui.menu_item("Remove from favourites" if marked else "Add to favourites", "", False)[0]:
            stage.do(lambda p: mark_shape(p, name, not marked))
        kit.mark("Mark shape")
        if imgui.menu_item("Show in the tray again" if hidden else "Hide from the tray", "", False)[0]:
            stage.do(lambda p: hide_shape(p, name, not hidden))
        kit.mark("Hide shape")
        if imgui.menu_item("Retouch with a sculpt", "", False)[0]:
            heading = f"The sculpted target of {name}"
            stage.dialogs.path_for = (heading, "Retouch", lambda path: retouch_shape(stage, name, path))
        kit.mark("Retouch shape")
        words, done = "Delete this kept shape", f"Deleted {name}."
        if entry.get("replaces"):
            words, done = "Back to the library's own", f"{name} is the library's own again."
        if entry.get("delta") and imgui.menu_item(words, "", False)[0]:
            stage.do(lambda p: delete_kept_shape(p, name), done)
        imgui.end_popup()


def group_of(stage: Stage, name: str) -> str:
    """The group of a shape in the tray, empty for none; earlier heads stand in one of their own unless said."""
    session = stage.opened
    own = str(session.project.shapes.get(name, {}).get("group", ""))
    return own or (GROUP if session.head.shape(name).is_head else "")


def carried_ghost(stage: Stage, kit: Kit) -> None:
    """The picture at the pointer while a shape is carried."""
    if not stage.carried_shape:
        return
    draw, mouse, side = imgui.get_foreground_draw_list(), imgui.get_mouse_pos(), kit.px(64)
    picture = kit.picture("shape", stage.carried_shape)
    low = ImVec2(mouse.x + kit.px(12), mouse.y + kit.px(12))
    high = ImVec2(low.x + side, low.y + side)
    if picture:
        draw.add_image_rounded(
            imgui.ImTextureRef(picture), low, high, ImVec2(0, 0), ImVec2(1, 1), u32(theme.TEXT, 0.9), kit.px(6)
        )
    draw.add_rect(low, high, u32(theme.SAND), kit.px(6), kit.px(1.5))
