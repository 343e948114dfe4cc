"""`moue inspect`: a library's content and its faults; with `--mend`, a mended copy."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from composer.cli import console
from composer.cli.sources import LIBRARY, Json, Neutral, SkipBroken, Unit

if TYPE_CHECKING:
    from composer.document.inspection import Inspection
    from composer.head.head import Head

LEVELS = 4
"""The finest level whose vertex count is listed (our choice)."""


def inspect(
    path: Annotated[Path, typer.Argument(help=LIBRARY)],
    neutral: Neutral = None,
    unit: Unit = None,
    skip_broken: SkipBroken = False,
    mend: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Write a mended copy of a folder to this new folder.")
    ] = None,
    picture: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write a picture, .png, of the landmarks, found or given.")
    ] = None,
    json_file: Json = None,
) -> None:
    """Show a library's content, Moue's beliefs about it, and its faults.

    It lists counts, levels, unit, neutral and how far each shape moves. It finds, and with --mend mends, files with
    another scale, vertex order or level than the rest, files split along seams or triangulated, and head motion in
    shapes. It also finds dead and duplicate shapes, a neutral that is not at rest, and files that cannot be read.

    A file that cannot be mended is left out of the copy. Exit code 1 where an error stays or a file is left out.

    Example: moue inspect scans --mend scans_mended --json report.json
    """
    from composer.cli.progress import bar
    from composer.document.beliefs import beliefs_of
    from composer.document.inspection import inspect_folder
    from composer.document.shape_faults import shape_faults
    from composer.errors import MoueError
    from composer.formats.library import open_library, upright
    from composer.head.coarse_head import seen_coarse
    from composer.head.outputs import may_write
    from composer.head.parts import with_recognised_parts
    from composer.head.understand.anatomy import with_anatomy_of

    if json_file not in (None, "-"):
        may_write(Path(str(json_file)), ".json", (path, mend))
    if picture is not None:
        may_write(picture, ".png", (path, mend))
    inspection: Inspection | None = None
    became: dict[str, str] = {}
    with bar("opening") as progress:
        if path.is_dir():
            inspection = inspect_folder(path, neutral, unit, progress)
            head, notes = with_recognised_parts(upright(inspection.head)), list(inspection.notes)
            files = [_file_row(file) for file in inspection.files if file.faults]
            if mend is not None:
                from composer.document.mend import write_mended

                became = write_mended(inspection, mend, progress)
        else:
            if mend is not None:
                raise MoueError("is one file; only a folder of targets can be mended", path)
            head, notes = open_library(path, neutral, unit, skip_broken, progress), []
            motions, faults = shape_faults(head)
            files = []
            for name, fault in faults:
                row: dict[str, Any] = {"file": name, "faults": [_fault_row(fault)]}
                if name in motions:
                    row |= _motion_row(motions[name])
                files.append(row)
    for row in files:
        row["became"] = became.get(row["file"], "")
    seen = seen_coarse(head)
    known = with_anatomy_of(seen.with_(notes=(*notes, *head.notes)), seen)
    report = _report(head, notes, files) | {"beliefs": [vars(belief) for belief in beliefs_of(known)]}
    if mend is not None:
        report["mended_copy"] = str(mend)
    if picture is not None:
        _picture(known, picture)
    remaining = [fault for row in files for fault in row["faults"] if not (fault["mended"] and mend is not None)]
    wrong = any(fault["severity"] == "error" for fault in remaining) or "left out" in became.values()
    if json_file is not None:
        from composer.cli.report import write_json

        write_json(json_file, report)
    if json_file != "-":
        _say(head, report, mend, became)
    if wrong:
        raise typer.Exit(1)


def _fault_row(fault: Any) -> dict[str, Any]:
    return {"code": fault.code, "severity": fault.severity, "words": fault.words, "mended": fault.mended}


def _motion_row(motion: Any) -> dict[str, Any]:
    return {"turn_deg": motion.turn_deg, "shift_mm": motion.shift_mm.tolist()} if motion.matters else {}


def _file_row(file: Any) -> dict[str, Any]:
    row: dict[str, Any] = {"file": file.path.name, "faults": [_fault_row(fault) for fault in file.faults]}
    return row | (_motion_row(file.motion) if file.motion is not None else {})


def _report(head: Head, notes: list[str], files: list[dict[str, Any]]) -> dict[str, Any]:
    from composer.head.fingerprint import fingerprint
    from composer.head.levels import vertex_count

    return {
        "head": head.name, "vertices": head.n_vertices, "polygons": head.polygons.n_faces, "unit": head.unit,
        "diagonal_mm": head.diagonal, "neutral": head.neutral_name, "topology": fingerprint(head.polygons),
        "levels": {str(k): vertex_count(head.polygons, k) for k in range(LEVELS + 1)},
        "groups": list(head.groups), "parts": {part.name: part.follows for part in head.parts},
        "furthest_mm": {shape.name: shape.furthest_mm for shape in head.shapes},
        "files": files, "notes": [*notes, *head.notes],
    }  # fmt: skip


def _say(head: Head, report: dict[str, Any], mend: Path | None, became: dict[str, str]) -> None:
    moves = report["furthest_mm"]
    size = f"{head.n_vertices:,} vertices, {head.polygons.n_faces:,} polygons, diagonal {head.diagonal:.1f} mm"
    console.say(f"{head.name}: {size}")
    console.say(f"neutral: {head.neutral_name}; unit of the files: {head.unit}; {console.counted(len(moves), 'shape')}")
    console.say("vertices at levels: " + ", ".join(f"{k}: {n:,}" for k, n in report["levels"].items()))
    _say_beliefs(report["beliefs"])
    for name, most in moves.items():
        console.say(f"  {name}: " + (f"moves up to {most:.2f} mm" if most else "does not move"))
    _say_faults(report["files"], mend is not None)
    printed = " ".join(belief["words"] for belief in report["beliefs"])
    for note in report["notes"]:
        if note not in printed:
            console.note(note)
    if mend is not None:
        count = {what: list(became.values()).count(what) for what in ("mended", "copied", "left out")}
        console.say(f"{mend}: " + ", ".join(f"{n} file{'s' * (n > 1)} {what}" for what, n in count.items() if n))


def _picture(head: Head, to: Path) -> None:
    """Write a picture of the head's landmarks, or of those that are found on it."""
    from composer.errors import MoueError
    from composer.head.find_landmarks.found import find_landmarks
    from composer.picture.landmark_picture import landmark_picture
    from composer.picture.png import write_png

    found = None if head.landmarks else find_landmarks(head)
    marks = head.landmarks or (found.landmarks if found is not None else None)
    if not marks:
        raise MoueError("has no landmarks to picture, and none were found", head.path)
    image = landmark_picture(head, marks, found.guesses if found is not None else ())
    write_png(to, image)


