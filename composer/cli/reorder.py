"""`moue reorder`: a mesh in the vertex order of another."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from composer.cli import console
from composer.cli.sources import Json

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


def reorder(
    mesh: Annotated[Path, typer.Argument(help="The mesh to put in order: OBJ, PLY, GLB or NPZ.")],
    like: Annotated[Path, typer.Option(metavar="FILE", help="A file of the same mesh in the wanted order.")],
    to: Annotated[Path, typer.Option(metavar="FILE", help="The file to write.")],
    landmark: Annotated[
        list[str] | None,
        typer.Option(metavar="OTHER=MESH", help="OTHER=MESH, two vertex numbers from 0; may be repeated."),
    ] = None,
    json_file: Json = None,
) -> None:
    """Put a mesh in the vertex order of another file.

    The order follows from the polygons alone, welded and joined as needed. The new file has the mesh's positions and
    the other file's polygons, texture coordinates and groups. Where a symmetric piece fits in several ways, texture
    coordinates, positions or a --landmark decide.

    Example: moue reorder scan.obj --like keeper/neutral.obj --to scan_in_order.obj
    """
    from composer.cli.progress import bar
    from composer.errors import MoueError
    from composer.formats.mend import likeness, write_in_order
    from composer.formats.registry import format_of, read_mesh
    from composer.head.outputs import may_write

    format_of(to, writing=True)
    if to.exists():
        raise MoueError("is there already", to, hint="give another name")
    if json_file not in (None, "-"):
        may_write(Path(str(json_file)), ".json", (mesh, like))
    with bar("reading") as progress:
        reference, other = read_mesh(like), read_mesh(mesh)
        pairs = _pairs(landmark or [], reference.n_vertices, other.n_vertices)
        progress(0.4, "matching the polygons")
        try:
            matched = likeness(reference, other, pairs)
        except MoueError as error:
            raise error.at(mesh) from None
        progress(0.8, f"writing {to.name}")
        notes = write_in_order(to, reference, other, matched)
    report = {"mesh": str(mesh), "like": str(like), "did": list(matched.did), "decided": matched.decided,
              "vertices": matched.vertices.tolist()}  # fmt: skip
    if json_file is not None:
        from composer.cli.report import write_json

        write_json(json_file, report)
        if json_file == "-":
            return
    done = ", ".join(matched.did) or "already in order"
    console.say(f"{to}: {len(matched.vertices):,} vertices in the order of {like.name}: {done}")
    if matched.decided != "connectivity":
        by = {"uv": "texture coordinates", "geometry": "vertex positions", "landmark": "landmarks"}
        console.note(f"The polygons fit in several ways; {by[matched.decided]} decided.")
    for note in notes:
        console.note(note)


def _pairs(options: list[str], n: int, m: int) -> NDArray[np.int64] | None:
    """(k, 2) vertex numbers from options such as "12=40"; None without any. Raises MoueError for other text."""
    import numpy as np

    from composer.errors import MoueError

    pairs = []
    for text in options:
        words = text.split("=")
        if len(words) != 2 or not all(word.isascii() and word.strip().isdigit() for word in words):
            raise MoueError(f"--landmark {text!r} is not two vertex numbers with = between them", hint="as in 12=40")
        of_other, of_mesh = int(words[0]), int(words[1])
        if of_other >= n or of_mesh >= m:
            raise MoueError(f"--landmark {text!r} names a missing vertex", hint=f"the numbers are below {n}={m}")
        pairs.append((of_other, of_mesh))
    return np.array(pairs, dtype=np.int64) if pairs else None
