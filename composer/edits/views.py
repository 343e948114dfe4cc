"""Keeping views of the head in a document, renaming and deleting them."""

from __future__ import annotations

from dataclasses import replace

from composer.document.kept_view import KeptView, check_view_name
from composer.document.project import Project
from composer.edits.names import free_name
from composer.errors import MoueError

FIRST = "view"


def keep_view(project: Project, view: KeptView) -> Project:
    """The project with a view at the end, or in the place of the one of its name. Raises MoueError for a name that a
    view may not have."""
    check_view_name(view.name, project.path)
    if view.name in {one.name for one in project.views}:
        return project.with_(views=tuple(view if one.name == view.name else one for one in project.views))
    return project.with_(views=(*project.views, view))


def rename_view(project: Project, name: str, to: str) -> Project:
    """The view under another name. Raises MoueError for an unknown view, or a name that is taken or not allowed."""
    held = project.view(name)
    if to == name:
        return project
    check_view_name(to, project.path)
    if to in {one.name for one in project.views}:
        raise MoueError(f"a view named {to!r} is there already", project.path)
    return project.with_(views=tuple(replace(one, name=to) if one is held else one for one in project.views))


def delete_view(project: Project, name: str) -> Project:
    """The project without a view. Raises MoueError for an unknown one."""
    held = project.view(name)
    return project.with_(views=tuple(one for one in project.views if one is not held))


def free_view_name(project: Project) -> str:
    """A name that no view of the project has."""
    taken = [one.name for one in project.views]
    return FIRST if FIRST not in taken else free_name(FIRST, taken)
