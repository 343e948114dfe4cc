"""The landmarks of a demo head: found on its own loops by what defines them, so that they hold for every character.

Names and definitions are those of facial anthropometry (Farkas 1994; landmarks after Martin): pronasale is the most
forward point of the nose, sellion the deepest of the bridge, gnathion the lowest of the chin, zygion the most lateral
of the cheekbone's arch, and so on. Points are vertices.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.demo.layout import COLUMNS, EAR_RINGS, EYE_RINGS, MOUTH_RINGS, ROWS, Layout, ring
from composer.head.landmarks import Landmarks, as_curve

Rows = NDArray[np.float64]
Ints = NDArray[np.int64]

LOWER_LID = np.concatenate([[0], np.arange(23, 11, -1)])


def landmarks(layout: Layout, positions: Rows, mirror: Ints) -> Landmarks:
    """All points and curves; `positions` (n, 3) mm of at least the left half, `mirror` (n,) to the right."""
    points = _midline_points(layout, positions)
    for name, vertex in _paired_points(layout, positions).items():
        points[f"{name}_left"], points[f"{name}_right"] = vertex, int(mirror[vertex])
    curves = {name: as_curve(ids) for name, ids in _curves(layout, positions, mirror, points).items()}
    return Landmarks(points=points, curves=curves)


def _most(ids: Ints, measure: Rows) -> int:
    return int(ids[int(np.argmax(measure))])


def _midline_points(layout: Layout, at: Rows) -> dict[str, int]:
    column = layout.grid[0]
    back = layout.grid[COLUMNS]
    eye, mouth = column[5:9], layout.mouth
    nose = column[9:16]
    chin = np.concatenate([mouth[2::-1, 18], column[23:30]])
    low = column[22:30]
    crown = np.concatenate([layout.cap[0], back[:3]])
    behind = np.concatenate([layout.cap[0], back[:12]])
    border = ring(MOUTH_RINGS, "border")
    sublabial = mouth[: ring(MOUTH_RINGS, "roll") + 1, 18]
    return {
        "vertex": _most(crown, at[crown, 1]),
        "trichion": int(column[0]),
        "glabella": _most(column[3:7], at[column[3:7], 2]),
        "sellion": _most(eye, -at[eye, 2]),
        "pronasale": _most(nose, at[nose, 2]),
        "subnasale": int(column[16]),
        "labiale_superius": int(mouth[border, 0]),
        "stomion": int(mouth[ring(MOUTH_RINGS, "contact_front"), 0]),
        "labiale_inferius": int(mouth[border, 18]),
        "sublabiale": _most(sublabial, -at[sublabial, 2]),
        "pogonion": _most(chin, at[chin, 2] - 3.0 * (at[chin, 1] > -92)),
        "gnathion": _most(low, -at[low, 1] + 0.45 * at[low, 2]),
        "opisthocranion": _most(behind, -at[behind, 2]),
        "cervicale": _most(back[14:26], at[back[14:26], 2]),
    }


def _paired_points(layout: Layout, at: Rows) -> dict[str, int]:
    grid, eye, mouth, ear = layout.grid, layout.eye, layout.mouth, layout.ear
    outer = eye[ring(EYE_RINGS, "outer")]
    margin = eye[ring(EYE_RINGS, "margin_front")]
    rim, root = ear[ring(EAR_RINGS, "rim")], ear[ring(EAR_RINGS, "root")]
    cupid = mouth[ring(MOUTH_RINGS, "border"), :6]
    wing = grid[2:4, 12:16].ravel()
    wing = wing[wing >= 0]
    arch = grid[12:18, 7:13].ravel()
    arch = arch[arch >= 0]

    def nearest(x: float, y: float, z: float) -> int:
        ids = grid[grid >= 0]
        return int(ids[int(np.argmin(((at[ids] - np.array([x, y, z])) ** 2).sum(1)))])

    return {
        "frontotemporale": nearest(51, 30, 62),
        "brow_medial": int(outer[2]), "brow_peak": int(outer[8]), "brow_lateral": int(outer[10]),
        "endocanthion": int(margin[0]), "exocanthion": int(margin[12]),
        "palpebrale_superius": int(margin[6]), "palpebrale_inferius": int(margin[18]),
        "orbitale": int(eye[0, 18]),
        "zygion": _most(arch, at[arch, 0] - 0.02 * np.abs(at[arch, 1] + 18)),
        "cheek": nearest(43, -27, 66),
        "alare": _most(wing, at[wing, 0]), "subalare": int(grid[3, 16]),
        "crista_philtri": _most(cupid, at[cupid, 1]),
        "cheilion": int(mouth[ring(MOUTH_RINGS, "contact_front"), 9]),
        "gonion": nearest(57, -72, 4),
        "tragion": int(rim[1]), "otobasion_superius": int(root[3]), "otobasion_inferius": int(root[19]),
        "superaurale": _most(rim, at[rim, 1]), "subaurale": _most(rim, -at[rim, 1]),
        "postaurale": _most(rim, -at[rim, 2]),
    }  # fmt: skip


def _curves(layout: Layout, at: Rows, mirror: Ints, points: dict[str, int]) -> dict[str, Ints]:
    eye, mouth, ear, grid = layout.eye, layout.mouth, layout.ear, layout.grid
    sides: dict[str, Ints] = {
        "brow": eye[ring(EYE_RINGS, "outer"), 2:11],
        "upper_lid": eye[ring(EYE_RINGS, "margin_front"), :13],
        "lower_lid": eye[ring(EYE_RINGS, "margin_front"), LOWER_LID],
        "ear_rim": ear[ring(EAR_RINGS, "rim"), 3:20],
        "ear_root": ear[ring(EAR_RINGS, "root")],
        "nasolabial": np.concatenate([[points["alare_left"]], mouth[0, 4:11]]),
        "socket": eye[ring(EYE_RINGS, "conjunctiva")],
    }
    curves = {f"{name}_left": ids for name, ids in sides.items()}
    curves |= {f"{name}_right": mirror[ids] for name, ids in sides.items()}

    def across(left: Ints) -> Ints:
        """From the right corner over the midline to the left one; `left` begins on the midline."""
        return np.concatenate([mirror[left[:0:-1]], left])

    border, contact = mouth[ring(MOUTH_RINGS, "border")], mouth[ring(MOUTH_RINGS, "contact_front")]
    inner = mouth[ring(MOUTH_RINGS, "contact_back")]
    curves["upper_lip"], curves["lower_lip"] = across(border[:10]), across(border[:8:-1])
    curves["lip_line_upper"], curves["lip_line_lower"] = across(contact[:10]), across(contact[:8:-1])
    jaw = _jaw_row(layout, at, points)
    curves["jawline"] = across(jaw)
    down = np.concatenate([grid[0, :17], mouth[1:8, 0], mouth[7::-1, 18], grid[0, 23:]])
    curves["midline_front"] = down[: int(np.flatnonzero(down == points["gnathion"])[0]) + 1]
    curves["neck_border"] = np.concatenate([grid[:, ROWS], mirror[grid[1:-1, ROWS][::-1]]])
    curves["mouth_inner"] = np.concatenate([inner, mirror[inner[1:-1][::-1]]])
    return curves


def _jaw_row(layout: Layout, at: Rows, points: dict[str, int]) -> Ints:
    """From gnathion to the left gonion, column by column: the vertex lowest along the jaw's lower edge."""
    grid = layout.grid
    chin = int(np.flatnonzero(grid[0] == points["gnathion"])[0])
    column, row = (int(v[0]) for v in np.nonzero(grid == points["gonion_left"]))
    rows = np.round(np.linspace(chin, row, column + 1)).astype(int)
    return np.array([grid[i, rows[i]] for i in range(column + 1)])
