"""The head's own picture: what it shows, that it follows every change, and that it draws only when it must.

Drawn without a display on whatever renders OpenGL 3.3 here; asserted on places of the picture whose colour follows
from the geometry.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from composer.errors import MoueError
from composer.geometry.contour import contour
from composer.geometry.polygons import Polygons
from composer.head.head import Head, Part, TextureCoordinates
from composer.picture.figure import Figure
from composer.picture.render import BACKGROUND
from composer.viewer.render.camera import Eye, named_eye
from composer.viewer.render.daylight import TERMS, daylight, harmonics
from composer.viewer.render.look import Line, Look, Mark
from composer.viewer.render.normals import Normals
from tests.demo_heads import neutral_head
from tests.masks.surfaces import sphere

if TYPE_CHECKING:
    from composer.viewer.render.view3d import View3D

SIZE = (200, 160)
FRONT = Eye(distance=800.0)
RED, GREEN = (230, 20, 20, 255), (20, 200, 40, 255)
Opener = Callable[[Head], "View3D"]


@pytest.fixture
def opened(context: object) -> Iterator[Opener]:
    from pyglet import gl

    from composer.viewer.render.view3d import View3D

    views: list[View3D] = []

    def make(head: Head, samples: int | None = 0) -> View3D:
        views.append(View3D(samples))
        views[-1].open(head)
        return views[-1]

    yield make
    for view in views:
        view.close()
    assert gl.glGetError() == gl.GL_NO_ERROR


def ball_head(radius: float = 50.0, fineness: int = 4) -> Head:
    ball = sphere(fineness, radius)
    return Head("ball", ball.polygons, ball.positions.copy())


def arrays_of(head: Head) -> tuple[np.ndarray, np.ndarray]:
    positions = head.neutral.astype(np.float32)
    return positions, Normals(head).all(positions)


def shown(view: View3D, head: Head, look: Look | None = None, eye: Eye = FRONT, still: bool = False) -> np.ndarray:
    view.draw(*arrays_of(head), look or Look(), eye, SIZE, still=still)
    return view.pixels().astype(int)


def at(pixels: np.ndarray, eye: Eye, point: tuple[float, float, float]) -> np.ndarray:
    x, y = eye.project(point, *SIZE)[0][0]
    return pixels[int(y), int(x)]


def is_ground(pixels: np.ndarray) -> np.ndarray:
    return np.abs(pixels - np.array(BACKGROUND)).max(axis=-1) < 22


def counted(view: View3D, monkeypatch: pytest.MonkeyPatch) -> list[int]:
    paints = [0]
    paint = view._paint

    def count(*given: object) -> None:
        paints[0] += 1
        paint(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(view, "_paint", count)
    return paints


def test_a_ball_is_seen_where_it_lies(opened: Opener) -> None:
    """The outline of a ball of radius r at distance d from a pinhole has the angle asin(r / d)."""
    head = ball_head()
    pixels = shown(opened(head), head)
    covered = ~is_ground(pixels)
    rows, columns = np.nonzero(covered)
    radius = np.tan(np.arcsin(50.0 / 800.0)) / np.tan(np.radians(7.0)) * SIZE[1] / 2
    assert np.sqrt(covered.sum() / np.pi) == pytest.approx(radius, abs=1.5)
    assert (columns.mean(), rows.mean()) == pytest.approx((SIZE[0] / 2 - 0.5, SIZE[1] / 2 - 0.5), abs=1.0)
    lit, shade = at(pixels, FRONT, (-25, 25, 35)), at(pixels, FRONT, (28, -28, 30))
    assert lit.sum() > shade.sum() + 120


def test_a_moved_ball_is_seen_elsewhere_and_only_the_range_is_sent(opened: Opener) -> None:
    """Sending a range and sending everything give the same picture."""
    head = ball_head()
    view, fresh = opened(head), opened(head)
    positions, normals = arrays_of(head)
    view.draw(positions, normals, Look(), FRONT, SIZE)
    keep = Normals(head)
    for first, last, shift in ((0, 900, 6.0), (900, head.n_vertices, 9.0), (40, 60, 30.0)):
        positions[first:last] += (shift, 0, 0)
        keep.update(positions, (first, last), normals)
        view.draw(positions, normals, Look(), FRONT, SIZE, touched=(first, last))
        fresh.draw(positions.copy(), normals.copy(), Look(), FRONT, SIZE)
        assert np.array_equal(view.pixels(), fresh.pixels())


def test_it_draws_only_what_changed(opened: Opener, monkeypatch: pytest.MonkeyPatch) -> None:
    head = ball_head()
    view = opened(head)
    paints = counted(view, monkeypatch)
    positions, normals = arrays_of(head)

    def draws(look: Look, eye: Eye = FRONT, size: tuple[int, int] = SIZE, **more: object) -> int:
        before = paints[0]
        view.draw(positions, normals, look, eye, size, **more)  # type: ignore[arg-type]
        return paints[0] - before

    cover = np.zeros((head.n_vertices, 4), np.uint8)
    assert draws(Look()) == 1
    assert draws(Look()) == 0 and draws(Look(), touched=(0, 0)) == 0
    assert draws(Look(wire=True)) == 1 and draws(Look(wire=True)) == 0
    assert draws(Look(cover=cover)) == 1 and draws(Look(cover=cover)) == 0 and draws(Look(cover=cover.copy())) == 1
    assert draws(Look(), FRONT.orbit(3, 0)) == 1
    assert draws(Look(), FRONT.orbit(3, 0), (180, 160)) == 1
    assert draws(Look(), FRONT.orbit(3, 0), (180, 160), still=True) == 1
    assert draws(Look(), FRONT.orbit(3, 0), (180, 160)) == 0
    view.shade(np.full(head.n_vertices, 0.5))
    assert draws(Look(), FRONT.orbit(3, 0), (180, 160)) == 1
    positions[7] += 1.0
    assert draws(Look(), FRONT.orbit(3, 0), (180, 160), touched=(7, 8)) == 1
    positions[7] += 1.0
    assert draws(Look(), FRONT.orbit(3, 0), (180, 160)) == 1


def test_the_texture_stays_the_same_while_the_size_does(opened: Opener) -> None:
    head = ball_head(fineness=2)
    view = opened(head)
    names = {view.draw(*arrays_of(head), Look(), FRONT.orbit(i, 0), SIZE) for i in range(3)}
    assert len(names) == 1
    view.draw(*arrays_of(head), Look(), FRONT, (90, 70))
    assert view.pixels().shape == (70, 90, 3)


def test_still_smooths_the_edges(opened: Opener) -> None:
    head = ball_head()
    view = opened(head)
    rough, smooth = shown(view, head), shown(view, head, still=True)
    edge = (np.abs(np.diff(is_ground(rough).astype(int), axis=1)) > 0).any()
    assert edge
    assert np.abs(smooth - rough).max(axis=2).astype(bool).sum() < 0.1 * rough[:, :, 0].size
    steps = [float((np.diff(picture.astype(float), axis=1) ** 2).sum()) for picture in (smooth, rough)]
    assert steps[0] < 0.95 * steps[1], "an edge in two steps has a smaller sum of squares than in one"


def test_cover_is_the_colour_it_says(opened: Opener) -> None:
    head = ball_head()
    cover = np.zeros((head.n_vertices, 4), np.uint8)
    cover[head.neutral[:, 0] > 0] = (0, 60, 220, 255)
    pixels = shown(opened(head), head, Look(cover=cover))
    blue, bare = at(pixels, FRONT, (20, 0, 45)), at(pixels, FRONT, (-20, 0, 45))
    assert blue[2] > blue[0] + 80 and bare[0] > bare[2]


def plates() -> Head:
    """Two plates that face the eye: the skin behind, and before its right half the part "lid"."""
    polygons = Polygons.from_faces([[0, 1, 2, 3], [4, 5, 6, 7]], 8)
    square = np.array([[-60, -60, 0], [60, -60, 0], [60, 60, 0], [-60, 60, 0]], dtype=float)
    small = np.array([[10, -40, 20], [50, -40, 20], [50, 40, 20], [10, 40, 20]], dtype=float)
    uv = TextureCoordinates(
        np.array([[0, 0], [1, 0], [1, 1], [0, 1.0]]), np.array([0, 1, 2, 3, -1, -1, -1, -1], np.int32)
    )
    points = np.concatenate([square, small])
    return Head("plates", polygons, points, parts=(Part("lid", np.arange(4, 8, dtype=np.int32)),), uv=uv)


def test_hidden_parts_are_not_drawn(opened: Opener) -> None:
    head = plates()
    view = opened(head)
    cover = np.zeros((8, 4), np.uint8)
    cover[4:] = RED
    both = shown(view, head, Look(cover=cover))
    bare = shown(view, head, Look(cover=cover, hidden=frozenset({"lid"})))
    alone = shown(view, head, Look(cover=cover, hidden=frozenset({"skin"})))
    place, beside = (30, 0, 20), (-30, 0, 0)
    assert at(both, FRONT, place)[0] > at(both, FRONT, place)[1] + 80
    assert abs(at(bare, FRONT, place)[0] - at(bare, FRONT, place)[1]) < 40
    assert is_ground(at(alone, FRONT, beside)) and not is_ground(at(both, FRONT, beside))


def line_between(a: int, b: int, **more: object) -> Line:
    return Line(np.array([a, a]), np.array([b, b]), np.array([0.0, 1.0]), **more)  # type: ignore[arg-type]


def test_lines_lie_on_the_surface_and_behind_what_is_before_them(opened: Opener) -> None:
    """A diagonal of the back plate, from its lower left to its upper right corner, passes behind the part."""
    head = plates()
    view = opened(head)
    pixels = shown(view, head, Look(lines=(line_between(0, 2, colour=RED, width=4.0),)))
    seen, hidden = at(pixels, FRONT, (-30, -30, 0)), at(pixels, FRONT, (30, 30, 20))
    assert seen[0] > 200 and seen[1] < 60
    assert hidden[1] > 100
    alone = shown(view, head, Look(lines=(line_between(0, 2, colour=RED, width=4.0),), hidden=frozenset({"lid"})))
    assert at(alone, FRONT, (30, 30, 0))[1] < 60


@pytest.mark.parametrize("distance", [600.0, 1800.0])
def test_lines_have_the_same_width_from_near_and_far(opened: Opener, distance: float) -> None:
    head = plates()
    eye = Eye(distance=distance)
    look = Look(lines=(line_between(0, 1, colour=RED, width=5.0), line_between(3, 2, colour=RED, width=5.0)))
    pixels = shown(opened(head), head, look, eye)
    x, y = eye.project((0, 60, 0), *SIZE)[0][0]
    column = pixels[max(int(y) - 8, 0) : int(y) + 8, int(x)]
    redness = np.clip((column[:, 0] - column[:, 1]) / 210.0, 0, 1)
    assert redness.sum() == pytest.approx(5.0, abs=1.0)


def test_a_dashed_line_has_gaps(opened: Opener) -> None:
    head = plates()
    view = opened(head)
    share = np.linspace(0, 1, 41)
    along = np.stack([share[:-1], share[1:]], axis=1).ravel()
    corners = np.full(len(along), 3), np.full(len(along), 2)
    pixels = shown(view, head, Look(lines=(Line(*corners, along, RED, 3.0, dash=6.0),)))
    y = int(FRONT.project((0, 60, 0), *SIZE)[0][0, 1])
    left, right = (int(FRONT.project((x, 60, 0), *SIZE)[0][0, 0]) for x in (-58, 58))
    red = pixels[y, left:right, 0] - pixels[y, left:right, 1] > 120
    assert 0.3 < red.mean() < 0.7
    assert np.abs(np.diff(red.astype(int))).sum() >= 6


def test_lines_follow_the_pose(opened: Opener) -> None:
    head = ball_head()
    view = opened(head)
    look = Look(lines=(Line(*contour(head.polygons.triangles, head.neutral[:, 1], 0.0), RED, 4.0),))
    positions, normals = arrays_of(head)
    view.draw(positions, normals, look, FRONT, SIZE)
    assert at(view.pixels().astype(int), FRONT, (0, 0, 50))[1] < 80
    positions += (0, 15, 0)
    view.draw(positions, normals, look, FRONT, SIZE)
    assert at(view.pixels().astype(int), FRONT, (0, 15, 50))[1] < 80
    assert at(view.pixels().astype(int), FRONT, (0, 0, 52))[1] > 100


def test_a_line_through_a_triangle(opened: Opener) -> None:
    """Rows of three corners: from the plate's middle to a quarter of its diagonal."""
    head = plates()
    corners = np.array([0, 0]), np.array([[1, 2], [1, 2]]), np.array([[0.0, 0.5], [0.0, 0.25]])
    pixels = shown(opened(head), head, Look(lines=(Line(*corners, RED, 4.0),)))
    assert at(pixels, FRONT, (-15, -15, 0))[1] < 60
    assert at(pixels, FRONT, (-45, -45, 0))[1] > 100


