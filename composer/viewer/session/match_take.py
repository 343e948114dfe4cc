"""A performance matched in the window: frames of this topology become a clip, made beside the frame loop."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from composer.document.project import Project
from composer.edits.clips import add_clip
from composer.edits.head_frames import HeadFrames
from composer.edits.match_clip import POOR, ClipOfFrames, check_clip_name, clip_of_frames
from composer.edits.match_frames import MatchedFrames, match_frames
from composer.edits.names import free_name
from composer.errors import MoueError
from composer.formats.frame_sequence import read_sequence
from composer.formats.mesh import Mesh
from composer.head.file_names import file_names
from composer.progress import Progress
from composer.viewer.session.stage import Stage

MATCHING = "Matching the frames"


@dataclass(frozen=True)
class TakeWish:
    """What is to be matched: the `source`, a folder or a file of frames, the clip's `name`, with which `regions` and
    `shapes` (None for all), keys within `thin` mm or a table of every frame (None), the frames' rate where it is not
    the file's own."""

    source: Path
    name: str
    regions: tuple[str, ...] | None = None
    shapes: tuple[str, ...] | None = None
    thin: float | None = 0.2
    fps: float | None = None


def free_clip_name(project: Project, source: Path) -> str:
    """A name for the clip of these frames that no clip has."""
    plain = Path(file_names([source.stem or "take"], ".csv")[source.stem or "take"]).stem
    taken = {clip.name for clip in project.clips}
    return plain if plain not in taken else free_name(plain, taken)


def match_take(
    stage: Stage, wish: TakeWish, show: Callable[[str], object], refused: Callable[[str], None]
) -> None:
    """Match the frames, then add the clip as one step and `show` it by its name; what belongs beside the document is
    written then. `refused` is told why frames cannot be matched. Raises MoueError where the clip may not have its name,
    or the document lies nowhere yet."""
    session = stage.opened
    if session.file is None:
        what = "the document has no file yet, and what belongs to the clip lies beside it"
        raise MoueError(what, hint="save it first")
    evaluated, place = session.evaluated, session.file
    check_clip_name(session.history.committed, place, wish.name)

    def matched(progress: Progress) -> tuple[MatchedFrames, ClipOfFrames]:
        progress(0.0, "reading")
        head = evaluated.head
        face = Mesh(head.polygons, head.neutral, unit=None)
        frames = HeadFrames(head, read_sequence(wish.source, wish.name, face), fps=wish.fps)
        found = match_frames(
            evaluated, frames, wish.regions, wish.shapes, progress=lambda done, words: progress(0.9 * done, words)
        )
        progress(0.9, "making the clip")
        return found, clip_of_frames(evaluated, place, wish.name, found, wish.thin)

    def done(result: tuple[MatchedFrames, ClipOfFrames]) -> None:
        found, made = result
        if stage.session is not session:
            return
        clip = made.project.clip(wish.name)

        def take() -> None:
            check_clip_name(session.history.committed, place, wish.name)
            session.prepared(lambda project: add_clip(project, clip))  # what is refused leaves no file
            made.write_files()
            session.apply(lambda project: add_clip(project, clip))

        if stage.guard(take):
            show(wish.name)
            _tell(stage, found, made)

    stage.work.begin(MATCHING, matched, done, refused, asks=True)


def _tell(stage: Stage, found: MatchedFrames, made: ClipOfFrames) -> None:
    """What was found, how near it comes, and what undo does not take back."""
    left = found.left
    cells = "1 cell reaches" if len(found.cells) == 1 else f"{len(found.cells)} cells reach"
    stage.say(
        f"{cells} {100.0 * left.explained:.0f} percent of the movement in {len(found.times)} frames. Left: mean "
        f"{left.mean.mean():.2f} mm, 95th percentile {left.p95.mean():.2f} mm, at most {left.most.max():.2f} mm in "
        f"frame {int(left.most.argmax())}.", "done",
    )  # fmt: skip
    if made.files:
        names = " and ".join(path.name for path in made.files)
        motion = "; the head's own motion is in the second" if len(made.files) > 1 else ""
        motion = "; it holds the head's own motion" if [*made.files] == [made.motion] else motion
        stage.say(f"Beside the document: {names}{motion}. Undo takes the clip back and leaves what lies there.")
    for note in found.notes:
        stage.say(note)
    if left.explained < POOR:
        stage.say("No weights of these cells reach these frames: match with more shapes or regions.", "wrong")
