"""The pose on the GPU is the CPU's: positions, smooth normals and picture, by compute shaders and by feedback."""

from __future__ import annotations

import ctypes
import os
import sys
from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from composer.bench.cube_sphere import cube_sphere
from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface
from composer.head.head import Head
from composer.head.symmetry import MirrorMap
from composer.mixing.columns import Column, column
from composer.mixing.hinge import Hinge
from composer.mixing.linear import Mixer
from composer.mixing.recipe import Cell, CellKey, Recipe, Row
from tests.small_heads import CUBE, CUBE_CORNERS, polygon_meshes, random_head, random_masks

NEEDED = "needs pyglet and OpenGL: apt-get install libgl1-mesa-dri libegl1 libegl-mesa0 libgl1"
MUST = os.environ.get("MOUE_WINDOW_TESTS") == "1"
REGIONS = ["brow", "mouth", "jaw"]
WAYS = ["compute", "feedback"]
seeds = st.integers(0, 2**32 - 1)

try:
    import pyglet

    if "pyglet.gl" not in sys.modules:
        pyglet.options.headless = True
        pyglet.options.debug_gl = False
    from pyglet import gl

    from composer.bench import window_gpu
    from composer.viewer.render import gpu_memory, gpu_pose
    from composer.viewer.render.camera import named_eye
    from composer.viewer.render.gpu_context import Way, best_way
    from composer.viewer.render.gpu_pose import GpuPose
    from composer.viewer.render.look import Look
    from composer.viewer.render.normals import Normals
    from composer.viewer.render.opposite_edges import opposite_edges
    from composer.viewer.render.view3d import View3D
except Exception as error:  # pyglet opens a display when GL is loaded, and has no one error for having none
    if MUST:
        raise
    pytest.skip(f"{NEEDED} ({error})", allow_module_level=True)


@pytest.fixture(scope="module", autouse=True)
def _context() -> Iterator[None]:
    made = window_gpu.context()
    try:
        made.__enter__()
    except MoueError as error:
        if MUST:
            raise
        pytest.skip(f"{NEEDED} ({error})")
    yield
    made.__exit__(None, None, None)


@pytest.fixture(params=WAYS)
def way(request: pytest.FixtureRequest) -> Way:
    if request.param == "compute" and best_way() != "compute":
        pytest.skip("this driver has no OpenGL 4.3, so no compute shaders")
    return request.param


def ways_here() -> list[Way]:
    return ["compute", "feedback"] if best_way() == "compute" else ["feedback"]


def mixer_of(rng: np.random.Generator, polygons: Polygons, neutral: NDArray | None = None) -> Mixer:
    """Plain shapes, one that turns, those with in-betweens, masks and a mirror map."""
    head = random_head(rng, polygons, 4, between=1)
    if neutral is not None:
        head = head.with_(neutral=neutral)
    hinge = Hinge(rng.normal(size=3), head.neutral[0], 0.5, rng.random(head.n_vertices).astype(np.float32))
    masks = random_masks(rng, head.n_vertices, REGIONS)
    return Mixer(head, masks, mirror=MirrorMap.of_partners(rng.permutation(head.n_vertices)), hinges={"shape_1": hinge})


def recipe_of(rng: np.random.Generator, head: Head, share: float = 0.5) -> Recipe:
    keys = [(r, s, m) for r in ["all", *REGIONS] for s in head.shape_names for m in (False, True)]
    cells = tuple(Cell(r, s, float(rng.uniform(-1, 2)), m) for r, s, m in keys if rng.random() < share)
    return Recipe("posed", cells, {"mouth": Row("replace", 0.8)}, float(rng.uniform(0.2, 1.0)))


def columns_of(mixer: Mixer, recipe: Recipe) -> dict[CellKey, Column]:
    share = mixer.shares(recipe)
    return {cell.key: column(mixer.motion(cell), share[cell.region], mixer.standing) for cell in recipe.cells}


def weights_of(recipe: Recipe) -> dict[CellKey, float]:
    return {cell.key: cell.weight for cell in recipe.cells}


