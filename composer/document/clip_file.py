"""The file of a clip beside its document: weights over time, by names that are matched with shapes and regions.

A name is a shape, whose region is `all`, or `region/shape`; ` mirrored` at its end asks for the mirror image. The
clip's `rename` comes first: a whole name, or a region with a slash ("theirs/" = "ours/"), which may be several of ours
where a region was split. A name that matches nothing
is left out and told with the nearest that there is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from composer.document.evaluated import EvaluatedDocument
from composer.document.project import Project
from composer.errors import MoueError, nearest, shorten
from composer.formats.gltf_weights import read_gltf_weights
from composer.formats.usd_weights import read_usd_weights
from composer.formats.weight_csv import read_weight_csv
from composer.formats.weight_track import WeightTrack
from composer.head.reading import reading
from composer.head.references import referred
from composer.mixing.clip import Clip
from composer.mixing.recipe import ALL, REMAINDER, WEIGHT_RANGE, CellKey

MIRRORED = " mirrored"
READERS: dict[str, Callable[[Path], list[WeightTrack]]] = {
    ".csv": read_weight_csv, ".glb": read_gltf_weights, ".gltf": read_gltf_weights,
    **dict.fromkeys((".usd", ".usda", ".usdc", ".usdz"), read_usd_weights),
}  # fmt: skip
"""The reader of each kind of file, by its suffix."""
MOST_TOLD = 6
"""Names that are told one by one before the others are counted. A design choice, no source."""


def tracks_of(project: Project, clip: Clip) -> list[WeightTrack]:
    """All weights in the file of a clip, by their own names. Raises MoueError where it cannot be read, or is of a kind
    that holds no weights over time."""
    path = referred(clip.file, project.path, f"clip {shorten(repr(clip.name), 40)}")
    reader = READERS.get(path.suffix.lower())
    if reader is None:
        raise MoueError("is of a kind that holds no weights over time", path, hint=f"give {', '.join(READERS)}")
    with reading(path):
        tracks = reader(path)
    for track in tracks:
        _check_range(track, path)
    return tracks


def cells_of(
    tracks: list[WeightTrack], clip: Clip, evaluated: EvaluatedDocument
) -> tuple[dict[CellKey, WeightTrack], list[str]]:
    """The cell of each track that names one, and sentences on those that do not.

    Raises MoueError where two name one cell, or none names any.
    """
    path = evaluated.project.path.parent / clip.file
    regions = [ALL, REMAINDER, *(region.name for region in evaluated.project.regions)]
    found: dict[CellKey, WeightTrack] = {}
    notes: list[str] = []
    for track in tracks:
        for key in map(cell_named, renamed(track.name, clip.rename)):
            hint = _missing(key, regions, evaluated.head.shape_names)
            if hint is not None:
                notes.append(f"{clip.file} {track.column}: {hint}; left out.".replace("  ", " "))
                continue
            if key in found:
                both = f"{found[key].name!r} and {track.name!r}"
                raise MoueError(f"{shorten(both, 80)} are the same cell {key[0]} x {key[1]}", path, hint="remove one")
            found[key] = track
    if not found:
        first = notes[0].removesuffix("; left out.") if notes else "it holds no weights"
        raise MoueError(f"none of its {len(tracks)} names is a shape of this head", path, hint=shorten(first, 120))
    if len(notes) > MOST_TOLD:
        notes[MOST_TOLD:] = [f"{clip.file}: {len(notes) - MOST_TOLD} more names match nothing; left out."]
    return found, notes


def cell_named(name: str) -> CellKey:
    """The cell that a name means: "joy", "mouth_right/joy", "mouth_right/joy mirrored".

    >>> cell_named("mouth_right/joy mirrored"), cell_named("joy")
    (('mouth_right', 'joy', True), ('all', 'joy', False))
    """
    mirrored = name.endswith(MIRRORED)
    region, slash, shape = name.removesuffix(MIRRORED).partition("/")
    return (region, shape, mirrored) if slash else (ALL, region, mirrored)


def name_of_cell(key: CellKey) -> str:
    """The name of a cell in files: `cell_named` reads it back."""
    region, shape, mirrored = key
    return ("" if region == ALL else f"{region}/") + shape + MIRRORED * mirrored


def renamed(name: str, rename: Mapping[str, str | tuple[str, ...]]) -> list[str]:
    """A name in a file as the document calls it, by several names where it became several.

    >>> renamed("brow_L/joy", {"brow_L/": "brow_left/"}), renamed("smile", {"smile": "mouth/joy"})
    (['brow_left/joy'], ['mouth/joy'])
    >>> renamed("brow/joy", {"brow/": ("brow_left/", "brow_right/")})
    ['brow_left/joy', 'brow_right/joy']
    """
    if name in rename:
        return names_in(rename[name])
    region, slash, shape = name.partition("/")
    if not slash:
        return [name]
    shapes = names_in(rename.get(shape, shape))
    return [ours + each for ours in names_in(rename.get(region + slash, region + slash)) for each in shapes]


def names_in(said: str | tuple[str, ...]) -> list[str]:
    """The names in a value of `rename`."""
    return [said] if isinstance(said, str) else list(said)


def _missing(key: CellKey, regions: list[str], shapes: list[str]) -> str | None:
    """What of a cell the document does not have, with the nearest; None where it has both."""
    for word, name, names in (("region", key[0], regions), ("shape", key[1], shapes)):
        if name not in names:
            near = nearest(name, names)
            return f"no {word} is named {shorten(repr(name), 60)}" + (f"; {near}" if near else "")
    return None


def _check_range(track: WeightTrack, path: Path) -> None:
    wrong = [i for i, value in enumerate(track.values) if not WEIGHT_RANGE[0] <= value <= WEIGHT_RANGE[1]]
    if wrong:
        value, time = track.values[wrong[0]], track.times[wrong[0]]
        where = f"{track.column} ({shorten(track.name, 40)})" if track.column else shorten(repr(track.name), 60)
        line = wrong[0] + 2 if path.suffix.lower() == ".csv" else None
        row = f"row {line}, " if line else ""
        what = f"{row}{where} is {value:g} at {time:g} s, not in [-1, 2]"
        raise MoueError(what, path, line, hint="is it percent? then its name ends in ' %'")
