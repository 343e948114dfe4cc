"""Reference pictures in a document: laid, changed, renamed and deleted."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from composer.document.kept_view import LONGEST, check_plain_name
from composer.document.project import Project
from composer.document.reference_picture import ReferencePicture
from composer.document.text import relative_place
from composer.edits.names import free_name
from composer.errors import MoueError
from composer.head.references import check_inside


def lay_picture(project: Project, path: Path) -> tuple[Project, str]:
    """The project with the picture at `path` as a reference behind the head, and its name. Raises MoueError where the
    document may not refer to it (`composer.head.references`)."""
    check_inside(path, project.path, "a reference picture", project.head_path)
    plain = "".join(sign for sign in path.stem if sign.isprintable()).strip()[: LONGEST - 8] or "picture"
    taken = [one.name for one in project.references]
    name = plain if plain not in taken else free_name(plain, taken)
    held = ReferencePicture(name, relative_place(path, project.path.parent))
    return project.with_(references=(*project.references, held)), name


def replace_reference(project: Project, name: str, held: ReferencePicture) -> Project:
    """The project with `held` in the place of the reference picture named `name`. Raises MoueError for an unknown one,
    or another name that is taken or not allowed."""
    before = project.reference(name)
    if held.name != name:
        check_plain_name(held.name, "reference", project.path)
        if held.name in {one.name for one in project.references}:
            raise MoueError(f"a reference named {held.name!r} is there already", project.path)
    return project.with_(references=tuple(held if one is before else one for one in project.references))


def place_reference(project: Project, name: str, middle: tuple[float, float], height: float) -> Project:
    """The picture at another place, of another height, in few digits. Raises MoueError for an unknown one."""
    placed = (round(middle[0], 4) + 0.0, round(middle[1], 4) + 0.0)
    return replace_reference(project, name, replace(project.reference(name), middle=placed, height=round(height, 4)))


def delete_reference(project: Project, name: str) -> Project:
    """The project without a reference picture; its file stays. Raises MoueError for an unknown one."""
    before = project.reference(name)
    return project.with_(references=tuple(one for one in project.references if one is not before))