def _say_beliefs(beliefs: list[dict[str, Any]]) -> None:
    """Print what Moue believes of the library, by topic, with a mark at each doubt and how to correct it."""
    console.say("what Moue takes it for (check the lines with a question mark):")
    for topic in dict.fromkeys(belief["topic"] for belief in beliefs):
        lines = [belief for belief in beliefs if belief["topic"] == topic]
        for number, belief in enumerate(lines):
            mark = "?" if belief["doubt"] else " "
            console.say(f"  {topic if number == 0 else '':<10}{mark} {belief['words']}", hang=14)
        for correct in dict.fromkeys(belief["correct"] for belief in lines):
            console.say(f"  {'':<10}  to correct: {correct}", hang=14)


def _say_faults(files: list[dict[str, Any]], mending: bool) -> None:
    if not files:
        console.say("no faults found")
        return
    for row in files:
        console.say(row["file"])
        for fault in row["faults"]:
            console.say(f"  {fault['severity']}: {fault['words']} ({_mended(fault, row['became'], mending)})", hang=4)


def _mended(fault: dict[str, Any], became: str, mending: bool) -> str:
    """What --mend does, or has done, about a fault."""
    if not mending:
        return "--mend mends it" if fault["mended"] else "--mend does not mend it"
    if became == "left out":
        return "the file is left out"
    return "mended" if fault["mended"] else "not mended"