def test_marks_are_seen_before_the_surface_and_not_through_it(opened: Opener) -> None:
    head = ball_head()
    near, far = (int(np.argmax(s * head.neutral[:, 2])) for s in (1, -1))
    look = Look(marks=tuple(Mark(np.array([v]), np.array([1.0]), GREEN, 12.0, i) for i, v in enumerate((near, far))))
    view = opened(head)
    green = at(shown(view, head, look), FRONT, tuple(head.neutral[near]))
    assert green[1] > green[0] + 80
    behind = at(shown(view, head, Look(marks=look.marks[1:])), FRONT, tuple(head.neutral[far]))
    assert abs(behind[1] - behind[0]) < 40


def test_a_mark_inside_a_polygon(opened: Opener) -> None:
    head = plates()
    mark = Mark(np.array([0, 1, 2, 3]), np.array([0.4, 0.1, 0.1, 0.4]), GREEN, 9.0)
    pixels = shown(opened(head), head, Look(marks=(mark,)))
    assert at(pixels, FRONT, (-36, 0, 0))[1] > at(pixels, FRONT, (-36, 0, 0))[0] + 80


def test_the_wireframe_shows_edges_and_hides_those_behind(opened: Opener) -> None:
    head = plates()
    view = opened(head)
    eye = Eye(distance=800.0, yaw=1e-3)
    bare, wired = shown(view, head, eye=eye), shown(view, head, Look(wire=True), eye)
    changed = np.abs(wired - bare).sum(axis=2) > 20
    x, y = eye.project((10, 0, 20), *SIZE)[0][0].astype(int)
    assert changed[y, x - 2 : x + 3].any()
    inside = eye.project(np.array([(15, -35, 20), (45, 35, 20)]), *SIZE)[0].astype(int)
    assert not changed[inside[1, 1] : inside[0, 1], inside[0, 0] : inside[1, 0]].any()
    behind = shown(view, head, Look(wire=True), Eye(distance=800.0, yaw=180.0))
    assert np.abs(behind - shown(view, head, eye=Eye(distance=800.0, yaw=180.0))).max() < 10


