"""What the checks found on the open recipe: a list beside the head, worst first, with what to do about each and presses
that do it; choosing one shows on the head where it is."""

from __future__ import annotations

from dataclasses import dataclass, field

from imgui_bundle import ImVec2, imgui

from composer.checks.finding import Finding
from composer.checks.mends import by_sculpt, mends_of
from composer.checks.of_document import check_recipes
from composer.checks.pairs import pair_recipes
from composer.checks.sweep import sweep_recipes
from composer.document.evaluated import EvaluatedDocument
from composer.mixing.recipe import Recipe
from composer.progress import Progress
from composer.viewer.session.looking import look_at_finding
from composer.viewer.session.sculpts import accept_sculpt
from composer.viewer.session.stage import Stage
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit

INKS = {"error": theme.CORAL, "warning": theme.SAND, "note": theme.TIDE}
SIGNS = {"error": "mute", "warning": "star", "note": "dot"}


STEPS = 9
SMALL = 0.82
"""The size of codes, as a share of that of words."""


def _deeper(evaluated: EvaluatedDocument, recipe: Recipe, progress: Progress) -> list[Finding]:
    """Faults that appear only between the neutral and a recipe, or only together with another recipe."""
    findings = [each for one in sweep_recipes(evaluated, [recipe], STEPS, progress=progress) for each in one.findings]
    others = [other for other in evaluated.project.recipes if other.name != recipe.name]
    for number, other in enumerate(others):
        progress(number / len(others), f"{recipe.name} with {other.name}")
        findings += [each for one in pair_recipes(evaluated, [recipe, other]) for each in one.findings]
    return findings


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

    def shown(self, stage: Stage) -> bool:
        """Whether the list stands beside the head."""
        there = stage.dialogs.findings and self.recipe is not None and bool(self.found) and stage.place == "mix"
        if not there:
            stage.finding = None
        return there

    def draw(self, stage: Stage, kit: Kit) -> None:
        """The list, as a panel of its own."""
        assert self.recipe is not None
        room = imgui.get_content_region_avail().x
        imgui.align_text_to_frame_padding()
        with kit.bold():
            imgui.text(kit.fit(f"{len(self.found)} found", room - kit.px(70)))
        kit.at_right("Close")
        if kit.button("Close", "back to the shapes", name="Close findings"):
            stage.dialogs.findings, stage.finding = False, None
        kit.quiet(kit.fit(f"on {self.recipe.name}", room))
        if kit.button("Again", "check the recipe again as it is now", name="Check again"):
            self.look(stage)
        imgui.same_line(0, kit.px(4))
        deeper = f"also check {STEPS} steps from the neutral to the recipe, and pairs with every other recipe"
        if kit.button("Deeper", deeper, name="Check deeper"):
            self.look(stage, deep=True)
        if stage.opened.recipe != self.recipe:
            kit.quiet(kit.fit("the recipe has changed since", room))
        kit.area("found")
        for number, finding in enumerate(self.found):
            self._finding(stage, kit, number, finding)
        imgui.end_child()

    def _finding(self, stage: Stage, kit: Kit, number: int, finding: Finding) -> None:
        """One finding: what is wrong, how much, what to do about it, and the presses that do it."""
        draw, wide = imgui.get_window_draw_list(), imgui.get_content_region_avail().x
        at, chosen = imgui.get_cursor_screen_pos(), stage.finding is finding
        pad, left = kit.px(8), kit.px(26)
        room = wide - left - pad
        high = self._words_high(kit, finding, room) + pad
        over = imgui.SelectableFlags_.allow_overlap
        if imgui.selectable(f"##finding {number}", chosen, over, ImVec2(wide, high))[0]:
            stage.finding = None if chosen else finding
            if stage.finding is not None:
                look_at_finding(stage, finding)
        kit.mark(f"finding {number}")
        kit.sign(SIGNS[finding.severity], at.x + kit.px(12), at.y + kit.px(12), kit.px(13), INKS[finding.severity])
        y = at.y + kit.px(3)
        font, size = imgui.get_font(), imgui.get_font_size()
        for words, ink, share in self._lines(finding):
            draw.add_text(font, size * share, ImVec2(at.x + left, y), theme.u32(ink), words, room)
            y += _high(words, room, share) + kit.px(2)
        self._presses(stage, kit, number, finding, ImVec2(at.x + left, at.y + high), room)
        imgui.dummy(ImVec2(0, kit.px(6)))

    def _lines(self, finding: Finding) -> list[tuple[str, theme.Ink, float]]:
        """What is written, with its ink and its size."""
        words = finding.words[:1].upper() + finding.words[1:]
        lines = [(f"{words}.", theme.TEXT, 1.0)]
        if finding.hint:
            lines.append((f"{finding.hint[:1].upper()}{finding.hint[1:]}.", theme.QUIET, 1.0))
        beside = [finding.severity, finding.measure, finding.where if finding.where not in finding.words else ""]
        lines.append(("   ".join(filter(None, (*beside, finding.code))), theme.QUIET, SMALL))
        return lines

    def _words_high(self, kit: Kit, finding: Finding, room: float) -> float:
        return sum(_high(words, room, share) + kit.px(2) for words, _, share in self._lines(finding))

    def _presses(self, stage: Stage, kit: Kit, number: int, finding: Finding, at: ImVec2, room: float) -> None:
        """The ways to mend it, each a press and one step of undo."""
        session = stage.opened
        imgui.set_cursor_screen_pos(at)
        recipe = next((r for r in session.project.recipes if self.recipe and r.name == self.recipe.name), None)
        if recipe is None:
            return
        used, pad = 0.0, 2 * imgui.get_style().frame_padding.x
        presses = [(m.name, m.words, m.hint, m) for m in mends_of(finding, recipe, session.evaluated.effective)]
        fix = ("fix", "Take back a fix", "bake this recipe, sculpt the place elsewhere, and take the sculpt back here: "
               "it comes in with these cells as a corrective", None)  # fmt: skip
        for name, words, hint, mend in [*presses, *([fix] if by_sculpt(finding) else [])]:
            wide = imgui.calc_text_size(words).x + pad
            if used and used + wide + kit.px(4) <= room:
                imgui.same_line(0, kit.px(4))
            else:
                imgui.set_cursor_screen_pos(ImVec2(at.x, imgui.get_cursor_screen_pos().y))
                used = 0.0
            used += wide + kit.px(4)
            if kit.button(f"{words}##{number}", hint, name=f"{name} {number}"):
                if mend is not None:
                    if stage.do(mend.edit, mend.told):
                        self.look(stage)
                else:
                    stage.dialogs.path_for = (f"The sculpted bake of {recipe.name}", "Accept",
                                              lambda path: accept_sculpt(stage, path))  # fmt: skip


def _high(words: str, room: float, share: float) -> float:
    """The height of words wrapped to a width in pixels, written at a share of the size."""
    return imgui.calc_text_size(words, wrap_width=room / share).y * share
