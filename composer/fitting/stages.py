"""The stages of a fit, in order. `STAGES` is the list: a new stage is one function and one line in it.

The stages clean the sculpt, align the head by its landmarks, find the free zones, bend the cage to the sculpt, draw
the ears' rims to its own, look into its hollows, land on it, relax the loops, close what the sculpt has sealed, part
skin from skin, place the parts, project by levels, and report.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.fitting.align import check_pairs, check_size, landmark_pairs
from composer.fitting.eyes_again import eyes_behind_lids
from composer.fitting.fit_state import FitState
from composer.fitting.hollows.beside_seam import beside_seam
from composer.fitting.hollows.borders import borders, cover_question, with_library_form
from composer.fitting.hollows.covers import covers
from composer.fitting.hollows.judged import cavities_to_judge, judged_cavities, without_cavities
from composer.fitting.hollows.library import LibrarySkin
from composer.fitting.hollows.mended import let_go_words, mend
from composer.fitting.hollows.places import ELSEWHERE, PLACES
from composer.fitting.landing import land
from composer.fitting.lids_give_way import lids_out_of_eyes
from composer.fitting.nonrigid import fit
from composer.fitting.not_followed import Why
from composer.fitting.parts import place_parts
from composer.fitting.project import REACH, project, usable_reach
from composer.fitting.relax import relax
from composer.fitting.report import fit_report
from composer.fitting.ridge_guides import guided
from composer.fitting.sculpt import clean_sculpt
from composer.fitting.sealed import close_seam, sealed_seams, seam_zone
from composer.fitting.skin import Skin, skin_marks
from composer.fitting.start.found import start_by_form, start_words
from composer.fitting.zones import free_zones
from composer.progress import Progress


@dataclass(frozen=True)
class FitStage:
    """A stage: the `words` that the progress bar shows, the function that it runs, and its `share` of the time. Shares
    sum to 1; they were measured on the demo's sculpt (processor time) and move the progress bar alone."""

    words: str
    run: Callable[[FitState, Progress], FitState]
    share: float


def clean(state: FitState, progress: Progress) -> FitState:
    """The sculpt without unusable triangles; with `turn_over` its faces are turned over.

    Raises MoueError for a sculpt without faces, and for a reach that is not above 0.
    """
    options = state.options
    if options.reach_mm is not None:
        usable_reach(options.reach_mm)
    sculpt = clean_sculpt(state.sculpt_positions, state.sculpt_polygons, options.where)
    if options.turn_over:
        sculpt = sculpt.turned_over()
    return replace(state, clean=sculpt, notes=(*state.notes, *sculpt.notes))


def align(state: FitState, progress: Progress) -> FitState:
    """The landmark pairs and the similarity through them, or that which form alone gives. Raises MoueError where they
    contradict each other, and where the head is not found by form."""
    options = state.options
    try:
        pairs = landmark_pairs(state.head, state.marks, state.sculpt_marks, state.sculpt_positions)
        if options.by_form:
            return _found_by_form(replace(state, pairs=pairs), progress)
        aligned, odd = check_pairs(pairs, state.head, state.clean.surface, options.any_size, options.where)
    except MoueError as error:
        if options.marks_where is None or (options.where is not None and error.where == options.where):
            raise
        raise MoueError(error.what, options.marks_where, hint=error.hint) from None
    return replace(state, pairs=pairs, aligned=aligned, notes=(*state.notes, *odd))


def _found_by_form(state: FitState, progress: Progress) -> FitState:
    options = state.options
    free, _ = free_zones(state.head, state.marks, groups=options.groups, mask=options.free)
    start = start_by_form(state.head, state.clean.surface, free, options.like, progress)
    if not options.any_size:
        check_size(start.aligned.scale, None)
    found = start_words(start)
    return replace(state, start=start, aligned=start.aligned, notes=(*state.notes, found))