def test_the_texture_lies_as_its_coordinates_say(opened: Opener) -> None:
    """Left half red, right half green, upper rows black: v goes up."""
    head = plates()
    picture = np.zeros((64, 64, 3), np.uint8)
    picture[:, :32], picture[:, 32:], picture[:16] = RED[:3], GREEN[:3], 0
    pixels = shown(opened(head), head, Look(texture=picture, hidden=frozenset({"lid"})))
    left, right = at(pixels, FRONT, (-30, 0, 0)), at(pixels, FRONT, (30, 0, 0))
    assert left[0] > left[1] + 80 and right[1] > right[0] + 80
    assert at(pixels, FRONT, (0, 50, 0)).max() < 60 < at(pixels, FRONT, (-20, -50, 0)).max()


def looking_head(turn_deg: float = 0.0) -> tuple[Head, np.ndarray]:
    """An eyeball alone, and its vertices after a turn to its left."""
    ball = sphere(4, 12.0)
    points = ball.positions + (0, 0, 5.0)
    parts = (Part("eye_left", np.arange(len(points), dtype=np.int32)),)
    angle = np.radians(turn_deg)
    turn = np.array([[np.cos(angle), 0, np.sin(angle)], [0, 1, 0], [-np.sin(angle), 0, np.cos(angle)]])
    return Head("eye", ball.polygons, points, parts=parts), (ball.positions @ turn.T + (0, 0, 5.0)).astype(np.float32)


