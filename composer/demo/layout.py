"""The cage's connectivity, the same for every character: a grid with holes, each filled with rings.

Half a head is a grid of 27 by 34 quads from the front midline to the back one and from the hairline to the neck
border. Rectangles are cut out of it for eye, mouth, nostril and ear; each hole is filled with concentric rings
(the loops along which a face moves) and its innermost ring is closed by a small grid of the hole's own size, so
that the only irregular vertices are the corners of the rectangles and of the closing grids. A half-rectangle of 6
by 11 quads closes the skull without a pole. The other half is its mirror; the midline is shared.

This module has indices only; other modules give the positions.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]

COLUMNS, ROWS = 27, 34
EYE = (4, 12, 5, 9)  # first and last column, first and last row of the hole
MOUTH = (0, 6, 16, 22)
EAR = (17, 21, 6, 14)
NOSTRIL = (1, 3, 14, 16)
CAP = 6  # columns of the grid's top row that make one side of the closing grid

EYE_RINGS = (
    "orbit", "outer", "middle", "fold", "crease", "tarsal", "edge", "margin_front", "margin_middle",
    "margin_back", "conjunctiva", "fornix", "socket", "socket_back",
)  # fmt: skip
MOUTH_RINGS = (
    "surround", "skin_outer", "skin_inner", "roll", "border", "vermilion_outer", "vermilion_inner", "contact_front",
    "contact_middle", "contact_back", "inner_lip", "vestibule", "pouch", "bag", "throat",
)  # fmt: skip
EAR_RINGS = (
    "surround", "root", "back_inner", "back", "rim", "helix", "helix_fold", "scapha", "antihelix", "concha_edge",
    "concha",
)  # fmt: skip
NOSTRIL_RINGS = ("surround", "rim", "inside", "depth")

GROUPS = (
    "face", "scalp", "neck", "mouth_interior", "socket_left", "socket_right", "ear_left", "ear_right",
    "nostril_left", "nostril_right",
)  # fmt: skip


def ring(names: tuple[str, ...], name: str) -> int:
    """The number of a ring, 0 the outermost."""
    return names.index(name)


@dataclass(frozen=True, eq=False)
class Layout:
    """Indices of half a head: `n` vertices, `quads` (m, 4), `group` (m,) names without side, `midline` (n,).

    `grid` (28, 35) by column and row, -1 in holes; `cap` (7, 12); `eye` (14, 24) from the inner corner over the
    upper lid; `mouth` (15, 19) from the midline over the upper lip, the corner at 9; `ear` (11, 24) from the tragus
    upwards and round the back; `nostril` (4, 8); `*_fill` the grids that close each.
    """

    n: int
    quads: Ints
    group: tuple[str, ...]
    midline: NDArray[np.bool_]
    grid: Ints
    cap: Ints
    eye: Ints
    mouth: Ints
    ear: Ints
    nostril: Ints
    eye_fill: Ints
    mouth_fill: Ints
    ear_fill: Ints
    nostril_fill: Ints


def fill_loop(loop: Ints, a: int, b: int, first_new: int) -> Ints:
    """(a + 1, b + 1) a grid whose rim is a loop of 2 (a + b) vertices; the inner ones are numbered from `first_new`."""
    made = np.full((a + 1, b + 1), -1, dtype=np.int64)
    made[:, 0] = loop[: a + 1]
    made[a, :] = loop[a : a + b + 1]
    made[::-1, b] = loop[a + b : 2 * a + b + 1]
    made[0, 1:b] = loop[2 * a + b + 1 :][::-1]
    made[1:a, 1:b] = first_new + np.arange((a - 1) * (b - 1)).reshape(a - 1, b - 1)
    return made


class _Maker:
    """Collects vertices and quads of the half while the layout is made."""

    def __init__(self) -> None:
        self.n = 0
        self.quads: list[tuple[int, int, int, int]] = []
        self.group: list[str] = []

    def vertices(self, *shape: int) -> Ints:
        count = int(np.prod(shape))
        made = np.arange(self.n, self.n + count, dtype=np.int64).reshape(shape)
        self.n += count
        return made

    def quad(self, a: int, b: int, c: int, d: int, group: str) -> None:
        self.quads.append((int(a), int(b), int(c), int(d)))
        self.group.append(group)

    def rings(self, border: Ints, groups: list[str], closed: bool) -> Ints:
        """Rings inside a border (k,): one more row than there are groups, the border first."""
        made = np.vstack([border[None], self.vertices(len(groups), len(border))])
        last = len(border) if closed else len(border) - 1
        for r, group in enumerate(groups):
            for s in range(last):
                t = (s + 1) % len(border)
                self.quad(made[r, s], made[r, t], made[r + 1, t], made[r + 1, s], group)
        return made

    def fill(self, loop: Ints, a: int, b: int, start: int, group: str) -> Ints:
        """Close a loop of 2 (a + b) vertices with a grid of a by b quads whose first side begins at `start`."""
        made = fill_loop(np.roll(loop, -start), a, b, self.n)
        self.n += (a - 1) * (b - 1)
        self.grid_quads(made, group)
        return made

    def grid_quads(self, made: Ints, group: str) -> None:
        for i in range(made.shape[0] - 1):
            for k in range(made.shape[1] - 1):
                self.quad(made[i, k], made[i + 1, k], made[i + 1, k + 1], made[i, k + 1], group)


def _inside(i: int, j: int, hole: tuple[int, int, int, int], open_left: bool = False) -> bool:
    first, last, top, bottom = hole
    return (i < last if open_left else first < i < last) and top < j < bottom


def _grid_group(i: int, j: int) -> str:
    """Which group a quad of the grid belongs to: the hairline, behind the ears and the jaw's lower edge divide."""
    if j >= 27 or (j >= 20 and i >= 15):
        return "neck"
    if i >= 17 or (j < 2 and i >= 10) or (j < 5 and i >= 15):
        return "scalp"
    return "face"


