"""Setting and removing the correctives of a document, and renaming the regions of their triggers."""

from __future__ import annotations

from dataclasses import replace

from composer.document.project import Project
from composer.errors import MoueError, unknown
from composer.mixing.corrective import Corrective, Correctives


def set_corrective(project: Project, corrective: Corrective) -> Project:
    """The project with a corrective, in the place of the one of the same shape, or last.

    Raises MoueError, with their names, for correctives that trigger each other or cannot be told apart.
    """
    names = [one.shape for one in project.correctives]
    if corrective.shape in names:
        given = tuple(corrective if one.shape == corrective.shape else one for one in project.correctives)
    else:
        given = (*project.correctives, corrective)
    return project if given == project.correctives else project.with_(correctives=_solved(project, given))


def delete_corrective(project: Project, shape: str) -> Project:
    """The project without the corrective of a shape; the shape stays. Raises MoueError where there is none."""
    names = [one.shape for one in project.correctives]
    if shape not in names:
        raise unknown("corrective", shape, names, project.path)
    return project.with_(correctives=tuple(one for one in project.correctives if one.shape != shape))


def with_trigger_region(project: Project, name: str, to: str | None) -> Project:
    """The project with region `name` renamed to `to` in every trigger; with None, without its correctives."""
    given = tuple(
        replace(one, triggers=tuple(replace(t, region=to) if t.region == name and to else t for t in one.triggers))
        for one in project.correctives
        if to or all(trigger.region != name for trigger in one.triggers)
    )
    return project if given == project.correctives else project.with_(correctives=given)


def _solved(project: Project, given: tuple[Corrective, ...]) -> tuple[Corrective, ...]:
    try:
        return Correctives(given).given
    except MoueError as error:
        raise error.at(project.path) from None