@pytest.mark.parametrize("turn", [0.0, 25.0, -35.0])
def test_the_pupil_turns_with_the_ball(opened: Opener, turn: float) -> None:
    head, positions = looking_head(turn)
    view, eye = opened(head), Eye((0.0, 0.0, 5.0), 150.0)
    view.draw(positions, Normals(head).all(positions), Look(), eye, SIZE)
    pixels = view.pixels().astype(int)
    ahead = np.array([np.sin(np.radians(turn)), 0, np.cos(np.radians(turn))])
    pupil, white = 12.0 * ahead + (0, 0, 5), 12.0 * (0.60 * ahead + np.array([0.0, 0.80, 0.0])) + (0, 0, 5)
    assert at(pixels, eye, tuple(pupil)).sum() < 200
    assert at(pixels, eye, tuple(white)).sum() > 300
    dark = np.argwhere(pixels.sum(axis=2) < 130)
    assert dark.mean(axis=0)[1] == pytest.approx(eye.project(pupil, *SIZE)[0][0, 0], abs=8)


@pytest.mark.parametrize("stride", [3, 4])
def test_buffers_of_others_give_the_same_picture(opened: Opener, stride: int) -> None:
    from pyglet import gl

    head, positions = looking_head(20.0)
    normals = Normals(head).all(positions)
    view, eye = opened(head), Eye((0.0, 0.0, 5.0), 150.0)
    look = Look(lines=(Line(*contour(head.polygons.triangles, head.neutral[:, 1], 4.0), RED, 3.0),))
    view.draw(positions, normals, look, eye, SIZE)
    wanted = view.pixels()
    names = (gl.GLuint * 2)()
    gl.glGenBuffers(2, names)
    for name, array in zip(names, (positions, normals), strict=True):
        wide = np.full((len(array), stride), 7.0, np.float32)
        wide[:, :3] = array
        gl.glBindBuffer(gl.GL_ARRAY_BUFFER, name)
        gl.glBufferData(gl.GL_ARRAY_BUFFER, wide.nbytes, wide.ctypes.data, gl.GL_STATIC_DRAW)
    other = opened(head)
    other.draw_buffers(names[0], names[1], look, eye, SIZE, stride=stride)
    assert np.array_equal(other.pixels(), wanted)
    view.draw_buffers(names[0], names[1], look, eye, SIZE, stride=stride)
    view.draw(positions, normals, look, eye, SIZE)
    assert np.array_equal(view.pixels(), wanted)
    gl.glDeleteBuffers(2, names)