def _make_grid(make: _Maker) -> Ints:
    grid = np.full((COLUMNS + 1, ROWS + 1), -1, dtype=np.int64)
    for i in range(COLUMNS + 1):
        for j in range(ROWS + 1):
            holes = _inside(i, j, EYE), _inside(i, j, MOUTH, True), _inside(i, j, EAR), _inside(i, j, NOSTRIL)
            if not any(holes):
                grid[i, j] = make.vertices(1)[0]
    for i in range(COLUMNS):
        for j in range(ROWS):
            if not any(a <= i < b and c <= j < d for a, b, c, d in (EYE, MOUTH, EAR, NOSTRIL)):
                make.quad(grid[i, j], grid[i + 1, j], grid[i + 1, j + 1], grid[i, j + 1], _grid_group(i, j))
    return grid


def _make_cap(make: _Maker, grid: Ints) -> Ints:
    b = COLUMNS - 2 * CAP
    cap = np.full((CAP + 1, b + 1), -1, dtype=np.int64)
    cap[:, 0] = grid[: CAP + 1, 0]
    cap[:, b] = grid[COLUMNS : COLUMNS - CAP - 1 : -1, 0]
    cap[CAP, :] = grid[CAP : COLUMNS - CAP + 1, 0]
    cap[:CAP, 1:b] = make.vertices(CAP, b - 1)
    make.grid_quads(cap, "scalp")
    return cap


def _perimeter(hole: tuple[int, int, int, int], grid: Ints, start: tuple[int, int]) -> Ints:
    """The loop round a hole as vertices: up the near side, along the top to the far side, down and back."""
    a, b, c, d = hole
    cells = (
        [(a, j) for j in range(d, c, -1)]
        + [(i, c) for i in range(a, b)]
        + [(b, j) for j in range(c, d)]
        + [(i, d) for i in range(b, a, -1)]
    )
    at = cells.index(start)
    return np.array([grid[cell] for cell in cells[at:] + cells[:at]])


def half_layout() -> Layout:
    """The connectivity of half a head, as this module describes it."""
    make = _Maker()
    grid = _make_grid(make)
    cap = _make_cap(make, grid)

    eye_groups = ["face"] * 9 + ["socket"] * 4
    eye = make.rings(_perimeter(EYE, grid, (EYE[0], 7)), eye_groups, closed=True)
    eye_fill = make.fill(eye[-1], 4, 8, 22, "socket")

    side = MOUTH[1]
    border = np.array(
        [grid[i, MOUTH[2]] for i in range(side + 1)]
        + [grid[side, j] for j in range(MOUTH[2] + 1, MOUTH[3] + 1)]
        + [grid[i, MOUTH[3]] for i in range(side - 1, -1, -1)]
    )
    mouth_groups = ["face"] * 9 + ["mouth_interior"] * 5
    mouth = make.rings(border, mouth_groups, closed=False)
    inner = mouth[-1]
    mouth_fill = np.full((7, 7), -1, dtype=np.int64)
    mouth_fill[:, 0], mouth_fill[:, 6], mouth_fill[6, :] = inner[:7], inner[12:][::-1], inner[6:13]
    mouth_fill[:6, 1:6] = make.vertices(6, 5)
    make.grid_quads(mouth_fill, "mouth_interior")

    nostril = make.rings(_perimeter(NOSTRIL, grid, (1, 14)), ["nostril"] * 3, closed=True)
    nostril_fill = make.fill(nostril[-1], 2, 2, 0, "nostril")

    ear = make.rings(_perimeter(EAR, grid, (EAR[0], 10)), ["ear"] * 10, closed=True)
    ear_fill = make.fill(ear[-1], 4, 8, 4, "ear")

    midline = np.zeros(make.n, dtype=bool)
    for line in (grid[0, grid[0] >= 0], grid[COLUMNS], cap[0], mouth[:, 0], mouth[:, 18], mouth_fill[0]):
        midline[line] = True
    return Layout(
        make.n, np.array(make.quads, dtype=np.int64), tuple(make.group), midline, grid, cap, eye, mouth, ear, nostril,
        eye_fill, mouth_fill, ear_fill, nostril_fill,
    )  # fmt: skip


def turned_alike(quads: Ints) -> Ints:
    """The quads (m, 4) with one common turning sense, walking over shared edges from the first."""
    edge_faces: dict[tuple[int, int], list[tuple[int, bool]]] = {}
    for f, quad in enumerate(quads):
        for k in range(4):
            a, b = int(quad[k]), int(quad[(k + 1) % 4])
            edge_faces.setdefault((min(a, b), max(a, b)), []).append((f, a < b))
    neighbours: list[list[tuple[int, bool]]] = [[] for _ in quads]
    for faces in edge_faces.values():
        if len(faces) == 2:
            (f, up), (g, also) = faces
            neighbours[f].append((g, up == also))
            neighbours[g].append((f, up == also))
    flip = np.full(len(quads), -1)
    flip[0] = 0
    queue = deque([0])
    while queue:
        f = queue.popleft()
        for g, same in neighbours[f]:
            if flip[g] < 0:
                flip[g] = flip[f] ^ int(same)
                queue.append(g)
    turned = quads.copy()
    turned[flip == 1] = turned[flip == 1][:, ::-1]
    return turned
