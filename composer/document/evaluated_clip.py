"""A clip of a document, ready to be posed at any time: each frame is a recipe, posed by what poses every recipe.

Weights go over time, not displacements: a frame has for every cell the sum of what the keys of the pose, of recipes
with weights of their own, and of cells say there (`composer.mixing.alike_rows` brings recipes of different rows
together). So a jaw turns on its arc, and in-betweens and correctives come in between keys as they do live. At the time
of a key of the pose, where nothing else plays, a frame is that recipe's pose.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from composer.document.clip_file import cells_of, tracks_of
from composer.document.evaluated import EvaluatedDocument
from composer.errors import MoueError, shorten, unknown
from composer.mixing.alike_rows import Weights, alike_rows
from composer.mixing.clip import NEUTRAL, Clip, Key, check_length, frame_times
from composer.mixing.curve import Curve, curve_of_keys, curve_of_track
from composer.mixing.recipe import ALL, REMAINDER, WEIGHT_RANGE, Cell, CellKey, Recipe, Row

ROUNDING = 1e-9
"""Weights beyond their range by no more than this are at its end: rounding of sums."""


class EvaluatedClip:
    """A `clip` of a document. `cells` are the keys of all cells that it uses, `times` (f,) its frames in seconds,
    `notes` what was left out of its file.

    `evaluated` is the document, with a mirror map where the clip needs one.
    """

    def __init__(self, evaluated: EvaluatedDocument, clip: Clip) -> None:
        """Raises MoueError where the clip names a recipe, region or shape that is not there, its file cannot be used,
        a cell cannot be mixed, or weights leave [-1, 2] at a frame."""
        self.clip, self.notes = clip, list[str]()
        self._terms: list[tuple[Curve, Weights]]
        self._rows: Mapping[str, Row] = {}
        self._strength = 1.0
        self.start, self.length = 0.0, clip.length or 0.0
        if clip.file:
            self._terms = self._of_file(evaluated)
        else:
            self._terms = self._of_keys(evaluated)
        used = dict.fromkeys(key for _, weights in self._terms for key in weights)
        self.cells: list[CellKey] = list(used)
        self.times: NDArray[np.float64] = frame_times(self.length, clip.fps, self.start)
        self.weights: NDArray[np.float64] = self.weights_at(self.times)
        self.evaluated: EvaluatedDocument = _with_mirror(evaluated, self.recipe_of(np.ones(len(self.cells))))
        self.evaluated.check(self.recipe_of(np.ones(len(self.cells))))

    @property
    def n_frames(self) -> int:
        """The number of frames."""
        return len(self.times)

    @property
    def rows(self) -> Mapping[str, Row]:
        """How the rows of every frame join, by region."""
        return self._rows

    @property
    def strength(self) -> float:
        """The strength of every frame's recipe."""
        return self._strength

    def weights_at(self, times: ArrayLike) -> NDArray[np.float64]:
        """(m, c) the weight of each of `cells` at `times` (m,) in seconds.

        Raises MoueError, with the time and the cell, for a weight outside [-1, 2].
        """
        asked = np.atleast_1d(np.asarray(times, dtype=np.float64))
        place = {key: column for column, key in enumerate(self.cells)}
        total = np.zeros((len(asked), len(self.cells)))
        for curve, weights in self._terms:
            along = curve.at(asked)
            for key, weight in weights.items():
                total[:, place[key]] += along * weight
        low, high = WEIGHT_RANGE
        out = np.argwhere((total < low - ROUNDING) | (total > high + ROUNDING))
        if len(out):
            frame, column = out[0]
            region, shape, _ = self.cells[column]
            what = f"clip {shorten(repr(self.clip.name), 40)}: weight {total[frame, column]:.3g} of {region} x {shape}"
            hint = "keys of recipes and cells add up there"
            raise MoueError(f"{what} at {asked[frame]:g} s is not in [-1, 2]", hint=hint)
        return np.clip(total, low, high)

    def weight_beside(self, cell: CellKey, time: float) -> float:
        """What all but a cell's own keys give it at a time in seconds."""
        others = tuple(key for key in self.clip.keys if key.cell != cell)
        rest = EvaluatedClip(self.evaluated, self.clip.with_(keys=others))
        return float(rest.weights_at(time)[0, rest.cells.index(cell)]) if cell in rest.cells else 0.0

    def recipe_of(self, weights: NDArray) -> Recipe:
        """The recipe of a frame with `weights` (c,) of `cells`; cells at 0 stay listed."""
        cells = tuple(Cell(*key[:2], float(w), key[2]) for key, w in zip(self.cells, weights, strict=True))
        clip = self.clip
        return Recipe(clip.name, cells, self._rows, self._strength, clip.join, "", clip.halo, clip.contact)

    def recipe(self, time: float) -> Recipe:
        """The recipe at a time in seconds."""
        return self.recipe_of(self.weights_at(time)[0])

    def frame(self, number: int) -> Recipe:
        """The recipe of a frame, counted from 0."""
        return self.recipe_of(self.weights[number])

    def pose(self, time: float) -> NDArray[np.float64]:
        """(n, 3) mm, the pose at a time in seconds."""
        return self.evaluated.pose(self.recipe(time))

    @cached_property
    def straight(self) -> bool:
        """Whether the pose is linear in the weights: a linear join that keeps no contact, and no cell that turns, has
        in-betweens, or triggers a corrective."""
        mixer = self.evaluated.mixer
        bent = self.evaluated.head.shape
        plain = self.clip.join == "linear" and not self.clip.contact
        return plain and not any(
            key[1] in mixer.hinges or bent(key[1]).inbetweens or mixer.correctives.triggered_by(key)
            for key in self.cells
        )  # fmt: skip

    def _of_file(self, evaluated: EvaluatedDocument) -> list[tuple[Curve, Weights]]:
        tracks = tracks_of(evaluated.project, self.clip)
        found, self.notes = cells_of(tracks, self.clip, evaluated)
        self.start = float(min(track.times[0] for track in tracks))
        self.length = float(max(track.times[-1] for track in tracks)) - self.start
        try:
            check_length(self.length, self.clip.fps, "its animation")
        except MoueError as error:
            raise error.at(evaluated.project.path.parent / self.clip.file) from None
        given = self.clip.length
        if given is not None and abs(given - self.length) > 0.5 / self.clip.fps:
            said = f"clip {self.clip.name} says {given:g} s"
            self.notes.append(f"{said}; its file lasts {self.length:g} s, which counts.")
        return [(curve_of_track(track), {key: 1.0}) for key, track in found.items()]

    def _of_keys(self, evaluated: EvaluatedDocument) -> list[tuple[Curve, Weights]]:
        names = [recipe.name for recipe in evaluated.project.recipes]
        where = f"{evaluated.project.path} clip {self.clip.name}"
        for name in self.clip.recipes:
            if name not in names:
                raise unknown("recipe", name, names, where)
        regions = [ALL, REMAINDER, *(region.name for region in evaluated.project.regions)]
        for region, shape, _ in self.clip.cells:
            for word, name, there in (("region", region, regions), ("shape", shape, evaluated.head.shape_names)):
                if name not in there:
                    raise unknown(word, name, there, where)
        recipes = [evaluated.project.recipe(name) for name in self.clip.recipes]
        joins = [recipe.name for recipe in recipes if recipe.join != "linear"]
        if joins and self.clip.join == "linear":
            words = "joins linearly what joins seamlessly by itself"
            named = shorten(", ".join(joins), 60)
            self.notes.append(f'clip {self.clip.name} {words} ({named}); join = "seamless" in the clip changes that.')
        touching = [recipe.name for recipe in recipes if recipe.contact]
        if touching and not self.clip.contact:
            words = "does not keep the contact that its recipes keep by themselves"
            self.notes.append(f"clip {self.clip.name} {words}; contact = true in the clip changes that.")
        alone = self.clip.cells
        alike = alike_rows(recipes, alone)
        self._rows, shares = alike.rows, [1.0] * len(recipes)
        strengths = {recipe.strength for recipe in recipes}
        if len(strengths) == 1 and not alone:
            (self._strength,) = strengths
        else:
            shares = [recipe.strength for recipe in recipes]
        own = {recipe.name: {key: weight * share for key, weight in weights.items()}
               for recipe, share, weights in zip(recipes, shares, alike.weights, strict=False)}  # fmt: skip
        of_cell = dict(zip(alone, alike.weights[len(recipes) :], strict=True))
        return [*self._of_pose(own), *self._of_weights(own, of_cell)]

    def _of_pose(self, own: Mapping[str, Weights]) -> list[tuple[Curve, Weights]]:
        """The curve of each cell through the keys of the pose."""
        keys = _sorted(key for key in self.clip.keys if key.thing == ("pose",))
        used = dict.fromkeys(cell for key in keys if key.recipe != NEUTRAL for cell in own[key.recipe])
        at = {cell: [own.get(key.recipe, {}).get(cell, 0.0) for key in keys] for cell in used}
        return [(_curve(keys, values), {cell: 1.0}) for cell, values in at.items()]

    def _of_weights(
        self, own: Mapping[str, Weights], of_cell: Mapping[CellKey, Weights]
    ) -> list[tuple[Curve, Weights]]:
        """One curve for each recipe and cell that has weights of its own."""
        things = dict.fromkeys(key.thing for key in self.clip.keys if key.thing != ("pose",))
        terms = []
        for thing in things:
            keys = _sorted(key for key in self.clip.keys if key.thing == thing)
            cell = keys[0].cell
            weights = own[keys[0].recipe] if cell is None else of_cell[cell]
            terms.append((_curve(keys, [key.weight or 0.0 for key in keys]), weights))
        return terms