def test_a_small_picture_has_cover_and_leaves_the_large_one_alone(opened: Opener) -> None:
    head = ball_head()
    view = opened(head)
    before = shown(view, head)
    positions, normals = arrays_of(head)
    small = view.picture(positions + np.float32(20.0), normals, Look(), FRONT, (48, 40))
    assert small.shape == (40, 48, 4)
    assert small[0, 0, 3] == 0 and small[16, 30, 3] == 255
    edge = (small[:, :, 3] > 20) & (small[:, :, 3] < 235)
    assert edge.any() and small[edge][:, :3].mean() > 60
    assert np.array_equal(view.pixels(), before)
    assert np.array_equal(shown(view, head), before)


def test_a_small_picture_of_another_look_costs_the_large_one_nothing(
    opened: Opener, monkeypatch: pytest.MonkeyPatch
) -> None:
    head = ball_head()
    view = opened(head)
    before = shown(view, head)
    cover = np.full((head.n_vertices, 4), RED, np.uint8)
    red = view.picture(*arrays_of(head), Look(cover=cover), FRONT, (32, 32))
    assert red[16, 16, 0] > red[16, 16, 1] + 80
    paints = counted(view, monkeypatch)
    assert np.array_equal(shown(view, head), before)
    assert paints[0] == 0


