"""The sheet that saves a picture of what is seen: still, turned about, with the chosen cell swept, or a clip."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from imgui_bundle import ImVec2, imgui

from composer.errors import MoueError
from composer.head.file_names import file_names
from composer.picture.frames_on_disk import MOVING
from composer.picture.sizes import LARGEST, SMALLEST, STILL, size_of
from composer.viewer.panels.sheets import begin_sheet, end_sheet
from composer.viewer.scene.overlay import Overlays
from composer.viewer.session.saved_picture import (
    SAVING,
    WITH_POSE,
    Kind,
    Wish,
    place_fault,
    save_picture,
    seen_now,
    there_already,
)
from composer.viewer.session.stage import Stage
from composer.viewer.session.time_strip import TimeStrip
from composer.viewer.session.trying import Trying
from composer.viewer.ui.kit import Kit

KINDS: dict[str, str] = {"still": "Still", "turn": "Turned about", "sweep": "Cell swept", "clip": "The clip"}
HINTS = {
    "still": "what you see, as a PNG", "turn": "turned once about, from what you see",
    "sweep": "the chosen cell from 0 to 100 percent and back", "clip": "every frame of the clip in the strip of time",
}  # fmt: skip
FORMS = {"webp": "Animated WebP", "frames": "A PNG a frame"}
SIZES = {"view": "As the view", "double": "Twice that", "own": "Own"}
WIDE = 480.0
"""Width of the fields, in pixels at scale 1."""
STEPS = {"turn": (12, 240), "sweep": (3, 120)}
"""The least and the most pictures of a movement (our choice)."""


@dataclass
class PictureSheet:
    """What was chosen last."""

    kind: str = "still"
    form: str = "webp"
    size: str = "view"
    width: int = STILL[0]
    height: int = STILL[1]
    clear: bool = False
    turn: int = 48
    sweep: int = 24
    folder: str = ""
    name: str = ""
    over: bool = False
    fault: str = ""
    _named: str = ""
    _looked: tuple = ()
    _stands: tuple[str, bool] = ("", False)

    def draw(self, stage: Stage, kit: Kit, trying: Trying, strip: TimeStrip) -> None:
        """The sheet, while it is asked for."""
        if not stage.dialogs.picture or not begin_sheet("picture", kit):
            return
        if imgui.is_window_appearing():
            self.folder = self.folder or str(stage.opened.path.parent)
            self.fault, self._looked = "", ()
        with kit.bold():
            imgui.text("Save a picture of what you see")
        self._kind(stage, kit, strip)
        self._size(stage, kit)
        self._place(stage, kit, strip)
        wish = self.wish(stage)
        fault, there = self._stand(stage, wish)
        if there and not fault:
            words = kit.fit(f"overwrite {wish.path.name}, which is there", kit.px(WIDE))
            _, self.over = imgui.checkbox(f"{words}###picture over", self.over)
            kit.mark("picture over")
        kit.fault(self.fault or fault, "picture", kit.px(WIDE))
        imgui.dummy(ImVec2(0, kit.px(4)))
        busy = any(job.name == SAVING for job in stage.work.jobs)
        able = not fault and not self._why_not(stage, strip) and (self.over or not there) and not busy
        if kit.button("Save", name="picture save", able=able, on=able):
            self._save(stage, trying, strip, wish)
        imgui.same_line()
        if kit.button("Cancel", name="picture leave") or imgui.is_key_pressed(imgui.Key.escape):
            stage.dialogs.picture = False
        end_sheet(stage.dialogs.picture)

    def wish(self, stage: Stage) -> Wish:
        """What was chosen."""
        suffix = ".png" if self.kind == "still" else MOVING if self.form == "webp" else ""
        path = Path(self.folder.strip().strip('"')).expanduser() / f"{self.name.strip()}{suffix}"
        kind: Kind = self.kind  # type: ignore[assignment]
        steps = self.sweep if kind == "sweep" else self.turn
        return Wish(kind, path, self._pixels(stage), self.clear, steps, self.over)

    def _pixels(self, stage: Stage) -> tuple[int, int]:
        """Width and height; both sides of a view that is larger than a picture may be are made smaller alike."""
        if self.size == "own":
            return self.width, self.height
        wide, high = stage.view_size
        times = 2.0 if self.size == "double" else 1.0
        times = min(times, LARGEST / max(wide, high))
        return max(round(wide * times), SMALLEST), max(round(high * times), SMALLEST)

    def _kind(self, stage: Stage, kit: Kit, strip: TimeStrip) -> None:
        kind = kit.choice(KINDS, self.kind, HINTS, "picture ")
        if kind != self.kind:
            self.kind, self.over, self.fault = kind, False, ""
        why = self._why_not(stage, strip)
        if why:
            kit.quiet(why)
        elif self.kind in ("sweep", "clip") and stage.overlay in WITH_POSE:
            follows = self.kind == "sweep" and stage.overlay == "movement"
            kit.quiet("The colours follow the movement." if follows else "Without colours: they are of one pose.")
        elif stage.overlay == "skin":
            kit.quiet("Without the skin's texture, which pictures do not have yet.")
        if any(not one.hidden for one in stage.opened.project.references):
            kit.quiet("Without the reference pictures.")
        if self.kind == "still":
            return
        self.form = kit.choice(FORMS, self.form, key="picture as ")
        if self.kind in STEPS:
            imgui.same_line(0, kit.px(8))
            low, high = STEPS[self.kind]
            held = self.turn if self.kind == "turn" else self.sweep
            _, count = kit.slider("picture steps", held, low, high, "%.0f pictures", wide=kit.px(200))
            setattr(self, self.kind, round(count))

    def _why_not(self, stage: Stage, strip: TimeStrip) -> str:
        """Why there is no picture of this kind now, "" where there is."""
        if self.kind == "sweep" and not stage.opened.shape:
            return "Choose a shape in the tray, or a cell on the board: that is swept."
        if self.kind == "clip" and strip.made is None:
            return "Show the strip of time with a clip first."
        return ""

    def _size(self, stage: Stage, kit: Kit) -> None:
        size = kit.choice(SIZES, self.size, key="picture size ")
        if size == "own" and self.size != "own":
            self.width, self.height = self._pixels(stage)
        self.size = size
        imgui.same_line(0, kit.px(8))
        if self.size != "own":
            imgui.align_text_to_frame_padding()
            kit.quiet("{} x {} pixels".format(*self._pixels(stage)))
        else:
            for name, held in (("width", self.width), ("height", self.height)):
                imgui.set_next_item_width(kit.px(72))
                _, value = imgui.input_int(f"##picture {name}", held, 0, 0)
                kit.mark(f"picture {name}")
                setattr(self, name, value)
                imgui.same_line(0, kit.px(4))
            imgui.align_text_to_frame_padding()
            kit.quiet("pixels wide and high")
        _, self.clear = imgui.checkbox("Without the ground", self.clear)
        kit.mark("picture clear")
        kit.tip("transparent about the head, to be laid over something else")

    def _place(self, stage: Stage, kit: Kit, strip: TimeStrip) -> None:
        usual = self._usual_name(stage, strip)
        if self.name in ("", self._named):
            self.name = self._named = usual
        kit.quiet("into this folder")
        imgui.set_next_item_width(kit.px(WIDE))
        _, self.folder = kit.text_field("picture folder", self.folder)
        kit.quiet("under this name")
        imgui.set_next_item_width(kit.px(WIDE))
        before = self.name
        _, self.name = kit.text_field("picture name", self.name)
        if self.name != before:
            self.over, self.fault = False, ""

    def _usual_name(self, stage: Stage, strip: TimeStrip) -> str:
        name = strip.name if self.kind == "clip" else stage.seen_recipe.name or stage.opened.title
        swept = f"_{stage.opened.shape}" if stage.opened.shape else ""
        name = (name or "picture") + {"turn": "_turn", "sweep": swept}.get(self.kind, "")
        return Path(file_names([name], ".png")[name]).stem

    def _stand(self, stage: Stage, wish: Wish) -> tuple[str, bool]:
        """What is wrong with the choices, and whether something is there; looked at where they change, and each second.
        """
        key = (wish.path, wish.kind, wish.size, int(stage.clock()))
        if key != self._looked:
            self._looked = key
            fault = ""
            try:
                size_of("{}x{}".format(*wish.size))
                if not self.name.strip():
                    raise MoueError("the picture has no name", hint="give it one")
            except MoueError as error:
                fault = str(error)
            self._stands = fault or place_fault(wish, stage.opened.project), there_already(wish)
        return self._stands

    def _save(self, stage: Stage, trying: Trying, strip: TimeStrip, wish: Wish) -> None:
        cover = Overlays().of(stage, trying, True).cover
        try:
            save_picture(stage, seen_now(stage, cover, strip.made), wish)
        except MoueError as error:
            self.fault = str(error)
            return
        self.over, stage.dialogs.picture = False, False