def find_free_zones(state: FitState, progress: Progress) -> FitState:
    """Where the cage does not follow the sculpt: hollows, zones from the options, and bands about sealed openings."""
    head, options = state.head, state.options
    hollow, found = free_zones(head, state.marks, groups=options.groups, mask=options.free)
    sealed, said = sealed_seams(
        head, state.marks, state.pairs, state.aligned, state.clean.surface, state.clean.balls,
        None if state.start is None else state.start.positions,
    )  # fmt: skip
    seams = tuple(seam_zone(head, seam, hollow) for seam in sealed)
    free = np.maximum.reduce([hollow, *(seam.astype(np.float64) for seam in seams)])
    cavities = cavities_to_judge(head, state.marks, free)
    return replace(
        state, hollow=hollow, seams=seams, sealed=tuple(sealed), free=free, cavities=cavities,
        notes=(*state.notes, *found, *said),
    )  # fmt: skip


def bend(state: FitState, progress: Progress) -> FitState:
    """The cage as the most likely head under the sculpt."""
    options = state.options
    bent = fit(
        state.head, state.clean.surface, state.pairs, state.free, aligned=state.aligned, settled=False,
        earlier=options.like, pinned=options.pinned, noise_mm=options.click_mm, progress=progress,
    )  # fmt: skip
    said = list(bent.notes)
    if options.like:
        share = round(100 * bent.from_heads)
        said.append(
            f"Of how this head differs from the library's, {len(options.like)} earlier heads explain {share} percent "
            f"and smoothness {100 - share}."
        )
    return replace(state, bent=bent, positions=bent.positions, notes=(*state.notes, *said))


def draw_rims(state: FitState, progress: Progress) -> FitState:
    """The rims of the ears, drawn to the sculpt's where those are clear."""
    head, library = state.head, LibrarySkin.of(state.head)
    skin = library.skin.vertices
    names = np.array((*PLACES, ELSEWHERE))[library.places(head, state.marks)]
    open_ = (library.cavities.visibility >= OPEN_RIM) & (state.free[skin] < 0.5)
    marked = state.pairs.vertices[state.pairs.vertices >= 0]
    positions = np.array(state.positions)
    positions[skin], said = guided(
        library.surface, names, open_, positions[skin], state.clean.surface, positions[marked],
        head.diagonal * state.aligned.scale,
    )  # fmt: skip
    return replace(state, positions=positions, notes=(*state.notes, said) if said else state.notes)


def judge_cavities(state: FitState, progress: Progress) -> FitState:
    """Which of the library's cavities the sculpt shows; the others become free."""
    judged = judged_cavities(state.head, state.positions, state.clean.surface, state.cavities)
    free = without_cavities(state.head, state.free, tuple(cavity for cavity in judged if not cavity.shown))
    notes = tuple(cavity.words for cavity in judged if not cavity.shown)
    return replace(state, cavities=judged, free=free, notes=(*state.notes, *notes))


def land_on_sculpt(state: FitState, progress: Progress) -> FitState:
    """The skin on the sculpt, where it follows it."""
    landed = land(
        state.head, state.positions, state.clean.surface, state.pairs.only(state.options.pinned), state.free,
        state.bent.aligned.scale,
    )  # fmt: skip
    return replace(state, positions=landed.positions, filled=landed.filled, off=_off(state, landed.filled))


def _off(state: FitState, filled: NDArray[np.bool_]) -> NDArray[np.float64]:
    """(n,) mm, how far each vertex of the bent cage lies off the sculpt; NaN where the cage does not follow it."""
    off = np.full(state.head.n_vertices, np.nan)
    on = np.flatnonzero(state.head.skin & (state.free < 0.5) & ~filled)
    off[on] = state.clean.surface.nearby(state.positions[on]).distance
    return off