def test_openness_and_daylight_darken(opened: Opener) -> None:
    head = ball_head()
    view = opened(head)
    bright = shown(view, head)
    view.shade(np.full(head.n_vertices, 0.2))
    dim = shown(view, head)
    view.shade(np.ones(head.n_vertices), np.zeros((head.n_vertices, TERMS), np.float32))
    no_window = shown(view, head)
    view.shade(None)
    again = shown(view, head)
    place = (-20, 20, 40)
    assert at(dim, FRONT, place).sum() < 0.8 * at(bright, FRONT, place).sum()
    assert at(no_window, FRONT, place).sum() < 0.8 * at(bright, FRONT, place).sum()
    assert np.array_equal(again, bright)


def test_gl_is_left_as_it_was_found(opened: Opener) -> None:
    from pyglet import gl

    from composer.viewer.render.gl_state import integer

    head = ball_head(fineness=2)
    view = opened(head)
    gl.glViewport(3, 4, 50, 60)
    bound = integer(gl.GL_DRAW_FRAMEBUFFER_BINDING)
    look = Look(wire=True, marks=(Mark(np.array([0]), np.array([1.0])),))
    view.draw(*arrays_of(head), look, FRONT, SIZE, still=True)
    box = (gl.GLint * 4)()
    gl.glGetIntegerv(gl.GL_VIEWPORT, box)
    assert list(box) == [3, 4, 50, 60]
    assert integer(gl.GL_DRAW_FRAMEBUFFER_BINDING) == bound
    for state in (gl.GL_BLEND, gl.GL_DEPTH_TEST, gl.GL_SCISSOR_TEST, gl.GL_CLIP_DISTANCE0):
        assert not gl.glIsEnabled(state)


def test_another_head_can_be_opened(opened: Opener) -> None:
    one, two = ball_head(), plates()
    view = opened(one)
    shown(view, one, Look(wire=True))
    view.open(two)
    fresh = opened(two)
    assert np.array_equal(shown(view, two, Look(wire=True)), shown(fresh, two, Look(wire=True)))


def test_mistakes_are_told(context: object) -> None:
    from composer.viewer.render.view3d import View3D

    head = ball_head(fineness=2)
    positions, normals = arrays_of(head)
    view = View3D()
    with pytest.raises(MoueError, match="no head"):
        view.draw(positions, normals, Look(), FRONT, SIZE)
    view.open(head)
    with pytest.raises(MoueError, match="nothing was drawn"):
        view.pixels()
    for wrong in (positions[:-1], positions.astype(float)):
        with pytest.raises(MoueError, match="float32"):
            view.draw(wrong, normals, Look(), FRONT, SIZE)
    with pytest.raises(MoueError, match="openness"):
        view.shade(np.ones(3))
    with pytest.raises(MoueError, match="daylight"):
        view.shade(None, np.ones((3, 2)))
    with pytest.raises(MoueError, match="colours"):
        view.draw(positions, normals, Look(cover=np.zeros((2, 4), np.uint8)), FRONT, SIZE)
    view.close()


