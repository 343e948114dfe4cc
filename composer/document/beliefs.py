"""One page of what Moue assumes about a head: neutral, unit, sides, parts and landmarks, each with its reason and with
the way to correct it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from composer.errors import MoueError
from composer.head.find_landmarks.found import find_landmarks
from composer.head.head import Head
from composer.head.human_size import eye_distance, face_length, size_doubts
from composer.head.landmark_doubts import landmark_doubts
from composer.head.parts import recognise
from composer.head.places import Landmarks
from composer.head.presets import lay_regions, region_set
from composer.head.understand.anatomy import Anatomy, anatomy_of

SCANNED = 0.25
"""Of all shapes: where so many move the whole head along, they are scans that were not stabilised (our choice)."""
TURNS_DEG = 2.0
"""An eyeball that turns by less in every shape stands still (our choice; a glance turns it by ten degrees and more)."""
FOLLOWS = {
    "skull": "stays with the skull", "jaw": "goes with the jaw", "surface": "goes with the skin it touches",
    "own": "moves by shapes of its own",
}  # fmt: skip


@dataclass(frozen=True)
class Belief:
    """One line of the page: its `topic`, the assumption and its reason (`words`), how to `correct` it, and whether it
    is a `doubt`, which is a question to the person.
    """

    topic: str
    words: str
    correct: str
    doubt: bool = False


def beliefs_of(head: Head) -> list[Belief]:
    """The page for a head, in the order in which a person should read it."""
    marks, landmark_lines = _landmarks(head)
    return [
        _neutral(head), *_unit(head, marks), _sides(head), *_head_motion(head), *_parts(head), *landmark_lines
    ]  # fmt: skip


def _neutral(head: Head) -> Belief:
    said = next((note for note in head.notes if note.startswith(("The neutral is", "No target is named neutral"))), "")
    words = said or f"The neutral is {head.neutral_name}."
    return Belief("neutral", words, "--neutral NAME, or neutral in library.toml beside the files", "in doubt" in said)


def _unit(head: Head, marks: Landmarks | None) -> list[Belief]:
    correct = "--unit UNIT, or unit in library.toml beside the files"
    eyes, face = eye_distance(head, marks), face_length(head, marks)
    doubts = size_doubts(head, marks)
    measured = [f"eyes {eyes:.0f} mm apart"] if eyes is not None else []
    measured += [f"face {face:.0f} mm from sellion to gnathion"] if face is not None else []
    measures = ", ".join(measured) or f"the head's diagonal is {head.diagonal:.0f} mm"
    words = f"The files are in {head.unit}: {measures}."
    return [Belief("unit", words, correct), *(Belief("unit", doubt, correct, True) for doubt in doubts)]


def _sides(head: Head) -> Belief:
    frame = anatomy_of(head).frame
    halves = f"its halves differ by {frame.off_mm:.2g} mm"
    why = f" ({'; '.join(frame.reasons)})" if frame.reasons else ""
    correct = "up and ahead in library.toml beside the files, or in the document"
    if not frame.as_the_file:
        words = f"Left is taken as x, up as y, ahead as z, but form and motion say: {frame.words}{why}; {halves}."
        return Belief("sides", words, correct, True)
    if head.axes.as_they_are:
        return Belief("sides", f"In the files left is x, up is y, ahead is z{why}; {halves}.", correct)
    words = f"In the files {head.axes.words}; the head is turned upright, and baked files are turned back; {halves}."
    return Belief("sides", words, correct, not head.axes.along_axes)


def _head_motion(head: Head) -> list[Belief]:
    """A question where many shapes move the whole head along, as scans do."""
    motion = anatomy_of(head).motion
    carrying = [shape.name for shape, carries in zip(head.expressions, motion.carries, strict=True) if carries]
    if len(carrying) < SCANNED * max(motion.count, 1):
        return []
    words = (
        f"Is the whole head meant to move in {len(carrying)} of {motion.count} shapes, {carrying[0]} among them? Mixed "
        "by region, its motion comes along."
    )
    return [Belief("head motion", words, "moue inspect FOLDER --mend NEW takes it out", True)]


def _parts(head: Head) -> list[Belief]:
    correct = "[parts.NAME] in the document: group, material, component or vertices, and follows"
    found = recognise(head)
    if not found.parts:
        words = found.notes[0] if found.notes else "Everything is skin: the head is of one piece."
        return [Belief("parts", words, correct)]
    lines = []
    for part, note in zip(found.parts, found.notes, strict=True):
        pieces, _, how = note.removesuffix(".").partition(" was taken for a part")[2].strip().rpartition(") ")
        many = f" ({pieces.removeprefix('(')})" if pieces else ""
        lines.append(Belief("parts", f"{part.name}{many} {FOLLOWS[part.follows]}, known {how}.", correct))
    names = [part.name for part in found.parts]
    if "tongue" not in names and any("cut from a piece" in note for note in found.notes):
        words = "No tongue is a piece of its own: one that is joined to the gums is part of gum_lower, with the jaw."
        lines.append(Belief("parts", words, correct))
    gaze = anatomy_of(head).gaze
    if gaze.axes:
        words = f"The eyes look {_gaze_words(anatomy_of(head))}."
        lines.append(Belief("parts", words, "gaze = [x, y, z] in [parts.eye_left] and [parts.eye_right]"))
        if head.expressions and not _eyes_turn(anatomy_of(head)):
            words = "No shape turns the eyeballs: where a shape looks aside only the lids move, the eyes look on ahead."
            lines.append(Belief("parts", words, "add targets in which they turn"))
    return lines


def _eyes_turn(anatomy: Anatomy) -> bool:
    """Whether a shape turns an eyeball by more than TURNS_DEG."""
    turns = np.concatenate([eye.fits.turns for eye in anatomy.eyes])
    cosine = (np.trace(turns, axis1=1, axis2=2) - 1.0) / 2.0
    return bool(len(cosine) and np.degrees(np.arccos(np.clip(cosine.min(), -1.0, 1.0))) > TURNS_DEG)


def _gaze_words(anatomy: Anatomy) -> str:
    if anatomy.gaze.words.startswith("straight"):
        return anatomy.gaze.words
    side, up, ahead = (float(each) for each in anatomy.frame.axes @ anatomy.gaze.axes[0])
    outward, upward = np.degrees(np.arctan2(anatomy.eyes[0].side * side, ahead)), np.degrees(np.arcsin(up))
    return f"{outward:.1f} degrees outward and {upward:.1f} up, {anatomy.gaze.words}"


def _landmarks(head: Head) -> tuple[Landmarks | None, list[Belief]]:
    correct = "landmarks.toml beside the files, or place them in the window"
    if head.landmarks:
        words = f"{len(head.landmarks.points)} landmarks and {len(head.landmarks.curves)} curves come with the library."
        doubts = [Belief("landmarks", doubt, correct, True) for doubt in landmark_doubts(head)]
        return head.landmarks, [Belief("landmarks", words, correct), *doubts]
    found = find_landmarks(head)
    lines = [Belief("landmarks", found.words, correct)]
    lines += [Belief("landmarks", f"No {what}: {why}.", correct, True) for what, why in found.missing.items()]
    if found.landmarks:
        lines.append(_regions(head, found.landmarks))
    return found.landmarks or None, lines


def _regions(head: Head, marks: Landmarks) -> Belief:
    preset = region_set("face")
    try:
        laid = lay_regions(head, preset, marks, coarse=True)
    except MoueError as error:
        return Belief("landmarks", f"They give no regions: {error.what}.", "moue regions --from displacement", True)
    out = f"; left out: {', '.join(laid.left_out)}" if laid.left_out else ""
    return Belief("landmarks", f"They give {len(laid.masks)} of {len(preset.names)} regions{out}.", "moue regions")