def relax_loops(state: FitState, progress: Progress) -> FitState:
    """The skin's loops, moved to look more like the library's own; landmarks hardly move, pinned ones not at all."""
    if not state.options.relaxed:
        return state
    head, skin = state.head, Skin.of(state.head)
    mask = state.options.relax_mask
    amount = np.ones(len(skin.vertices)) if mask is None else np.array(mask[skin.vertices], dtype=np.float64)
    amount[skin_marks(skin, state.pairs.only(state.options.pinned))[0]] = 0.0
    positions = np.array(state.positions)
    positions[skin.vertices] = relax(
        skin.polygons, positions[skin.vertices], state.clean.surface, head.neutral[skin.vertices], amount,
        free=state.free[skin.vertices], held=skin_marks(skin, state.pairs)[0],
    )  # fmt: skip
    return replace(state, positions=positions)


def close_seams(state: FitState, progress: Progress) -> FitState:
    """Lips and lids that the sculpt has sealed: in the library's own form, with their outer side on the sculpt."""
    positions = np.array(state.positions)
    for seam, zone in zip(state.sealed, state.seams, strict=True):
        positions = np.array(close_seam(state.head, positions, zone, state.free, state.pairs))
        library = LibrarySkin.of(state.head)
        skin = library.skin.vertices
        rank = library.skin.rank
        positions[skin] = beside_seam(
            library, positions[skin], zone[skin], rank[seam.line], rank[seam.across], state.clean.surface
        )
    return replace(state, positions=positions)


def keep_borders(state: FitState, progress: Progress) -> FitState:
    """Hair, hats and collars in the library's form, with a question for each; with `follow_all` they are copied.

    What stands out behind a step misleads the bend: it is made again without.
    """
    head, library = state.head, LibrarySkin.of(state.head)
    worn = np.zeros(head.n_vertices, dtype=bool)
    if state.options.follow_all:
        return replace(state, mended=worn, worn=worn)
    skin = library.skin.vertices
    keep = np.zeros(head.n_vertices) if state.options.protect is None else np.asarray(state.options.protect)
    may = keep[skin] < 1.0
    places = library.places(head, state.marks)
    found = covers(library, state.positions[skin], (state.free[skin] < 0.5) & may, places)
    for cover in found:
        worn[skin[cover.flags & may]] = True
    if found:
        again = replace(state, free=np.maximum(state.free, worn))
        for stage in (bend, draw_rims, judge_cavities, land_on_sculpt, relax_loops, close_seams):
            again = stage(again, progress)
        state = replace(again, notes=state.notes)
    follows = (state.free[skin] < 0.5) & ~state.filled[skin] & may
    positions, formed = np.array(state.positions), np.array(worn)
    tufts = borders(library, positions[skin], follows, places, state.marks, head.neutral)
    positions[skin], formed[skin] = with_library_form(library, positions[skin], tufts, follows)
    questions = [cover_question(one, library.surface.positions, state.marks, head.neutral) for one in found]
    return replace(
        state, positions=positions, mended=formed | worn, worn=formed | worn,
        notes=(*state.notes, *questions, *(one.words for one in tufts)),
    )  # fmt: skip


OPEN_RIM = 0.3
"""Least visibility of a rim on the library: what lies hidden guides nothing (our choice)."""
FOLD_RINGS = 2
"""Rings about a folded face that do not stand still while level 0 is projected, so that it can be unfolded (our
choice)."""


def mend_hollows(state: FitState, progress: Progress) -> FitState:
    """Cavities that the sculpt does not show in the library's form, and no skin through skin beyond the library's own.

    A landmark that would hold skin across skin is let go, and named.
    """
    library = LibrarySkin.of(state.head)
    skin = library.skin.vertices
    keep = np.zeros(state.head.n_vertices) if state.options.protect is None else np.asarray(state.options.protect)
    loose = (state.free >= 0.5) | state.filled | state.mended
    done = mend(library, state.positions[skin], state.cavities, loose[skin], keep[skin] >= 1.0)
    positions, mended = np.array(state.positions), np.array(state.mended)
    loops = library.uncrossing.loops
    folded = loops.grown(loops.vertices_of(loops.bad(done.positions)), FOLD_RINGS)  # the projection unfolds them
    positions[skin], mended[skin] = done.positions, (mended[skin] | done.moved | done.pushed) & ~folded
    parted = np.zeros(len(positions), dtype=bool)
    parted[skin] = done.moved & ~folded
    said = let_go_words(state.pairs, positions, parted, state.head.diagonal * state.aligned.scale)
    return replace(state, positions=positions, mended=mended, notes=(*state.notes, *said))


