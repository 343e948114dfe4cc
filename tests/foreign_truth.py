"""What is true of a foreign library: an awkward one made by code, or the real one, with its files in a folder.

The truth of an awkward head is the one it was made with. Of the real library it is what its own files and its own
landmarks say: material and place of each piece, its 68 points and its curves.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.head.head import Head
from composer.head.landmarks import Landmarks, read_landmarks
from composer.units import mm_per
from tests import awkward_heads as awkward_library
from tests.awkward_surgery import AwkwardHead, in_axes
from tests.real_library import UNIT_MM, real_folder, real_neutral, unpacked

REAL = "library_a"
ALLOWED = {
    "eye": "own", "iris": "own", "wet": "surface", "occlusion": "surface", "lashes": "surface", "brow": "surface",
    "teeth_upper": "skull", "gum_upper": "skull", "teeth_lower": "jaw", "gum_lower": "jaw", "tongue": "jaw",
    "hair": "surface skin", "skin": "skin",
}  # fmt: skip
"""What each part truly follows, by how its name begins; a sheet that lies on the scalp may as well be skin."""
REAL_MATERIALS = {
    "M_EyeLashes": "surface", "M_EyeOcclusion": "surface", "M_EyeBlend": "surface skull",
    "M_LacrimalFluid": "own surface",
    "M_IrisRight": "own", "M_ScleraRight": "own", "M_IrisLeft": "own", "M_ScleraLeft": "own",
    "M_BackHead": "skin", "M_Face": "skin",
}  # fmt: skip
"""What the real library's materials follow; its wet sheet lies on the ball and under the lid and may go with either,
and the strip in the inner corner of its eye moves by 0.6 mm at most.
Its teeth and gums hold both jaws and are told by how far its jaw opening moves them.
"""


@dataclass(frozen=True, eq=False)
class Truth:
    """`folder` holds the files. `unit_mm` is a unit of them in mm; `axes` (3, 3) are left, up and ahead in their space.
    `known` is the head in mm, turned so that these are x, y and z, with true landmarks and, for an awkward one, true
    parts. `follows` (n,) is what each vertex may follow, several words where it may more; `mirror` (n,) or None.
    `blinks` {side: shape}, `jaw` the shape that opens the mouth; "" for none.
    """

    name: str
    folder: Path
    unit_mm: float
    neutral_name: str
    axes: NDArray[np.float64]
    follows: NDArray[np.str_]
    known: Head
    landmarks: Landmarks
    mirror: NDArray[np.int64] | None
    blinks: dict[str, str] = field(default_factory=dict)
    jaw: str = ""


def awkward_truth(name: str, folder: Path) -> Truth:
    """The awkward library of this name (traits joined by +, "demo" for none; `=NAME` names its neutral), written."""
    traits, _, neutral = name.partition("=")
    a = awkward_library.awkward(*(trait for trait in traits.split("+") if trait != "demo"))
    if neutral:
        a = awkward_library.neutral_named(a, neutral)
    awkward_library.write(a, folder)
    follows = np.array([_allowed(str(part), a) for part in a.part_of], dtype="<U16")
    blinks, jaw = {}, ""
    named = {a.true_names.get(shape.name, shape.name): shape.name for shape in a.head.shapes}
    for side in ("left", "right"):
        blinks[side] = named.get(f"au43_{side}", named.get("blink", ""))
    jaw = named.get("au27", named.get("jaw", ""))
    return Truth(
        name, folder, mm_per(a.head.unit), a.head.neutral_name, a.axes, follows, in_axes(a, a.axes.T).known(),
        a.landmarks, a.mirror, blinks, jaw,
    )  # fmt: skip


def _allowed(part: str, a: AwkwardHead) -> str:
    allowed = next(words for start, words in ALLOWED.items() if part.startswith(start))
    if allowed == "own":  # an eyeball that no shape turns stays with the skull
        moves = max(float(np.abs(delta[a.part_of == part]).max()) for delta in a.deltas)
        return "own" if moves > 1.0 else "skull"
    return allowed


def real_truth(folder: Path | None = None) -> Truth:
    """The real library: left is x, up y, ahead z, centimetres. Skips where there is none."""
    from composer.formats.library import open_library

    files = folder or unpacked(real_folder())
    polygons, neutral = real_neutral()
    head = open_library(files, "generic_neutral_mesh", "cm", recognise=False)
    follows = np.full(len(neutral), "skin", dtype="<U16")
    for material, words in REAL_MATERIALS.items():
        follows[polygons.indices[np.isin(polygons.corner_face, head.materials[material])]] = words
    jaw = max(head.shapes, key=lambda shape: shape.furthest_mm).name
    far = np.linalg.norm(head.shape(jaw).delta, axis=1)
    for material in ("M_Teeth", "M_GumsTongue"):
        inside = np.unique(polygons.indices[np.isin(polygons.corner_face, head.materials[material])])
        follows[inside] = np.where(far[inside] > 0.5 * far.max(), "jaw", np.where(far[inside] < 1.0, "skull", "any"))
    marks = read_landmarks(real_folder() / "landmarks.toml", UNIT_MM)
    blinks = {"left": "eyeBlink_L", "right": "eyeBlink_R"}
    known = head.with_(landmarks=marks)
    return Truth(
        REAL, files, UNIT_MM, "generic_neutral_mesh", np.eye(3), follows, known, marks, None, blinks, jaw
    )  # fmt: skip
