"""The document that is open: its history, its head ready to mix, and the pose that follows every edit.

A `Session` knows nothing of windows. Edits are plain functions project -> project, applied as steps or previewed
while something is held; the live pose follows by the shortest way: one weight changed touches only what that cell
reaches. `frame` gives what a view draws.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.document.history import Edit, History
from composer.document.project import Project, Region
from composer.document.region_signs import Sign, signs_of, with_signs_kept
from composer.errors import MoueError
from composer.head.head import Head
from composer.mixing.active import LivePose
from composer.mixing.columns import NOTHING, Range, widened
from composer.mixing.linear import Mixer
from composer.mixing.moved_regions import moved_regions
from composer.mixing.recipe import ALL, Cell, CellKey, Recipe
from composer.progress import Progress
from composer.viewer.render.normals import Normals
from composer.viewer.session.changed_cells import changed_cells
from composer.viewer.session.frame import Frame
from composer.viewer.session.heads import Heads
from composer.viewer.session.held import Held
from composer.viewer.session.joined import Joined, ShownJoin, joined_recipe, waits_for_contact
from composer.viewer.session.middle import middle_of
from composer.viewer.session.opening import Opened
from composer.viewer.session.rough_normals import rough_normals

EMPTY = Recipe("")


class Session:
    """One open document."""

    def __init__(self, opened: Opened, arriving: bool = False) -> None:
        """Take what was opened; a head that is still `arriving` gets its shapes one by one, and no edit is taken."""
        self.arriving = arriving
        self.evaluated = opened.evaluated
        self.file = opened.file
        self.notes = opened.notes
        self.history = History(opened.evaluated.project)
        self._heads = Heads(opened.evaluated)
        self.recovered = opened.recovered
        self.saved: Project | None = opened.evaluated.project if opened.file and not opened.recovered else None
        self.held = Held()
        self.linked = False
        self.recipe_name = next((recipe.name for recipe in self.project.recipes), "")
        self.region = ALL
        self.shape = ""
        self.version = 0
        self._prepared = opened.evaluated
        self._on_card = False
        self._join = ShownJoin()
        self._seen: object = None
        self.target: NDArray[np.float32] | None = None
        self._override: NDArray[np.float32] | None = None
        self._normals = Normals(self.head, stands=arriving)
        self._rough, self._between = rough_normals(self.head), False
        self._live = LivePose(self.evaluated.mixer, self._wanted())
        self._mixer: Mixer = self.evaluated.mixer
        self._touched: Range | None = None
        self._drawn = self._normals.all(self._live.positions)
        self._reach: dict[str, float] = {}
        self._moved: tuple[object, dict[str, tuple[str, ...]]] = (None, {})
        self._signs: tuple[object, tuple[Region, ...], dict[str, Sign]] = (None, (), {})
        self._centres: dict[str, tuple[NDArray, int]] = {}

    # What is open.

    @property
    def project(self) -> Project:
        """The project as it is seen, a preview included."""
        return self.history.project

    @property
    def head(self) -> Head:
        """The open head."""
        return self.evaluated.head

    @property
    def recipe(self) -> Recipe:
        """The chosen recipe; an empty one where the document has none."""
        return next((r for r in self.project.recipes if r.name == self.recipe_name), EMPTY)

    @property
    def unsaved(self) -> bool:
        """Whether there are changes that no file holds."""
        if self.saved is None:
            return self.recovered or self.history.can_undo or self.history.can_redo
        return self.history.committed is not self.saved

    @property
    def title(self) -> str:
        """The document's name as the window shows it."""
        if self.file is None:
            return self.head.name or self.project.path.stem
        return self.file.parent.name if self.file.name == "document.toml" else self.file.stem

    @property
    def path(self) -> Path:
        """Where the document lies, or would lie beside its head."""
        return self.file or self.project.path

    @property
    def region_names(self) -> list[str]:
        """The base row, then every region of the document."""
        return [ALL, *(region.name for region in self.project.regions)]

    @property
    def previewing(self) -> bool:
        """Whether an edit is shown that is not a step yet."""
        return self.history.project is not self.history.committed

    def positions(self) -> NDArray[np.float32]:
        """(n, 3) mm, what is seen now."""
        if self._override is not None:
            return self._override
        joined = self._join.pose(self._live, self.evaluated, self._wanted(), self.version, self.previewing)
        return self._live.positions if joined is None else joined

    def weight(self, key: CellKey) -> float | None:
        """The weight of a cell of the chosen recipe, None where it is not listed."""
        return next((cell.weight for cell in self.recipe.cells if cell.key == key), None)

    def strongest(self, region: str) -> Cell | None:
        """The cell with the largest weight in a region of the chosen recipe."""
        cells = [cell for cell in self.recipe.cells if cell.region == region]
        return max(cells, key=lambda cell: abs(cell.weight), default=None)

    # Edits.

    def apply(self, edit: Edit) -> None:
        """Do an edit as one step. Raises MoueError, with nothing changed."""
        project = self._tried(edit)
        self.history.apply(lambda _: project)
        self.follow()
        self._settle()

    def preview(self, edit: Edit) -> None:
        """Show an edit while something is held. Raises MoueError, with the preview before kept."""
        project = self._tried(edit)
        self.history.preview(lambda _: project)
        self.follow()

    def commit(self) -> None:
        """Make one step of the preview."""
        self.history.commit()
        self.follow()
        self._settle()

    def abort(self) -> None:
        """Drop the preview."""
        self.history.abort()
        self.follow()

    def prepared(self, edit: Edit) -> tuple[Project, EvaluatedDocument]:
        """The committed project edited and made ready with its masks, nothing of the session changed: for another
        thread. Raises MoueError where it does not fit together."""
        project = self._edited(edit)
        evaluated = self.evaluated.again(project)
        _ = evaluated.effective, evaluated.mixer
        return project, evaluated

    def take(self, project: Project, evaluated: EvaluatedDocument) -> None:
        """Make one step of a project that was prepared."""
        self._prepared = evaluated
        self.history.apply(lambda _: project)
        self.follow()
        self._settle()

    def undo(self) -> None:
        """One step back."""
        self.history.undo()
        self.follow()

    def redo(self) -> None:
        """One step forward."""
        self.history.redo()
        self.follow()

    def choose_recipe(self, name: str) -> None:
        """Look at another recipe."""
        self.recipe_name = name
        self.follow()

    def show(self, positions: NDArray | None) -> None:
        """Show other positions (n, 3) mm in place of the recipe's pose; None goes back to it."""
        self._override = None if positions is None else np.ascontiguousarray(positions, dtype=np.float32)
        self._touch(None)

    @property
    def joined(self) -> Joined:
        """The last seamless join that was made."""
        return self._join.joined

    @property
    def join_missing(self) -> bool:
        """Whether the pose is to be finished, or while something is held a join made for the recipe's regions."""
        return self._override is None and self._join.missing(self.evaluated, self._wanted(), self.previewing)

    @property
    def join_wanted(self) -> bool:
        """Whether what is seen is not yet, or not quite, the recipe joined and parted as it asks."""
        return self.join_missing or self._join.easing or self.contact_missing

    @property
    def contact_missing(self) -> bool:
        """Whether the recipe is shown without its contact, until what parts the head is made (`make_contact`)."""
        return self._override is None and not self.arriving and waits_for_contact(self.evaluated, self._wanted())

    def join(self, parted: bool = True) -> Joined:
        """The recipe joined and parted, for another thread. Raises MoueError where it cannot be mixed."""
        return joined_recipe(self.evaluated, self._wanted(), parted)

    def take_join(self, joined: Joined) -> None:
        """Show a join and let it follow from now on, where it still fits the head and its masks."""
        before = self.positions().copy()
        self._live.keep_contact(self.evaluated.contact_at_hand)
        self._join.take(joined, self.evaluated)
        self._touch(None)
        self._join.ease(before - self.positions())

    def step(self, now: float) -> bool:
        """Move what is seen on towards the join, at a time in seconds; whether it moved."""
        self._touch(None if (moved := self._join.step(now)) else NOTHING)
        return moved

    # What a view draws.

    @property
    def on_card(self) -> bool:
        """Whether the graphics card makes the poses, and positions here are made only when asked for."""
        return self._on_card

    @on_card.setter
    def on_card(self, wanted: bool) -> None:
        self._on_card = self._live.deferred = wanted

    @property
    def live(self) -> LivePose | None:
        """What the card makes the pose of; None while other positions are shown."""
        here = self._override is not None or (self.recipe.contact and self._live.contact is not None)
        return None if here or self._join.shown(self.evaluated, self._wanted()) else self._live

    def frame(self, quick: bool = False) -> Frame:
        """Positions, normals and what changed since the last call; of a large head `quick` makes normals only at the
        vertices of its coarser level, and the next call without it all others."""
        touched, self._touched = self._touched, NOTHING
        positions = self.positions()
        seen: object = self._live if self.live is not None else positions
        if seen is not self._seen:  # another array altogether, not this one changed in places
            self._seen, touched = seen, None
        if self.live is None and touched is not None and touched != NOTHING and self.recipe.join == "seamless":
            touched = None if self.recipe.contact else widened(touched, self._join.reach)
        if quick and self._rough is not None and touched != NOTHING and len(self._drawn) == len(positions):
            self._rough.into(self._drawn, positions)
            self._between = True
        elif touched is None or (self._between and not quick):
            self._drawn, self._between, touched = self._normals.all(positions), False, None
        elif touched != NOTHING:
            self._normals.update(positions, touched, self._drawn)
        return Frame(positions, self._drawn, touched)

    def normals_of(self, positions: NDArray[np.float32]) -> NDArray[np.float32]:
        """(n, 3) normals of any pose of this head."""
        return self._normals.all(positions)

    @property
    def frame_normals(self) -> NDArray[np.float32]:
        """(n, 3) normals of the last frame."""
        return self._drawn

    def centre_of(self, region: str) -> int:
        """The vertex in the middle of a region: the one with most weight nearest to the weighted middle of all."""
        mask = self.evaluated.effective[region]
        if (known := self._centres.get(region)) is None or known[0] is not mask:
            known = self._centres[region] = (mask, middle_of(self.head, mask))
        return known[1]

    @property
    def signs(self) -> dict[str, Sign]:
        """The number and the colour of each region by name."""
        evaluated = self.evaluated
        masks, regions = evaluated.effective, evaluated.project.regions
        if self._signs[0] is not masks or self._signs[1] is not regions:
            self._signs = (masks, regions, signs_of(evaluated.project, masks))
        return self._signs[2]

    def furthest_mm(self, shape: str) -> float:
        """How far a shape moves anything, mm; computed once."""
        if shape not in self._reach:
            self._reach[shape] = self.head.shape(shape).furthest_mm
        return self._reach[shape]

    @property
    def knows_moved(self) -> bool:
        """Whether it is known which regions, as they are now, each shape moves."""
        return self._moved[0] is self.evaluated.effective

    def look_for_moved(self, progress: Progress) -> tuple[object, dict[str, tuple[str, ...]]]:
        """The masks as they are, and the regions that each shape moves, for another thread; then `take_moved`."""
        masks, head = self.evaluated.effective, self.head
        return masks, moved_regions(head, masks, lambda share: progress(share, "looking where shapes move"))

    def take_moved(self, moved: tuple[object, dict[str, tuple[str, ...]]]) -> None:
        """Keep what `look_for_moved` found."""
        self._moved = moved

    def moved_by(self, shape: str) -> tuple[str, ...]:
        """The regions that a shape moves, as far as is known, the one it moves most first."""
        return self._moved[1].get(shape, ())

    # Following the history.

    def _tried(self, edit: Edit) -> Project:
        """The committed project edited, known to fit the head and to mix."""
        project = self._edited(edit)
        if project is not self.evaluated.project:
            evaluated = self.evaluated.again(project)
            recipe = next((r for r in project.recipes if r.name == self.recipe_name), EMPTY)
            posed = self._live.recipe
            if recipe.rows != posed.rows or not {c.key for c in recipe.cells} <= {c.key for c in posed.cells}:
                evaluated.check(recipe)
            self._prepared = evaluated
        return project

    def _edited(self, edit: Edit) -> Project:
        """The committed project edited, the signs of its regions kept. Raises MoueError while the head is arriving."""
        if self.arriving:
            raise MoueError("its shapes are still being read", self.project.path, hint="in a moment it can be edited")
        return with_signs_kept(self.history.committed, edit, self.signs)

    def _wanted(self) -> Recipe:
        return self.held.shown(self.recipe)

    def follow(self) -> None:
        """Bring the pose up to date after a choice, a mark or the history was changed."""
        project = self.project
        if self.recipe_name not in {r.name for r in project.recipes}:
            self.recipe_name = project.recipes[0].name if project.recipes else ""
        if project is not self.evaluated.project:
            library = self.evaluated.library
            self.evaluated = self._prepared if self._prepared.project is project else self._heads.again(project)
            self._heads.know(self.evaluated)
            if self.evaluated.library is not library:
                self._forget_head()
            if self.held.solo or self.held.mute or self.held.lock:
                self.held.forget_but(set(self.region_names), set(self.head.shape_names))
        if self.region not in self.region_names:
            self.region = ALL
        recipe = self._wanted()
        if self.evaluated.mixer is not self._mixer:
            self._live, self._mixer = LivePose(self.evaluated.mixer, recipe), self.evaluated.mixer
            self._live.deferred = self._on_card
            self._live.keep_contact(self.evaluated.contact_at_hand)
            self._touch(None)
            return
        self._go_to(recipe)

    def _forget_head(self) -> None:
        """Drop what was found of the head before, when another one is in its place."""
        self._normals, self._override, self.target = Normals(self.head), None, None
        self._rough, self._between, self._reach, self._centres = rough_normals(self.head), False, {}, {}
        self._moved = (None, {})

    def _go_to(self, recipe: Recipe) -> None:
        """The shortest way from the live pose's recipe to another."""
        posed = self._live.recipe
        self._live.deferred = self._on_card and recipe.join == "linear"  # a seamless join stands on the pose here
        if recipe is posed:
            return
        if (changed := changed_cells(posed, recipe)) is not None:
            for cell in changed:
                self._touch(self._live.set_weight(cell.region, cell.shape, cell.weight, cell.mirrored))
            return
        self.evaluated.check(recipe)
        self._live.set_recipe(recipe)
        self._touch(None)

    def _settle(self) -> None:
        """Evaluate the pose afresh, where the processor makes it."""
        if not self._on_card:
            self._live.rebase()
        self._touch(None)

    def _touch(self, touched: Range | None) -> None:
        """Add to what changed since the last frame."""
        if touched == NOTHING:
            return
        self.version += 1
        self._touched = None if touched is None or self._touched is None else widened(self._touched, touched)