def place_all_parts(state: FitState, progress: Progress) -> FitState:
    """Eyeballs, teeth, tongue and other parts, placed by the sculpt's balls or by the skin about them."""
    positions, placed = place_parts(state.head, state.positions, state.clean.balls, state.hollow)
    return replace(state, positions=positions, notes=(*state.notes, *placed))


def project_levels(state: FitState, progress: Progress) -> FitState:
    """The skin on the sculpt, level by level. Raises MoueError for a level that is not from 0 to 8."""
    head, options, pairs = state.head, state.options, state.pairs.only(state.options.pinned)
    keep = np.zeros(head.n_vertices) if options.protect is None else np.array(options.protect, dtype=np.float64)
    keep[~head.skin] = 1.0
    on_skin = (pairs.vertices >= 0) & head.skin[pairs.vertices] & ~state.mended[pairs.vertices]
    reach = options.reach_mm
    if reach is None:
        reach = REACH * float(np.linalg.norm(np.ptp(state.positions, axis=0)))
    levels = project(
        head.polygons, state.positions, state.clean.surface, reference=head.neutral, reach_mm=reach,
        up_to=options.up_to, free=np.maximum(state.free, state.mended), protect=keep,
        cage_stands=state.mended,
        marks=(pairs.vertices[on_skin], pairs.sculpt[on_skin]), progress=progress,
    )  # fmt: skip
    notes = [
        f"Level {level.k}: {level.n_unfolded:,} vertices leave the sculpt, so that no face is turned over or folded."
        for level in levels
        if level.n_unfolded
    ]
    notes += [f"Level {lv.k}: {lv.bad_faces} faces are turned over or folded." for lv in levels if lv.bad_faces]
    levels[0] = replace(levels[0], why=np.where(state.worn, np.int8(Why.WORN), levels[0].why))
    return replace(
        state, positions=levels[0].positions, reach_mm=reach, levels=tuple(levels), notes=(*state.notes, *notes)
    )


def keep_eyes_behind_lids(state: FitState, progress: Progress) -> FitState:
    """Eyeballs that the projected lids would cut move back, on all levels alike; lids that lie in an eyeball and do
    not follow the sculpt give way."""
    levels, moved = eyes_behind_lids(state.head, state.levels, state.clean.balls)
    levels, gave = lids_out_of_eyes(state.head, levels)
    return replace(state, positions=levels[0].positions, levels=tuple(levels), notes=(*state.notes, *moved, *gave))


def measure(state: FitState, progress: Progress) -> FitState:
    """The numbers of the report."""
    return replace(state, report=fit_report(state))


STAGES: tuple[FitStage, ...] = (
    FitStage("reading the sculpt", clean, 0.03),
    FitStage("aligning the landmarks", align, 0.02),
    FitStage("looking for openings", find_free_zones, 0.03),
    FitStage("bending", bend, 0.27),
    FitStage("drawing rims to rims", draw_rims, 0.01),
    FitStage("looking into hollows", judge_cavities, 0.02),
    FitStage("landing on the sculpt", land_on_sculpt, 0.03),
    FitStage("relaxing the loops", relax_loops, 0.07),
    FitStage("closing what is sealed", close_seams, 0.01),
    FitStage("looking for borders", keep_borders, 0.01),
    FitStage("parting skin from skin", mend_hollows, 0.07),
    FitStage("placing the parts", place_all_parts, 0.01),
    FitStage("projecting", project_levels, 0.37),
    FitStage("keeping the eyes behind their lids", keep_eyes_behind_lids, 0.01),
    FitStage("measuring", measure, 0.04),
)
"""Every stage of a fit, in order."""
