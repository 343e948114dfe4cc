"""Options and help that several subcommands share for opening documents and libraries."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from composer.document.project import Project
    from composer.mixing.recipe import Recipe

VIEWS = "front, three_quarter, profile, profile_right, below or back"
LIBRARY = "A library: a folder of OBJ or PLY targets, or one .glb, .gltf, .npz or USD file."
DOCUMENT = "A document.toml or a .moue file."
UNITS = "mm, cm, dm, m, in or ft"
Neutral = Annotated[str | None, typer.Option(metavar="NAME", help="The file name of the neutral in a folder.")]
Unit = Annotated[str | None, typer.Option(metavar="UNIT", help=f"The files' unit: {UNITS}.")]
SkipBroken = Annotated[bool, typer.Option("--skip-broken", help="Leave out unusable files, and name them.")]
Json = Annotated[
    str | None, typer.Option("--json", metavar="FILE", help="Write the result as JSON here; - is standard output.")
]
View = Annotated[str, typer.Option(metavar="VIEW", help=f"The picture's view: {VIEWS}.")]
OR_KEPT = f"{VIEWS}, or NAME of the document's [views.NAME]"
KeptView = Annotated[str, typer.Option(metavar="VIEW", help=f"The picture's view: {OR_KEPT}.")]
Columns = Annotated[int | None, typer.Option(metavar="N", min=1, max=40, help="Pictures in a row, 1 to 40.")]
Only = Annotated[list[str] | None, typer.Option(metavar="NAME", help="Only this recipe; may be repeated.")]


def is_document(path: Path) -> bool:
    """Whether a path has a document's suffix."""
    return path.suffix.lower() in (".toml", ".moue")


NO_RECIPES = "The document holds no recipes; add one under [recipes.NAME]."


def recipes_of(project: Project, names: list[str] | None) -> list[Recipe]:
    """The named recipes of a project, each once, or all. Raises MoueError for an unknown name."""
    return [project.recipe(name) for name in dict.fromkeys(names)] if names else list(project.recipes)