def evaluated_clip(evaluated: EvaluatedDocument, name: str) -> EvaluatedClip:
    """The clip of this name. Raises MoueError with the nearest names, and as `EvaluatedClip`."""
    try:
        return EvaluatedClip(evaluated, evaluated.project.clip(name))
    except MoueError as error:
        raise error.at(evaluated.project.path) from None


def _curve(keys: Sequence[Key], values: Sequence[float]) -> Curve:
    return curve_of_keys([key.time for key in keys], values, [key.interpolation for key in keys])


def _sorted(keys: object) -> list[Key]:
    return sorted(keys, key=lambda key: key.time)  # type: ignore[call-overload,no-any-return]


def _with_mirror(evaluated: EvaluatedDocument, recipe: Recipe) -> EvaluatedDocument:
    """The document with a mirror map, where the recipe needs one and it has none."""
    if not any(cell.mirrored for cell in recipe.cells) or evaluated.mixer.mirror is not None:
        return evaluated
    name = _free(recipe.name, [each.name for each in evaluated.project.recipes])
    more = evaluated.project.with_(recipes=(*evaluated.project.recipes, recipe.with_(name=name)))
    return evaluated.again(more)


def _free(name: str, taken: Sequence[str]) -> str:
    while name in taken:
        name += "_"
    return name
