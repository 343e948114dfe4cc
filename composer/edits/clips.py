"""Adding, replacing, renaming and deleting clips, and what becomes of them when what they use is renamed or deleted."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace

from composer.document.clip_file import names_in, renamed, tracks_of
from composer.document.project import Project
from composer.edits.names import free_name
from composer.errors import MoueError
from composer.head.file_names import check_name
from composer.mixing.clip import Clip, Key


def add_clip(project: Project, clip: Clip) -> Project:
    """The project with another clip at the end. Raises MoueError where its name is taken or not allowed."""
    _check_new_name(project, clip.name)
    return project.with_(clips=(*project.clips, clip))


def replace_clip(project: Project, name: str, clip: Clip) -> Project:
    """The project with `clip` in the place of the one named `name`. Raises MoueError for an unknown clip, or another
    name that is taken or not allowed."""
    held = project.clip(name)
    if held == clip:
        return project
    if clip.name != name:
        _check_new_name(project.with_(clips=tuple(one for one in project.clips if one is not held)), clip.name)
    return project.with_(clips=tuple(clip if one is held else one for one in project.clips))


def rename_clip(project: Project, name: str, to: str) -> Project:
    """The clip under another name. Raises MoueError for an unknown clip, or a name that is taken or not allowed."""
    return replace_clip(project, name, project.clip(name).with_(name=to))


def delete_clip(project: Project, name: str) -> Project:
    """The project without a clip; its file stays. Raises MoueError for an unknown clip."""
    held = project.clip(name)
    return project.with_(clips=tuple(one for one in project.clips if one is not held))


def duplicate_clip(project: Project, name: str) -> tuple[Project, str]:
    """The project with a copy of a clip behind it, and the copy's name. Raises MoueError for an unknown clip."""
    held = project.clip(name)
    copy = held.with_(name=free_name(name, [clip.name for clip in project.clips]))
    at = project.clips.index(held) + 1
    return project.with_(clips=(*project.clips[:at], copy, *project.clips[at:])), copy.name


def clips_with_recipe(project: Project, name: str) -> list[str]:
    """Names of the clips that have keys of a recipe, in order; a deletion changes these."""
    return [clip.name for clip in project.clips if name in clip.recipes]


def clips_with_shape(project: Project, name: str) -> list[str]:
    """Names of the clips that have keys of a shape, in order."""
    return [clip.name for clip in project.clips if any(key.shape == name for key in clip.keys)]


def with_recipe_renamed(project: Project, name: str, to: str | None) -> Project:
    """The project whose clips call recipe `name` by the name `to`; with None, without its keys."""
    return _changed(project, tuple(_in_keys(clip, lambda key: _recipe_in(key, name, to)) for clip in project.clips))


def with_region_renamed(project: Project, name: str, into: list[str]) -> Project:
    """The project whose clips have the keys of region `name` on the regions `into`, or not at all if there are none. A
    clip of a file learns them as the region's names."""
    clips = []
    for clip in project.clips:
        if clip.file:
            clips.append(_in_file(project, clip, name, into) if into else clip)
        else:
            clips.append(_in_keys(clip, lambda key: _region_in(key, name, into)))
    return _changed(project, tuple(clips))


def _changed(project: Project, clips: tuple[Clip, ...]) -> Project:
    return project if clips == project.clips else project.with_(clips=clips)


def _in_keys(clip: Clip, change: object) -> Clip:
    keys = tuple(new for key in clip.keys for new in change(key))  # type: ignore[operator]
    return clip if keys == clip.keys else clip.with_(keys=keys)


def _recipe_in(key: Key, name: str, to: str | None) -> list[Key]:
    if key.recipe != name:
        return [key]
    return [] if to is None else [replace(key, recipe=to)]


def _region_in(key: Key, name: str, into: list[str]) -> list[Key]:
    return [key] if key.region != name else [replace(key, region=other) for other in into]


def _in_file(project: Project, clip: Clip, name: str, into: list[str]) -> Clip:
    """A clip of a file, where names in the file that meant region `name` mean the regions `into`."""

    def follow(ours: str) -> list[str]:
        region, slash, shape = ours.partition("/")
        return [f"{to}/{shape}" for to in into] if region == name and slash else [ours]

    rename = {theirs: _one_or_more([each for one in names_in(ours) for each in follow(one)])
              for theirs, ours in clip.rename.items()}  # fmt: skip
    with suppress(MoueError):  # a file that cannot be read now names nothing
        names = [track.name for track in tracks_of(project, clip)]
        if any(ours.startswith(f"{name}/") for each in names for ours in renamed(each, rename)):
            rename[f"{name}/"] = _one_or_more([f"{to}/" for to in into])
    return clip if rename == clip.rename else clip.with_(rename=rename)


def _one_or_more(names: list[str]) -> str | tuple[str, ...]:
    return names[0] if len(names) == 1 else tuple(names)


def _check_new_name(project: Project, name: str) -> None:
    names = [clip.name for clip in project.clips]
    if name in names:
        raise MoueError(f"a clip named {name!r} is there already", project.path)
    check_name(name, "clip", project.path, names)
