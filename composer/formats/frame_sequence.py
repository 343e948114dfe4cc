"""Frames read back: a folder with a mesh a frame, or one NPZ, GLB, glTF or USD file that holds them all.

All frames have the topology of the first. A frame that is missing is named by its number, counted as the files count;
a frame that is of another topology, or damaged, by its file or number.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError, shorten
from composer.formats.limits import check_positions
from composer.formats.mesh import Mesh
from composer.formats.read_ahead import read_ahead
from composer.formats.registry import format_of, read_mesh
from composer.head.folders import is_folder
from composer.head.reading import check_regular, reading

OF_ONE = re.compile(r"(?P<stem>.*?)_?(?P<number>[0-9]{1,9})(?P<suffix>\.[A-Za-z]+)")
"""A file of one frame: what it is called, its number, its format."""
A_FILE_A_FRAME = (".obj", ".ply")
MOST_NAMED = 3
"""Missing frames that are named one by one (our choice)."""
UNEVEN = 0.05
"""Times are evenly spaced where each step is a whole number of the shortest within this share of it (our choice)."""


@dataclass(frozen=True, eq=False)
class FrameSequence:
    """The frames in `path`: `mesh` has their topology and unit, `names` (f) what each is called in errors, `times` (f,)
    seconds, None where the files do not say. `frames` gives their vertices (n, 3) in the file's unit and axes, in
    order, and raises MoueError at a frame that cannot be used."""

    path: Path
    mesh: Mesh
    names: Sequence[str]
    times: NDArray[np.float64] | None
    frames: Callable[[], Iterator[NDArray[np.float64]]]

    @property
    def n_frames(self) -> int:
        """How many frames there are."""
        return len(self.names)


def read_sequence(path: Path | str, stem: str = "", face: Mesh | None = None) -> FrameSequence:
    """The frames in a folder or a file. In a folder with several sequences that whose files begin with `stem` counts.
    A file that holds positions alone has the polygons of `face`, where that is given.

    Raises MoueError where there are none, a frame is missing, or the file cannot be used.
    """
    path = Path(path)
    if is_folder(path):
        return _of_folder(path, stem)
    check_regular(path)
    form = format_of(path)
    readers: dict[str, Callable[[Path], FrameSequence]] = {"NPZ": _of_npz, "glTF": _of_gltf, "USD": _of_usd}
    if form.name not in readers:
        hint = "give the folder of the frames, or one .npz, .glb or USD file"
        raise MoueError(f"holds one {form.name} mesh, not frames", path, hint=hint)
    with reading(path, form.name):
        found = _of_npz(path, face) if form.name == "NPZ" else readers[form.name](path)
    if not found.n_frames:
        raise MoueError("holds no frames", path)
    return found


def _of_folder(folder: Path, stem: str) -> FrameSequence:
    groups: dict[tuple[str, str], dict[int, Path]] = {}
    for file in sorted(folder.iterdir()):
        found = OF_ONE.fullmatch(file.name)
        if found is None or found["suffix"].lower() not in A_FILE_A_FRAME:
            continue
        frames = groups.setdefault((found["stem"], found["suffix"].lower()), {})
        number = int(found["number"])
        if number in frames:
            raise MoueError(f"frame {number} is there twice: {frames[number].name} and {file.name}", folder)
        frames[number] = file
    if not groups:
        raise MoueError("holds no frames", folder, hint="frames are files such as talk_0000.obj, or give one .npz")
    chosen = [key for key in groups if key[0] == stem] or [key for key in groups if not stem or len(groups) == 1]
    if len(chosen) != 1:
        names = ", ".join(f"{name}_*{suffix}" for name, suffix in groups)
        hint = f"for {stem!r} there is none" if stem and not chosen else "move one of them elsewhere"
        raise MoueError(f"holds several sequences: {shorten(names, 80)}", folder, hint=hint)
    frames = groups[chosen[0]]
    first, last = min(frames), max(frames)
    gone = [number for number in range(first, last + 1) if number not in frames]
    if gone:
        name = _like(frames[first].name, gone[0])
        raise MoueError(f"{missing_words(gone)}: there is no {shorten(name, 60)}", folder)
    files = [frames[number] for number in sorted(frames)]
    mesh = read_mesh(files[0])

    def read() -> Iterator[NDArray[np.float64]]:
        for file, each in zip(files, read_ahead(read_mesh, files), strict=True):
            _check_alike(mesh, each, file, files[0].name)
            yield each.positions

    return FrameSequence(folder, mesh, [file.name for file in files], None, read)


def _like(name: str, number: int) -> str:
    """The name of another frame's file, as one is named."""
    found = OF_ONE.fullmatch(name)
    assert found is not None
    start, end = found.span("number")
    return f"{name[:start]}{number:0{end - start}d}{name[end:]}"


