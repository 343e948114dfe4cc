"""Small meshes with everything a file can hold, and OBJ text as other programs write it, for the tests."""

from __future__ import annotations

import numpy as np
from hypothesis import strategies as st

from composer.formats.mesh import Mesh
from composer.head.head import InBetween, Shape, TextureCoordinates
from tests.small_heads import polygon_meshes

NAMES = ("face", "ear_left", "teeth.upper", "Zunge", "lid-r")


@st.composite
def meshes(draw: st.DrawFn, shapes: bool = False) -> Mesh:
    """A polygon mesh with, now and then, texture seams, groups, materials, colours, and shapes with in-betweens."""
    polygons = draw(polygon_meshes())
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    n, f, k = polygons.n_vertices, polygons.n_faces, len(polygons.indices)
    positions = draw(st.sampled_from([0.02, 1.0, 180.0])) * rng.normal(size=(n, 3)) + rng.normal(size=3)
    uv = None
    if draw(st.booleans()):
        m = int(rng.integers(3, 2 * n))
        uv = TextureCoordinates(rng.random((m, 2)), rng.integers(0, m, k).astype(np.int32))

    def names(prefix: str, overlap: bool) -> dict[str, np.ndarray]:
        if not draw(st.booleans()):
            return {}
        if overlap:
            chosen = {prefix + name: np.flatnonzero(rng.random(f) < 0.4).astype(np.int32) for name in NAMES[:3]}
        else:
            label = rng.integers(0, 4, f)
            chosen = {prefix + NAMES[i]: np.flatnonzero(label == i).astype(np.int32) for i in range(3)}
        return {name: faces for name, faces in chosen.items() if len(faces)}

    made = []
    for i in range(draw(st.integers(0, 3)) if shapes else 0):
        delta = rng.normal(size=(n, 3)).astype(np.float32)
        delta[rng.random(n) < rng.random() * 1.2] = 0
        between = (InBetween(0.5, rng.normal(size=(n, 3)).astype(np.float32)),) if i == 1 else ()
        made.append(Shape(f"au{i:02d}_left", delta, between))
    return Mesh(
        polygons,
        positions,
        uv,
        names("", overlap=True),
        materials=names("m_", overlap=False),
        colours=rng.random((n, 3)) if draw(st.booleans()) else None,
        shapes=tuple(made),
        unit="cm",
        name="small",
    )


@st.composite
def obj_texts(draw: st.DrawFn) -> tuple[bytes, list[tuple[float, float, float]], list[list[int]]]:
    """An OBJ text in somebody's habit, and what it says: positions, and polygons counted from 0."""
    polygons = draw(polygon_meshes())
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    number = draw(st.sampled_from(["{:.6f}", "{!r}", "{:.3e}", "{:g}", "{:+.2f}", "{:.9g}"]))
    end = draw(st.sampled_from(["\n", "\r\n"]))
    back, continued, comments = (draw(st.booleans()) for _ in range(3))
    corner = draw(st.sampled_from(["{v}", "{v}/{t}", "{v}/{t}/{t}", "{v}//{t}"]))
    mixed = draw(st.booleans())
    rows, positions, faces = [], [], []
    if comments:
        rows.append("# a head, quads / triangles: 1 2 3")
    n = polygons.n_vertices
    first = n // 2 if mixed and back else n
    for low, high in ((0, first), (first, n)):
        for _ in range(low, high):
            text = [number.format(float(x)) for x in rng.normal(size=3) * 20]
            positions.append(tuple(float(t) for t in text))
            tail = "  # here" if comments and rng.random() < 0.1 else ""
            rows.append("v " + ("\t" if rng.random() < 0.1 else " ").join(text) + tail)
            if mixed:
                rows += ["vn 0 0 1", f"vt {rng.random():.4f} {rng.random():.4f}"]
    if not mixed:
        rows += [f"vt {rng.random():.4f} {rng.random():.4f}" for _ in range(n)] + ["vn 0 0 1"] * n
    for face in range(polygons.n_faces):
        loop = polygons.face(face).tolist()
        words = []
        for v in loop:
            said = v - n if back and rng.random() < 0.5 else v + 1
            words.append(corner.format(v=said, t=v + 1))
        joint = f" \\{end}  " if continued and rng.random() < 0.3 else " "
        if rng.random() < 0.1:
            rows.append(str(rng.choice(["g face lid", "s off", "", "usemtl bone", "o head", "  "])))
        rows.append(("  " if rng.random() < 0.05 else "") + "f " + joint.join(words))
        faces.append(loop)
    last = end if draw(st.booleans()) else ""
    return (end.join(rows) + last).encode(), positions, faces