def read_normals(pose: GpuPose) -> NDArray[np.float32]:
    read = np.empty((pose.n_vertices, 3), dtype=np.float32)
    gl.glBindBuffer(gl.GL_COPY_READ_BUFFER, pose.normals_buffer)
    gl.glGetBufferSubData(gl.GL_COPY_READ_BUFFER, 0, read.nbytes, read.ctypes.data)
    gl.glBindBuffer(gl.GL_COPY_READ_BUFFER, 0)
    return read


def degrees_apart(a: NDArray, b: NDArray) -> NDArray[np.float64]:
    """(n,) between unit vectors, exact for small angles too."""
    a, b = a.astype(np.float64), b.astype(np.float64)
    return np.degrees(2.0 * np.arcsin(np.clip(0.5 * np.linalg.norm(a - b, axis=1), 0.0, 1.0)))


def test_without_columns_the_pose_is_the_neutral_bit_for_bit(way: Way) -> None:
    polygons, neutral = cube_sphere(9)
    pose = GpuPose(neutral, polygons, way)
    assert np.array_equal(pose.read_positions(), neutral.astype(np.float32))
    pose.pose({})
    assert np.array_equal(pose.read_positions(), neutral.astype(np.float32))
    pose.close()


def test_the_normals_of_a_cube_point_along_its_diagonals(way: Way) -> None:
    pose = GpuPose(CUBE_CORNERS, CUBE, way)
    np.testing.assert_allclose(read_normals(pose), CUBE_CORNERS / np.sqrt(3.0), atol=1e-6)
    pose.close()


def test_a_vertex_without_polygons_has_no_normal(way: Way) -> None:
    lone = Polygons.from_faces([[0, 1, 2]], 4)
    pose = GpuPose(np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [5, 5, 5]]), lone, way)
    assert read_normals(pose).tolist() == [[0, 0, 1], [0, 0, 1], [0, 0, 1], [0, 0, 0]]
    pose.close()