@given(st.integers(0, 40), st.sampled_from([np.uint8, np.float32]), st.integers(0, 2**32 - 1))
def test_the_difference_of_two_arrays(rows: int, kind: type, seed: int) -> None:
    pytest.importorskip("pyglet")
    buffers = pytest.importorskip("composer.viewer.render.gl_buffers", exc_type=Exception)
    rng = np.random.default_rng(seed)
    held = rng.integers(0, 9, (rows, 3)).astype(kind)
    wanted = held.copy()
    for row in rng.integers(0, rows, rng.integers(0, 3)) if rows else ():
        wanted[row, rng.integers(3)] += 1
    differing = np.flatnonzero((held != wanted).any(axis=1))
    expected = (int(differing[0]), int(differing[-1]) + 1) if len(differing) else (0, 0)
    assert buffers.difference(held, wanted) == expected


def test_looks_are_compared_by_what_they_hold() -> None:
    cover = np.zeros((3, 4), np.uint8)
    line = line_between(0, 1)
    assert Look(cover=cover, lines=(line,)).same_as(Look(cover=cover, lines=(line,)))
    assert not Look(cover=cover).same_as(Look(cover=cover.copy()))
    assert not Look(lines=(line,)).same_as(Look(lines=(line_between(0, 1),)))
    assert not Look().same_as(Look(wire=True)) and not Look().same_as(None)


def test_the_harmonics_are_orthonormal() -> None:
    """Over an even spread of directions, to its own accuracy."""
    from composer.picture.rays import sphere_points

    values = harmonics(sphere_points(20000))
    assert values.T @ values * 4 * np.pi / 20000 == pytest.approx(np.eye(TERMS), abs=2e-3)


def test_a_place_beside_a_wall_sees_out_on_the_other_side() -> None:
    """A floor with a wall to its right (x > 0): towards the wall less is seen than away from it."""
    floor = np.array([(x, 0, z) for x in range(-10, 11) for z in range(-10, 11)], dtype=float)
    wall = np.array([(4, y, z) for y in range(21) for z in range(-10, 11)], dtype=float)
    at_grid = np.arange(441).reshape(21, 21)
    quads = np.stack([at_grid[:-1, :-1], at_grid[:-1, 1:], at_grid[1:, 1:], at_grid[1:, :-1]], axis=-1).reshape(-1, 4)
    polygons = Polygons(np.full(800, 4), np.concatenate([quads, quads + 441]).ravel(), 882)
    figure = Figure(polygons, np.concatenate([floor, wall]), level=0)
    middle = daylight(figure)[at_grid[13, 10]]
    to_wall, away = (float(middle @ harmonics(np.array([[s * 0.8, 0.6, 0.0]]))[0]) for s in (1, -1))
    assert to_wall < 0.35 and away > 0.75


def test_a_whole_head_looks_like_one(opened: Opener) -> None:
    """The demo keeper from the front: skin all over, two dark pupils level with each other, left-right even."""

    head = neutral_head("keeper")
    size = (400, 480)
    eye = named_eye("front", head.neutral, size)
    view = opened(head)
    view.shade(Figure.of(head, 0).rest.openness)
    view.draw(*arrays_of(head), Look(), eye, size)
    pixels = view.pixels().astype(int)
    assert 0.2 < (~is_ground(pixels)).mean() < 0.6
    for name in ("eye_left", "eye_right"):
        points = head.neutral[head.part(name).vertices]
        x, y = eye.project(points[np.argmax(points[:, 2])], *size)[0][0].astype(int)
        assert pixels[y - 2 : y + 3, x - 2 : x + 3].sum(axis=2).min() < 140
