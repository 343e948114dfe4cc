"""Lines on the surface of a pose, drawn as strips of a width in pixels, full or dashed."""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from pyglet import gl
from scipy.sparse.csgraph import connected_components, dijkstra

from composer.viewer.render.gl_buffers import Arrays, Buffer
from composer.viewer.render.gl_program import Program
from composer.viewer.render.look import Line


class LineStrips:
    """The lines now on the card; one that is drawn again is not sent again."""

    def __init__(self) -> None:
        self._program = Program("line.vert", "line.frag")
        self._strips: list[_Strip] = []

    def draw(
        self, lines: tuple[Line, ...], uniforms: dict[str, object], pixel_mm: float, neutral: NDArray
    ) -> None:  # fmt: skip
        """Draw all of them; `pixel_mm` is what a pixel covers, by which dashes keep their length in the picture."""
        spare = [strip for strip in self._strips if all(strip.line is not line for line in lines)]
        kept = [strip for strip in self._strips if all(strip is not each for each in spare)]
        self._strips = []
        self._program.use()
        self._program.set(**uniforms)
        for line in lines:
            strip = next((each for each in kept if each.line is line), None) or (spare.pop() if spare else _Strip())
            self._strips.append(strip)
            strip.hold(line, neutral)
            dash = 2.0 ** np.round(np.log2(line.dash * pixel_mm)) if line.dash > 0 else 0.0
            self._program.set(width=line.width, ink=np.array(line.colour) / 255.0, dash=dash)
            strip.arrays.use()
            gl.glDrawArraysInstanced(gl.GL_TRIANGLE_STRIP, 0, 4, strip.count)
        for strip in spare:
            strip.close()

    def close(self) -> None:
        """Give everything back."""
        self._program.close()
        for strip in self._strips:
            strip.close()


class _Strip:
    """One line on the card."""

    def __init__(self) -> None:
        self.ends, self.along, self.arrays = Buffer(), Buffer(), Arrays()
        self.line: Line | None = None
        self.count = 0

    def hold(self, line: Line, neutral: NDArray) -> None:
        if self.line is line:
            return
        self.line, self.count = line, len(line.a) // 2
        corners, shares = _corners_of(line)
        dashed = line.dash > 0 and self.count
        lengths = _lengths_along(corners, shares, neutral) if dashed else np.zeros(len(corners))
        along = np.concatenate([shares.reshape(-1, 4), lengths.reshape(-1, 2)], axis=1).astype(np.float32)
        self.ends.hold(corners.astype(np.int32).reshape(-1, 6))
        self.along.hold(along)
        self.arrays.use()
        for i in range(2):
            self.arrays.feed(i, self.ends.id, 3, kind=gl.GL_INT, stride=24, offset=12 * i, each=1)
        self.arrays.feed(2, self.along.id, 4, stride=24, each=1)
        self.arrays.feed(3, self.along.id, 2, stride=24, offset=16, each=1)

    def close(self) -> None:
        for thing in (self.ends, self.along, self.arrays):
            thing.close()


def _corners_of(line: Line) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """(k, 3) the vertices of each row of a line, and (k, 2) the shares of the second and the third."""
    k = len(line.a)
    b, t = np.reshape(line.b, (k, -1)), np.reshape(line.t, (k, -1))
    if b.shape[1] == 1:
        b, t = np.concatenate([b, b], axis=1), np.concatenate([t, np.zeros((k, 1))], axis=1)
    return np.concatenate([np.reshape(line.a, (k, 1)), b], axis=1).astype(np.int64), t.astype(np.float64)


def _lengths_along(corners: NDArray, shares: NDArray, neutral: NDArray) -> NDArray[np.float64]:
    """(k,) how far along its line each row lies at rest, mm; where a line is closed, the shorter way round."""
    weights = np.concatenate([1.0 - shares.sum(axis=1, keepdims=True), shares], axis=1)
    places = np.einsum("ij,ijk->ik", weights, neutral[corners])
    node = np.unique(np.round(places * 1e4).astype(np.int64), axis=0, return_inverse=True)[1].reshape(-1, 2)
    length = np.linalg.norm(places[1::2] - places[::2], axis=1)
    n = int(node.max()) + 1
    graph = sp.coo_matrix((np.maximum(length, 1e-9), (node[:, 0], node[:, 1])), (n, n)).tocsr()
    piece = connected_components(graph, directed=False)[1]
    ends = np.bincount(node.ravel(), minlength=n)
    order = np.lexsort((ends, piece))
    starts = order[np.r_[True, np.diff(piece[order]) > 0]]
    return dijkstra(graph, directed=False, indices=starts, min_only=True)[node].ravel()