@settings(deadline=None, max_examples=25)
@given(polygon_meshes(), seeds)
def test_the_pose_is_the_mixers_whatever_the_shapes_and_rows(polygons: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    mixer = mixer_of(rng, polygons)
    recipe = recipe_of(rng, mixer.head)
    wanted = mixer.pose(recipe)
    for way in ways_here():
        pose = GpuPose(mixer.head.neutral, polygons, way)
        pose.set_columns(columns_of(mixer, recipe))
        pose.pose(weights_of(recipe), recipe.strength)
        np.testing.assert_allclose(pose.read_positions(), wanted, rtol=0, atol=1e-5 * mixer.head.diagonal)
        pose.close()


@settings(deadline=None, max_examples=25)
@given(polygon_meshes(), seeds)
def test_normals_are_the_surfaces_own(polygons: Polygons, seed: int) -> None:
    points = np.random.default_rng(seed).normal(size=(polygons.n_vertices, 3)).astype(np.float32)
    surface = Surface(polygons, points)
    areas = surface.face_areas[polygons.corner_face]
    around = np.bincount(polygons.indices, areas, polygons.n_vertices)
    summed = np.stack(
        [
            np.bincount(polygons.indices, surface.face_vectors[polygons.corner_face, i], polygons.n_vertices)
            for i in range(3)
        ],
        axis=1,
    )
    clear = np.linalg.norm(summed, axis=1) > 1e-3 * around  # elsewhere areas cancel and there is no one normal
    for way in ways_here():
        pose = GpuPose(points, polygons, way)
        apart = degrees_apart(read_normals(pose), surface.vertex_normals)
        assert apart[clear].max(initial=0.0) < 0.2
        pose.close()


def test_a_smooth_heads_pose_and_normals_are_the_cpus(way: Way) -> None:
    mixer, recipe = window_gpu.face_scene(24)
    head = mixer.head
    pose = GpuPose(head.neutral, head.polygons, way)
    pose.set_columns(columns_of(mixer, recipe))
    for strength in (1.0, 0.3):
        pose.pose(weights_of(recipe), strength)
        wanted = head.neutral + mixer.displacement(recipe, strength)
        assert np.abs(pose.read_positions() - wanted).max() < 1e-5 * head.diagonal
        assert degrees_apart(read_normals(pose), head.surface.at(wanted).vertex_normals).max() < 0.2
        assert degrees_apart(read_normals(pose), Normals(head).all(wanted.astype(np.float32))).max() < 0.2
    pose.close()


def test_the_picture_is_the_cpus_within_two_of_255(way: Way) -> None:
    mixer, recipe = window_gpu.face_scene(40)
    head, size = mixer.head, (320, 240)
    wanted = mixer.pose(recipe).astype(np.float32)
    eye, look, view = named_eye("front", head.neutral, size), Look(), View3D(samples=0)
    view.open(head)
    view.draw(wanted, Normals(head).all(wanted), look, eye, size)
    by_cpu = view.pixels().astype(int)
    pose = GpuPose(head.neutral, head.polygons, way)
    pose.set_columns(columns_of(mixer, recipe))
    pose.pose(weights_of(recipe))
    view.draw_buffers(pose.positions_buffer, pose.normals_buffer, look, eye, size)
    by_gpu = view.pixels().astype(int)
    assert np.ptp(by_cpu) > 60  # there is a head in the picture
    assert np.abs(by_gpu - by_cpu).max() <= 2
    view.close()
    pose.close()


def test_columns_that_stay_are_not_sent_again_and_room_is_used_again(way: Way, monkeypatch: pytest.MonkeyPatch) -> None:
    mixer, recipe = window_gpu.face_scene(20)
    columns, pose = columns_of(mixer, recipe), GpuPose(mixer.head.neutral, mixer.head.polygons, way)
    sent: list[int] = []
    send = GpuPose._send

    def counted(self: GpuPose, values: NDArray, slots: NDArray) -> None:
        sent.append(len(slots))
        send(self, values, slots)

    monkeypatch.setattr(GpuPose, "_send", counted)
    pose.set_columns(columns)
    first, held = len(sent), pose.bytes_held
    assert first == sum(len(one.fields) for one in columns.values())
    rng = np.random.default_rng(1)
    for _ in range(12):
        kept = {key: one for key, one in columns.items() if rng.random() < 0.6}
        pose.set_columns(kept)
        assert len(sent) == first
        pose.pose({key: 0.7 for key in kept})
        cells = tuple(Cell(r, s, 0.7, m) for r, s, m in kept)
        wanted = mixer.pose(recipe.with_(cells=cells))
        assert np.abs(pose.read_positions() - wanted).max() < 1e-5 * mixer.head.diagonal
        pose.set_columns(columns)
        assert len(sent) == first + len(columns) - len(kept)
        assert pose.bytes_held == held
        sent = sent[:first]
    pose.close()


def test_a_row_that_changes_is_sent_anew_under_the_same_cells(way: Way) -> None:
    mixer, recipe = window_gpu.face_scene(20)
    pose = GpuPose(mixer.head.neutral, mixer.head.polygons, way)
    for row in (Row("add", 1.0), Row("add", 0.25), Row("replace", 0.6)):
        changed = recipe.with_(rows={cell.region: row for cell in recipe.cells[:20]})
        pose.set_columns(columns_of(mixer, changed))
        pose.pose(weights_of(changed))
        assert np.abs(pose.read_positions() - mixer.pose(changed)).max() < 1e-5 * mixer.head.diagonal
    pose.close()


def test_a_recipe_that_grows_keeps_what_it_had(way: Way) -> None:
    mixer, recipe = window_gpu.face_scene(20)
    columns, pose = columns_of(mixer, recipe), GpuPose(mixer.head.neutral, mixer.head.polygons, way)
    for count in (1, 2, 5, 12, len(columns)):
        some = dict(list(columns.items())[:count])
        pose.set_columns(some)
        pose.pose({key: weights_of(recipe)[key] for key in some})
        wanted = mixer.pose(recipe.with_(cells=recipe.cells[:count]))
        assert np.abs(pose.read_positions() - wanted).max() < 1e-5 * mixer.head.diagonal
    pose.close()


def test_what_cannot_be_held_is_refused_and_the_pose_stays(way: Way, monkeypatch: pytest.MonkeyPatch) -> None:
    mixer, recipe = window_gpu.face_scene(12)
    columns, pose = columns_of(mixer, recipe), GpuPose(mixer.head.neutral, mixer.head.polygons, way)
    few = dict(list(columns.items())[:3])
    pose.set_columns(few)
    pose.pose({key: 1.0 for key in few})
    before, held = pose.read_positions(), pose.bytes_held
    with monkeypatch.context() as tight:
        tight.setattr(gpu_memory, "free_bytes", lambda: 10_000)
        with pytest.raises(MoueError, match=r"needs [\d.]+ MB of graphics memory, 0.0 MB are free; show the head"):
            pose.set_columns(columns)
        with pytest.raises(MoueError, match="graphics memory"):
            GpuPose(mixer.head.neutral, mixer.head.polygons, way)
    with monkeypatch.context() as tight:
        tight.setattr(gpu_memory, "largest_buffer", lambda way: 100_000)
        with pytest.raises(MoueError, match="in one piece"):
            pose.set_columns(columns)
    with pytest.raises(MoueError, match="reaches vertex"):
        far = Column(slice(0, 3 * 5000), np.ones((1, 3 * 5000), np.float32), lambda w: (w,), (0, 5000))
        pose.set_columns({**few, ("all", "far", False): far})
    assert pose.bytes_held == held
    pose.pose({key: 1.0 for key in few})
    assert np.array_equal(pose.read_positions(), before)
    pose.close()


def test_a_weight_without_a_column_is_no_silent_neutral(way: Way) -> None:
    pose = GpuPose(CUBE_CORNERS, CUBE, way)
    pose.pose({("all", "shape_0", False): 0.0})
    with pytest.raises(KeyError):
        pose.pose({("all", "shape_0", False): 0.5})
    pose.close()


def test_without_compute_shaders_feedback_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(gpu_pose, "best_way", lambda: "feedback")
    pose = GpuPose(CUBE_CORNERS, CUBE)
    assert pose.way == "feedback"
    pose.close()
    with pytest.raises(MoueError, match="no compute shaders; use the way feedback"):
        GpuPose(CUBE_CORNERS, CUBE, "compute")


def test_nothing_stays_bound_and_closing_twice_is_nothing(way: Way) -> None:
    pose = GpuPose(CUBE_CORNERS, CUBE, way)
    pose.pose({})
    for state in (gl.GL_CURRENT_PROGRAM, gl.GL_VERTEX_ARRAY_BINDING, gl.GL_ARRAY_BUFFER_BINDING, gl.GL_TEXTURE_BUFFER):
        told = gl.GLint(-1)
        gl.glGetIntegerv(gl.GL_TEXTURE_BINDING_BUFFER if state == gl.GL_TEXTURE_BUFFER else state, ctypes.byref(told))
        assert told.value == 0
    assert not gl.glIsEnabled(gl.GL_RASTERIZER_DISCARD)
    buffers = pose._memory.names
    pose.close()
    pose.close()
    assert pose.bytes_held == 0 and not any(gl.glIsBuffer(one) for one in buffers)


@given(polygon_meshes())
def test_each_corner_has_the_edges_of_its_polygon_that_it_is_no_end_of(polygons: Polygons) -> None:
    rings, edges = opposite_edges(polygons)
    wanted = sorted(
        (v, loop[i], loop[(i + 1) % len(loop)])
        for loop in (polygons.face(f).tolist() for f in range(polygons.n_faces))
        for i in range(len(loop))
        for v in loop
        if v not in (loop[i], loop[(i + 1) % len(loop)])
    )
    owner = np.repeat(np.arange(polygons.n_vertices), rings[1:] - rings[:-1])
    assert sorted(zip(owner.tolist(), *edges.T.tolist(), strict=True)) == wanted


def test_the_bench_measures_what_its_rows_say(monkeypatch: pytest.MonkeyPatch) -> None:
    mixer, recipe = window_gpu.face_scene(30)
    reached = [np.mean(mask > 0) for mask in mixer.masks.values()]
    assert len(recipe.cells) == 40 and min(reached) > 0.04 and max(reached) < 0.16
    monkeypatch.setattr(window_gpu, "SIZE", (64, 40))
    rows = list(window_gpu.rows_of(6, ways_here()[:1]))
    assert [row.name.split(",")[0] for row in rows] == [
        "morph", "normals", "morph and normals", "frame", "frame to glFinish",
    ]  # fmt: skip
    assert all(row.median > 0 and row.ratio == pytest.approx(row.median / row.reference_median) for row in rows)
