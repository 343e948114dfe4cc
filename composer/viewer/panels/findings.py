"""What the checks found on the open recipe: a list, worst first; choosing one shows on the head where it is."""

from __future__ import annotations

from dataclasses import dataclass, field

from imgui_bundle import ImVec2, imgui

from composer.checks.finding import Finding
from composer.checks.of_document import check_recipes
from composer.checks.pairs import pair_recipes
from composer.checks.sweep import sweep_recipes
from composer.document.evaluated import EvaluatedDocument
from composer.edits.softness import set_softness
from composer.mixing.recipe import Recipe
from composer.progress import Progress
from composer.viewer.session.looking import look_at_finding
from composer.viewer.session.stage import Stage
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from masks.soft_border import WIDEST_MM

INKS = {"error": theme.CORAL, "warning": theme.SAND, "note": theme.TIDE}
SIGNS = {"error": "mute", "warning": "star", "note": "dot"}


STEPS = 9


def _deeper(evaluated: EvaluatedDocument, recipe: Recipe, progress: Progress) -> list[Finding]:
    """Faults that appear only between the neutral and a recipe, or only together with another recipe."""
    findings = [each for one in sweep_recipes(evaluated, [recipe], STEPS, progress=progress) for each in one.findings]
    others = [other for other in evaluated.project.recipes if other.name != recipe.name]
    for number, other in enumerate(others):
        progress(number / len(others), f"{recipe.name} with {other.name}")
        findings += [each for one in pair_recipes(evaluated, [recipe, other]) for each in one.findings]
    return findings


WORDS_PX, MEND_PX = 66.0, 32.0
"""Height of the words of a finding, and of the press that mends it, at scale 1."""


def _mends(stage: Stage, finding: Finding) -> bool:
    """Whether a finding has a press that mends it."""
    return finding.ramp_mm > 0.0 and finding.where in stage.opened.region_names


