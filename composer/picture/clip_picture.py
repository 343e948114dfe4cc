"""A clip as pictures: every frame by one camera, and all of them as an animated picture."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from numpy.typing import NDArray

from composer.document.evaluated_clip import EvaluatedClip
from composer.document.over_cores import over_cores
from composer.head.atomic import write_whole
from composer.head.file_names import file_names
from composer.head.new_folder import filled_whole, may_fill
from composer.picture.fine_enough import SMALL
from composer.picture.frames_on_disk import MANIFEST
from composer.picture.lamps import FOLLOWING, lamps_of
from composer.picture.png import numbered, write_pngs
from composer.picture.render import Studio
from composer.picture.views import View, camera_of
from composer.progress import Progress

if TYPE_CHECKING:
    from PIL.Image import Image

FILL = 0.88
SWING_SECONDS = 2.4
"""How long a movement there and back lasts (our choice)."""
MOST_A_SECOND = 12.5
"""Most pictures a second of the animated picture on a page (our choice)."""


def studio_of(clip: EvaluatedClip) -> Studio:
    """The studio in which a clip is pictured."""
    head = clip.evaluated.head
    return Studio.of(head, 1 if head.n_vertices < SMALL else 0)


def pictures(
    clip: EvaluatedClip, studio: Studio, numbers: Sequence[int], *, view: View = "three_quarter",
    size: tuple[int, int] = (420, 500), colours: NDArray | None = None, light: str = FOLLOWING, clear: bool = False,
    progress: Progress | None = None, workers: int | None = None,
) -> list[Image]:  # fmt: skip
    """The pictures of some frames, all by one camera that holds the neutral's face, over `workers` cores, all by
    default; their number changes none.

    `colours`, `light` and `clear` are as in `Studio.picture`. Raises MoueError for an unknown view or light.
    """
    lamps_of(light)
    camera = camera_of(view, studio.figure.neutral, size, FILL)
    if numbers:
        clip.evaluated.pose(clip.frame(numbers[0]))  # what all poses share is made before workers part

    def picture(i: int) -> Image:
        pose = clip.evaluated.pose(clip.frame(numbers[i]))
        return studio.picture(pose, camera=camera, colours=colours, light=light, clear=clear)

    return over_cores(lambda: picture, len(numbers), words="picturing frame", progress=progress, workers=workers)


def shown_frames(clip: EvaluatedClip, most_a_second: float) -> list[int]:
    """Frames from the first to the last, at most so many a second."""
    step = max(1, round(clip.clip.fps / most_a_second))
    return sorted({*range(0, clip.n_frames, step), clip.n_frames - 1})


def animated(images: Sequence[Image], seconds: Sequence[float]) -> bytes:
    """An animated WebP that plays without end; each image stays for its `seconds`.

    Specification: Google, "WebP Container Specification", sections "Animation" and "VP8X".
    """
    held = io.BytesIO()
    durations = [max(1, round(1000.0 * each)) for each in seconds]
    images[0].save(
        held, "WEBP", save_all=True, append_images=list(images[1:]), duration=durations, loop=0, quality=82, method=4,
    )  # fmt: skip
    return held.getvalue()


def there_and_back(images: Sequence[Image]) -> bytes:
    """Pictures of one movement as an animated WebP that goes to the last and back without end."""
    steps = [*images, *images[-2:0:-1]]
    return animated(steps, [SWING_SECONDS / len(steps)] * len(steps))


def durations(clip: EvaluatedClip, numbers: Sequence[int]) -> list[float]:
    """How long each of some frames stays, in seconds; the last as long as one frame."""
    times = [float(clip.times[number]) for number in numbers]
    return [after - now for now, after in zip(times, times[1:], strict=False)] + [1.0 / clip.clip.fps]


def write_pictures(
    clip: EvaluatedClip, folder: Path | str, *, view: View = "three_quarter", size: tuple[int, int] = (420, 500),
    progress: Progress | None = None, workers: int | None = None,
) -> list[Path]:  # fmt: skip
    """Fill `folder` with a PNG a frame and an animated WebP of all, whole or not at all. Returns the files' paths.

    Raises MoueError for an unknown view, and for a folder that holds anything but unchanged earlier pictures.
    """
    folder = Path(folder)
    may_fill(folder, MANIFEST, "pictures")
    stem = file_names([clip.clip.name], ".webp")[clip.clip.name]
    names, numbers = numbered(stem, clip.n_frames), range(clip.n_frames)
    taken = pictures(clip, studio_of(clip), numbers, view=view, size=size, progress=progress, workers=workers)
    moving = animated(taken, durations(clip, numbers))
    with filled_whole(folder, MANIFEST, "pictures") as beside:
        write_pngs(beside, names, taken)
        write_whole(beside / f"{stem}.webp", lambda file: file.write(moving), sync=False)
    return [folder / name for name in (f"{stem}.webp", *names)]