def _of_npz(path: Path, face: Mesh | None = None) -> FrameSequence:
    from composer.formats.npz_frames import is_bare, open_bare_frames, open_frames

    if face is not None and is_bare(path):
        bare, said, frames, count = open_bare_frames(path, face)
        if said is not None:
            return _timed(path, bare, said, frames)
        return FrameSequence(path, bare, _numbered(count), None, lambda: _checked(path, frames))
    mesh, times, read = open_frames(path)
    return _timed(path, mesh, times, read)


def _of_gltf(path: Path) -> FrameSequence:
    """Morph targets by their weights, at the times of the animation (glTF 2.0, section 3.7.2.2)."""
    from composer.formats.gltf_weights import read_gltf_weights

    mesh, tracks = read_mesh(path), read_gltf_weights(path)
    times = tracks[0].times
    if any(len(track.times) != len(times) or not np.array_equal(track.times, times) for track in tracks):
        raise MoueError("has weights at different times", path, hint="bake the animation at every frame")
    weights = {track.name: track.values for track in tracks}

    def read() -> Iterator[NDArray[np.float64]]:
        for number in range(len(times)):
            pose = mesh.positions.copy()
            for shape in mesh.shapes:
                if shape.name in weights and weights[shape.name][number]:
                    pose += weights[shape.name][number] * shape.delta.astype(np.float64)
            yield pose

    return _timed(path, mesh, times, read)


def _of_usd(path: Path) -> FrameSequence:
    from composer.formats.usd_points import UsdPoints

    points = UsdPoints(path)
    return _timed(path, points.mesh, points.times, points.frames)


def _timed(
    path: Path, mesh: Mesh, times: NDArray[np.float64], read: Callable[[], Iterator[NDArray[np.float64]]]
) -> FrameSequence:  # fmt: skip
    """Frames of one file, at their times; each is looked at as it is read."""
    if not np.isfinite(times).all() or (np.diff(times) <= 0.0).any():
        raise MoueError("has frames whose times do not rise", path)
    _check_even(path, times)
    names = [f"frame {number} ({time:.3g} s)" for number, time in enumerate(times)]
    return FrameSequence(path, mesh, names, times, lambda: _checked(path, read))


def _numbered(count: int) -> list[str]:
    return [f"frame {number}" for number in range(count)]


def _checked(path: Path, read: Callable[[], Iterator[NDArray[np.float64]]]) -> Iterator[NDArray[np.float64]]:
    """Frames, each looked at as it is read."""
    for number, frame in enumerate(read()):
        check_positions(frame, path, what=f"frame {number}, vertex")
        yield frame


def _check_even(path: Path, times: NDArray[np.float64]) -> None:
    """Raises MoueError where every step is a whole number of the shortest, and some are longer. The last step may be
    shorter than the others, as that of a clip is."""
    if len(times) < 3:
        return
    steps = np.diff(times)
    step = float(steps[:-1].min())
    counts = np.rint(steps / step)
    counts[-1] = max(counts[-1], 1.0)
    even = np.abs(steps - counts * step) <= UNEVEN * step
    if not even[:-1].all() or counts.max() <= 1.0:
        return
    numbers = np.concatenate([[0], np.cumsum(counts)]).astype(int)
    gone = sorted(set(range(int(numbers[-1]) + 1)) - set(numbers.tolist()))
    raise MoueError(f"{missing_words(gone)}: nothing at {times[0] + gone[0] * step:.3g} s", path)


def missing_words(numbers: Sequence[int]) -> str:
    """Which frames are missing, in words.

    >>> missing_words([4]), missing_words([4, 5, 9, 11, 12])
    ('frame 4 is missing', 'frames 4, 5, 9 and 2 more are missing')
    """
    if len(numbers) == 1:
        return f"frame {numbers[0]} is missing"
    named = [str(number) for number in numbers[:MOST_NAMED]]
    more = len(numbers) - len(named)
    words = ", ".join(named) + f" and {more} more" if more else ", ".join(named[:-1]) + f" and {named[-1]}"
    return f"frames {words} are missing"


def _check_alike(mesh: Mesh, each: Mesh, file: Path, first: str) -> None:
    """Raises MoueError where a frame is of another topology than the first."""
    if each.n_vertices != mesh.n_vertices:
        what = f"has {each.n_vertices:,} vertices, {first} has {mesh.n_vertices:,}"
    elif not each.polygons.same_as(mesh.polygons):
        what = f"has other polygons than {first}"
    else:
        return
    raise MoueError(f"{what}: two topologies", file, hint="all frames of a sequence need one topology")
