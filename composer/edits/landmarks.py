"""Landmarks of a document, which add to the head's own or replace them."""

from __future__ import annotations

from collections.abc import Collection

from composer.document.project import Project
from composer.document.read import landmark_of
from composer.document.text import landmark_table
from composer.document.values import Values
from composer.errors import MoueError, unknown
from composer.head.places import Place


def place_landmark(project: Project, name: str, place: Place) -> Project:
    """The project with a landmark at a vertex, or at a point of a triangle, of the head. It is no guess any more.

    Raises MoueError for an empty name, a free position, or weights that do not sum to one. Vertices that the head
    does not have are an error when the document is evaluated.
    """
    if not name or name != name.strip():
        raise MoueError(f"a landmark cannot be named {name!r}", project.path, hint="choose a plain name")
    if isinstance(place, tuple):
        raise MoueError(f"landmark {name!r} needs a vertex or a point of a triangle", project.path)
    read = landmark_of(Values(landmark_table(place), project.path, f"landmark {name!r}"))
    if project.landmarks.get(name) == read and name not in project.guesses:
        return project
    return project.with_(landmarks={**project.landmarks, name: read}, guesses=project.guesses - {name})


def accept_guesses(project: Project, names: Collection[str]) -> Project:
    """The project with guessed landmarks and curves accepted where they are. Raises MoueError for one that is none."""
    for name in names:
        if name not in project.guesses:
            raise unknown("guess", name, sorted(project.guesses), project.path)
    return project.with_(guesses=project.guesses - set(names))


def remove_landmark(project: Project, name: str) -> Project:
    """The project without its landmark of this name; the head's own landmark applies again.

    Raises MoueError where the document has none of this name.
    """
    if name not in project.landmarks:
        raise unknown("landmark of the document", name, project.landmarks, project.path)
    remaining = {other: place for other, place in project.landmarks.items() if other != name}
    return project.with_(landmarks=remaining, guesses=project.guesses - {name})
