"""One target of a folder, read as far as needed: its vertices, and whether its polygons are the neutral's."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.formats.mesh import Mesh
from composer.formats.obj import mesh_of_lines
from composer.formats.obj_lines import F, Lines, find_lines, gathered, read_bytes
from composer.formats.obj_scan import scan_vertices
from composer.formats.reference_text import ReferenceText
from composer.formats.registry import read_mesh


@dataclass(frozen=True, eq=False)
class Target:
    """The reference of a folder: its mesh, and the text of its polygons where it is an OBJ; `text` is what other files
    may have in common with it."""

    path: Path
    mesh: Mesh
    polygon_text: NDArray[np.uint8] | None
    text: ReferenceText | None = None

    @property
    def diagonal(self) -> float:
        """The bounding box's diagonal, in the file's unit."""
        return self.mesh.diagonal


class TargetReader:
    """One file, parsed piece by piece on demand. Every property raises MoueError where the file cannot be used."""

    def __init__(self, path: Path, like: Target | None = None) -> None:
        """Most files of a folder have the text of the reference `like` behind their vertices: it is compared as bytes,
        and not looked at further."""
        self.path, self.like = path, like
        self.is_text = path.suffix.lower() == ".obj"

    @cached_property
    def _text(self) -> NDArray[np.uint8]:
        if self.path.is_dir():
            raise MoueError("is a folder, not a file", self.path)
        return read_bytes(self.path)

    @cached_property
    def _lines(self) -> Lines:
        return find_lines(self._text)

    @cached_property
    def _vertex_lines(self) -> Lines | None:
        """The lines before the text that the file has in common with the reference; None where it has not."""
        common = None if self.like is None else self.like.text
        return None if common is None else common.before(self._text)

    @cached_property
    def mesh(self) -> Mesh:
        """The whole mesh."""
        return mesh_of_lines(self._lines, self.path) if self.is_text else read_mesh(self.path)

    @cached_property
    def positions(self) -> NDArray[np.float64]:
        """(n, 3) the vertices alone, in the file's unit."""
        if not self.is_text:
            return self.mesh.positions
        positions = self._like_the_reference()
        if positions is None:
            positions, _ = scan_vertices(self._vertex_lines or self._lines, self.path)
        if not len(positions):
            raise MoueError("holds no vertices", self.path, hint="is it an OBJ file?")
        return positions

    def _like_the_reference(self) -> NDArray[np.float64] | None:
        """(n, 3) the vertices, of which only those are parsed whose line is not the reference's."""
        if self.like is None or self.like.text is None or self._vertex_lines is None:
            return None
        changed = self.like.text.changed(self._vertex_lines)
        if changed is None:
            return None
        positions = np.array(self.like.mesh.positions)
        if changed.any():
            positions[changed], _ = scan_vertices(self._vertex_lines, self.path, changed)
        return positions

    def polygon_text(self) -> NDArray[np.uint8] | None:
        """The bytes of the `f` lines; None in another format, or where indices are negative: these depend on the
        lines before.
        """
        if not self.is_text:
            return None
        chosen = self._lines.of_kind(F)
        if not len(chosen):
            return np.zeros(0, dtype=np.uint8)
        text = gathered(self._lines, chosen)[0]
        return None if (text == 45).any() else text

    def same_polygons_as(self, base: Target) -> bool:
        """Whether the polygons are those of `base`; the same text settles it without parsing."""
        if len(self.positions) != len(base.mesh.positions):
            return False
        if base is self.like and self._vertex_lines is not None:
            return True
        text = self.polygon_text()
        if text is not None and base.polygon_text is not None and np.array_equal(text, base.polygon_text):
            return True
        return base.mesh.polygons.same_as(self.mesh.polygons)

    def target(self) -> Target:
        """This file as the reference of its folder."""
        text = self.polygon_text()
        if text is None:
            return Target(self.path, self.mesh, None)
        return Target(self.path, self.mesh, text.copy(), ReferenceText.of(self._lines))