@dataclass
class Findings:
    """What was found, on which recipe as it then was, and which finding is looked at."""

    found: list[Finding] = field(default_factory=list)
    recipe: Recipe | None = None

    def look(self, stage: Stage, deep: bool = False) -> None:
        """Run every check on the open recipe beside the frame loop; `deep` also checks steps from the neutral to it,
        and pairs with every other recipe."""
        session = stage.opened
        if not session.recipe_name:
            stage.say("There is no recipe to check yet. Make one first.")
            return
        evaluated, recipe = session.evaluated, session.recipe

        def checked(progress: Progress) -> list[Finding]:
            share = 0.3 if deep else 1.0
            found = [
                finding
                for _, _, found in check_recipes(evaluated, [recipe], lambda f, words: progress(share * f, words))
                for finding in found
            ]
            if deep:
                found += _deeper(evaluated, recipe, lambda f, words: progress(0.3 + 0.7 * f, words))
            return sorted(found, key=lambda finding: finding.rank)

        def done(found: list[Finding]) -> None:
            self.found, self.recipe = found, recipe
            stage.dialogs.findings = True
            if not found:
                stage.say(f"Nothing found on {recipe.name}.", "done")

        stage.work.begin(f"Checking {recipe.name}", checked, done)

    def draw(self, stage: Stage, kit: Kit) -> None:
        """The list over the view, while it is open."""
        if not stage.dialogs.findings or self.recipe is None or not self.found or stage.place != "mix":
            stage.finding = None
            return
        left, top, width, height = stage.view
        wide, high = min(kit.px(330), width * 0.5), min(kit.px(64) + self._tall(stage, kit), height - kit.px(70))
        imgui.set_next_window_pos(ImVec2(left + width - wide - kit.px(12), top + kit.px(50)))
        imgui.set_next_window_size(ImVec2(wide, high))
        imgui.push_style_color(imgui.Col_.window_bg, theme.vec4((*theme.DEEP[:3], 0.94)))
        imgui.push_style_var(imgui.StyleVar_.window_rounding, kit.px(8))
        flags = imgui.WindowFlags_.no_decoration | imgui.WindowFlags_.no_move | imgui.WindowFlags_.no_saved_settings
        imgui.begin("findings", None, flags)
        with kit.bold():
            imgui.text(kit.fit(f"{len(self.found)} found on {self.recipe.name}", wide - kit.px(150)))
        kit.at_right("Again")
        if kit.button("Again", "check the recipe again as it is now", name="Check again"):
            self.look(stage)
        imgui.same_line(imgui.get_window_width() - kit.px(132))
        if kit.button("Close", name="Close findings"):
            stage.dialogs.findings, stage.finding = False, None
        if kit.button(
            "Deeper",
            f"also check {STEPS} steps from the neutral to the recipe, and pairs with every other recipe",
            name="Check deeper",
        ):
            self.look(stage, deep=True)
        if stage.opened.recipe != self.recipe:
            imgui.same_line()
            kit.quiet("the recipe has changed since")
        kit.area("found")
        for number, finding in enumerate(self.found):
            self._row(stage, kit, number, finding)
        imgui.end_child()
        imgui.end()
        imgui.pop_style_var()
        imgui.pop_style_color()

    def _tall(self, stage: Stage, kit: Kit) -> float:
        """The height of all rows."""
        mends = sum(_mends(stage, finding) for finding in self.found)
        return kit.px(WORDS_PX + 6.0) * len(self.found) + kit.px(MEND_PX) * mends

    def _row(self, stage: Stage, kit: Kit, number: int, finding: Finding) -> None:
        at, wide, high = imgui.get_cursor_screen_pos(), imgui.get_content_region_avail().x, kit.px(WORDS_PX)
        mends = _mends(stage, finding)
        high += kit.px(MEND_PX) if mends else 0.0
        over = imgui.SelectableFlags_.allow_overlap
        if imgui.selectable(f"##finding {number}", stage.finding is finding, over, ImVec2(wide, high))[0]:
            stage.finding = None if stage.finding is finding else finding
            if stage.finding is not None:
                look_at_finding(stage, finding)
        kit.mark(f"finding {number}")
        draw, ink = imgui.get_window_draw_list(), INKS[finding.severity]
        kit.sign(SIGNS[finding.severity], at.x + kit.px(11), at.y + kit.px(11), kit.px(13), ink)
        words = f"{finding.severity}: {finding.words}"
        draw.push_clip_rect(at, ImVec2(at.x + wide, at.y + high), True)
        draw.add_text(
            imgui.get_font(), imgui.get_font_size(), ImVec2(at.x + kit.px(24), at.y + kit.px(2)), theme.u32(theme.TEXT),
            words, wide - kit.px(28),
        )  # fmt: skip
        draw.pop_clip_rect()
        if imgui.is_item_hovered(imgui.HoveredFlags_.for_tooltip):
            with kit.hint():
                imgui.text(words)
                kit.quiet(f"{finding.where}. {finding.hint}" if finding.hint else finding.where)
        if mends:
            self._widen(stage, kit, number, finding, ImVec2(at.x + kit.px(24), at.y + kit.px(WORDS_PX)))

    def _widen(self, stage: Stage, kit: Kit, number: int, finding: Finding, at: ImVec2) -> None:
        """The press that mends a border: its ramp as wide as the finding says."""
        below = imgui.get_cursor_screen_pos()
        imgui.set_cursor_screen_pos(at)
        wide_mm = float(round(min(finding.ramp_mm, WIDEST_MM)))
        hint = f"give the border of {finding.where} a ramp of {wide_mm:g} mm, in every recipe"
        if kit.button(f"Widen to {wide_mm:g} mm##{number}", hint, name=f"widen {number}"):
            words = f"The border of {finding.where} is {wide_mm:g} mm wide now."
            stage.do(lambda project: set_softness(project, finding.where, wide_mm), words)
            self.look(stage)
        imgui.set_cursor_screen_pos(below)
