"""Facts about pictures: framing, ground, sameness, what is seen; sheets whose words are whole and apart."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.checks.checked import Checked
from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.head.head import Head, Part, Shape
from composer.head.understand.spheres import sphere_through
from composer.picture.camera import frame, look
from composer.picture.eyeball import eyeball, turned
from composer.picture.figure import Figure, vertex_normals
from composer.picture.ground import ground_rows
from composer.picture.heat import Scale, movement, nice
from composer.picture.labels import font, write
from composer.picture.render import Studio, render_head
from composer.picture.report import html_report
from composer.picture.sheet import Entry, contact_sheet, shapes_of
from composer.picture.thumbnails import close_camera, thumbnail
from composer.picture.views import VIEWS


def ball(subdivisions=3, radius=1.0, centre=(0.0, 0.0, 0.0)):
    import trimesh

    mesh = trimesh.creation.icosphere(subdivisions=subdivisions, radius=radius)
    return np.array(mesh.vertices) + np.array(centre), np.array(mesh.faces)


def egg_head():
    """An egg of a head's size with two eyeballs that stand out of it, and two shapes."""
    skin, faces = ball(3, 1.0)
    skin = skin * [75.0, 115.0, 95.0]
    parts, points, all_faces = [], [skin], [faces]
    for name, x in (("eye_left", 30.0), ("eye_right", -30.0)):
        eye, eye_faces = ball(2, 12.0, (x, 15.0, 83.0))
        start = sum(len(p) for p in points)
        parts.append(Part(name, np.arange(start, start + len(eye), dtype=np.int32)))
        points.append(eye)
        all_faces.append(eye_faces + start)
    at, of = np.concatenate(points), np.concatenate(all_faces)
    polygons = Polygons(np.full(len(of), 3), of.ravel(), len(at))
    low = (np.clip((-20.0 - at[:, 1]) / 60.0, 0, 1) * (np.arange(len(at)) < len(skin)))[:, None]
    brow = np.exp(-((at - [30.0, 45.0, 80.0]) ** 2).sum(axis=1) / 400.0)[:, None]
    shapes = (
        Shape("drop", (low * [0.0, -12.0, 0.0]).astype(np.float32)),
        Shape("raise_left", (brow * [0.0, 6.0, 0.0]).astype(np.float32)),
    )
    return Head("egg", polygons, at, shapes=shapes, parts=tuple(parts))


@pytest.fixture(scope="module")
def studio():
    return Studio.of(egg_head(), 0)


def ink(image):
    """(h, w) where a picture shows no ground."""
    ground = np.round(ground_rows(image.height) * 255.0).astype(int)
    return (np.asarray(image).astype(int) != ground[:, None]).any(axis=2)


@pytest.mark.parametrize("view", list(VIEWS))
@pytest.mark.parametrize("size", [(240, 300), (300, 200)])
def test_a_head_fills_60_to_85_percent_of_its_cell_and_the_ground_is_even(studio, view, size):
    seen = ink(studio.picture(view=view, size=size))
    rows, columns = np.flatnonzero(seen.any(axis=1)), np.flatnonzero(seen.any(axis=0))
    tall, wide = (rows[-1] - rows[0] + 1) / size[1], (columns[-1] - columns[0] + 1) / size[0]
    assert 0.60 <= max(tall, wide) <= 0.85
    assert abs(rows[0] + rows[-1] + 1 - size[1]) <= 3 and abs(columns[0] + columns[-1] + 1 - size[0]) <= 3
    assert not seen[:3].any() and not seen[-3:].any() and not seen[:, :3].any() and not seen[:, -3:].any()


def test_the_same_input_gives_the_same_bytes():
    one, other = (Studio.of(egg_head(), 0).picture(view="three_quarter", size=(120, 150)) for _ in range(2))
    assert one.tobytes() == other.tobytes()


def test_the_lit_side_is_brighter_than_the_shaded_one(studio):
    grey = np.asarray(studio.picture(size=(200, 240)).convert("L")).astype(float)
    seen = ink(studio.picture(size=(200, 240)))
    assert grey[:, :80][seen[:, :80]].mean() > 1.15 * grey[:, 120:][seen[:, 120:]].mean()


def test_eyes_look_where_their_part_looks(studio):
    head = egg_head()
    pose = head.neutral.copy()
    for part in head.parts:
        centre = pose[part.vertices].mean(axis=0)
        a = np.radians(35.0)
        turn = np.array([[np.cos(a), 0, np.sin(a)], [0, 1, 0], [-np.sin(a), 0, np.cos(a)]])
        pose[part.vertices] = (pose[part.vertices] - centre) @ turn.T + centre
    for picture, aside in (
        (studio.picture(size=(300, 360)), False),
        (studio.picture(pose, size=(300, 360)), True),
    ):
        camera = studio.camera("front", (300, 360))
        middles, _ = camera.project(np.array([[30.0, 15.0, 95.0], [-30.0, 15.0, 95.0]]))
        for x, y in np.round(middles).astype(int):
            pupil = np.asarray(picture)[y - 1 : y + 2, x - 1 : x + 2].mean() < 60
            assert pupil != aside


@given(st.integers(0, 2**31 - 1))
@settings(max_examples=30, deadline=None)
def test_a_ball_is_fitted_and_turned_as_it_was(seed):
    from scipy.spatial.transform import Rotation

    random = np.random.default_rng(seed)
    points, _ = ball(2, 12.0, (3.0, -4.0, 50.0))
    centre, radius = sphere_through(points)
    np.testing.assert_allclose(centre, [3.0, -4.0, 50.0], atol=1e-8)
    assert radius == pytest.approx(12.0)
    rotation, shift = Rotation.random(random_state=seed).as_matrix(), random.normal(size=3)
    after = turned(eyeball(points), points, points @ rotation.T + shift)
    np.testing.assert_allclose(after.axis, rotation @ [0, 0, 1], atol=1e-8)
    np.testing.assert_allclose(after.centre, rotation @ [3.0, -4.0, 50.0] + shift, atol=1e-7)


def test_a_cornea_tells_where_an_eye_looks():
    points, _ = ball(3, 12.0)
    axis = np.array([0.3, 0.1, 1.0]) / np.linalg.norm([0.3, 0.1, 1.0])
    near = points @ axis / 12.0
    points = points * (1.0 + 0.06 * np.clip((near - 0.9) / 0.1, 0, 1))[:, None]
    np.testing.assert_allclose(eyeball(points).axis, axis, atol=0.02)


def test_projecting_undoes_the_rays():
    camera = frame(
        np.random.default_rng(1).normal(size=(50, 3)) * 80.0, look((0.4, 0.2, 0.9)), (320, 400), 0.8
    )
    columns, rows = np.array([3.5, 160.0, 300.25]), np.array([390.5, 200.0, 17.75])
    points = camera.eye + 700.0 * camera.directions(columns, rows)
    np.testing.assert_allclose(camera.project(points)[0], np.stack([columns, rows], axis=1), atol=1e-6)


def test_normals_of_a_ball_point_outwards():
    points, faces = ball(3, 5.0)
    np.testing.assert_allclose(vertex_normals(points, faces), points / 5.0, atol=0.02)


def test_the_middle_of_a_deep_box_is_less_open_than_its_rim():
    import trimesh

    box = trimesh.creation.box(extents=(40.0, 40.0, 40.0)).subdivide().subdivide()
    faces = np.array(box.faces)[:, ::-1]  # seen from inside
    top = np.array(box.vertices)[faces][:, :, 1].min(axis=1) > 19.9
    figure = Figure(
        Polygons(np.full((~top).sum(), 3), faces[~top].ravel(), len(box.vertices)), box.vertices, level=0
    )
    figure_open = figure.rest.openness
    bottom, rim = box.vertices[:, 1] < -19.9, (np.abs(box.vertices[:, 1]) < 11) & (box.vertices[:, 1] > 9)
    assert figure_open[bottom].mean() < figure_open[rim].mean()


def test_heat_covers_only_what_it_is_given(studio):
    head = studio.figure
    amounts = np.full(len(head.neutral), np.nan)
    plain = studio.picture(size=(120, 150))
    scale = Scale("movement", "mm", 0.0, 10.0)
    assert studio.picture(size=(120, 150), colours=scale.colours(amounts)).tobytes() == plain.tobytes()
    amounts[head.neutral[:, 1] < -60.0] = 10.0
    hot = np.asarray(studio.picture(size=(120, 150), colours=scale.colours(amounts))).astype(int)
    change = np.abs(hot - np.asarray(plain).astype(int)).max(axis=2)
    assert change[:60].max() == 0 and change[110:].max() > 40


def test_a_scale_says_its_numbers_with_their_unit():
    assert Scale("movement", "mm", 0.0, 12.5).number(12.5) == "12.5 mm"
    assert Scale("strain", "%", 0.0, 0.2, percent=True).number(0.1) == "10 %"
    assert Scale("mask weight", "", 0.0, 1.0).number(0.5) == "0.5"


@given(st.floats(1e-6, 1e6))
def test_a_nice_number_is_not_below_and_not_far_above(amount):
    assert amount <= nice(amount) * (1 + 1e-9) and nice(amount) <= 1.51 * amount


def boxes_overlap(one, other):
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def test_no_word_of_a_sheet_is_clipped_or_touches_another(studio):
    head = egg_head()
    entries = shapes_of(head) + [
        Entry("a_name_that_is_far_too_long_for_the_width_of_one_cell_of_this_sheet", head.neutral, "x" * 90),
        Entry("umlauts_Ärger_é_ж", head.neutral),
    ]
    scale = Scale("movement", "mm", 0.0, 12.0)
    sheet = contact_sheet(studio, entries, title="A title " * 30, columns=3, cell_width=150, legend=scale)
    words = [cell.label for cell in sheet.cells] + [cell.note for cell in sheet.cells if cell.note]
    boxes = words + list(sheet.headings) + [cell.picture for cell in sheet.cells]
    for i, one in enumerate(boxes):
        assert one[0] >= 0 and one[1] >= 0 and one[2] <= sheet.image.width and one[3] <= sheet.image.height
        assert not any(boxes_overlap(one, other) for other in boxes[:i])
    for cell in sheet.cells:
        assert cell.picture[0] - 1 <= cell.label[0] and cell.label[2] <= cell.picture[2] + 1
    assert [cell.name for cell in sheet.cells] == [entry.name for entry in entries]


def test_a_sheet_shows_every_head_at_the_same_scale_and_fills_its_cells(studio):
    head = egg_head()
    sheet = contact_sheet(studio, shapes_of(head), title="Egg", columns=2, cell_width=160)
    for cell in sheet.cells:
        seen = ink(sheet.image.crop(cell.picture))
        tall = (np.ptp(np.flatnonzero(seen.any(axis=1))) + 1) / seen.shape[0]
        wide = (np.ptp(np.flatnonzero(seen.any(axis=0))) + 1) / seen.shape[1]
        assert 0.60 <= max(tall, wide) <= 0.85
    assert shapes_of(head)[1].note == "moves up to 12.0 mm"


def test_a_sheet_of_nothing_is_refused(studio):
    with pytest.raises(MoueError, match="at least one"):
        contact_sheet(studio, [], title="none")


def test_a_thumbnail_is_close_to_what_moves(studio):
    head = egg_head()
    whole = close_camera(studio, head.neutral, (96, 96))
    near = close_camera(studio, head.target("raise_left"), (96, 96))
    assert near.pixel_mm(600.0) == whole.pixel_mm(600.0)  # the same lens
    assert near.eye[2] < whole.eye[2] and near.eye[0] > 10.0
    assert thumbnail(studio, head.target("raise_left"), size=(64, 48)).size == (64, 48)


def test_the_typeface_is_there_with_its_licence_and_knows_more_than_latin():
    face = font(20)
    assert face.getname()[0] == "Inter"
    assert (__import__("pathlib").Path(face.path).parent / "OFL.txt").read_text().count(
        "SIL OPEN FONT LICENSE"
    ) >= 1
    blank = face.getmask("\ufffe").getbbox()
    for letter in "aéßжα…":
        assert face.getmask(letter).getbbox() not in (None, blank)


@given(
    st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z", "M")), max_size=60),
    st.integers(20, 200),
)
@settings(max_examples=60, deadline=None)
def test_a_line_stays_in_its_box(text, width):
    from PIL import Image, ImageDraw

    draw = ImageDraw.Draw(Image.new("RGB", (300, 60)))
    left, _, right, _ = write(draw, text, (10, 10, 10 + width, 40), size=16)
    assert left >= 7 and right <= 10 + width + 3  # letters may lean over their advance by a pixel or two


def test_a_report_stands_alone_and_puts_the_worst_first(studio):
    from composer.checks.finding import Finding

    head = egg_head()
    spots = np.array([0, 1, 2], dtype=np.int32)
    mild = Checked(
        "mild <b>",
        head.neutral,
        [Finding("seam.ramp", "warning", "a & b", "c", spots, value=12.0, unit="percent")],
    )
    bad = Checked(
        "bad",
        head.target("drop"),
        [Finding("lips.through", "error", "deep", "mend", spots, value=1.5, unit="mm")],
    )
    clean = Checked("clean", head.neutral, [Finding("lids.skipped", "note", "not looked at")])
    page = html_report(studio, [clean, mild, bad], title="T")
    assert page.index("<h2>bad") < page.index("<h2>mild &lt;b&gt;") < page.index("Nothing found")
    assert "a &amp; b" in page.lower() and "1.50 mm" in page and "Notes" in page
    assert page.count("data:image/png;base64,") == 4  # each pose and each finding
    assert "http" not in page and "<script" not in page
    assert all(f'href="#f{i}"' in page and f'id="f{i}"' in page for i in range(2))
    assert "Lips through lips" in page and "What to do" in page and "lips.through" not in page
    assert page == html_report(studio, [bad, clean, mild], title="T")


def test_a_report_names_places_in_plain_words_and_never_the_pose_again(studio):
    from composer.checks.finding import Finding

    head = egg_head()
    here = np.array([0, 1], dtype=np.int32)
    found = [Finding("lids.through", "error", "deep", "mend", here, value=1.0, unit="mm", where="upper_lid_left")]
    page = html_report(studio, [Checked("smile", head.neutral, found)], title="T")
    row = page[page.index("<tbody>") : page.index("</tbody>")]
    assert "<td>left upper lid</td>" in row and row.count("smile") == 1
    checked = [Checked("smile with frown", head.neutral, found, "pair"), Checked("smile", head.neutral, [])]
    assert "besides 1 pair with findings of their own" in html_report(studio, checked, title="T")


def test_an_unknown_view_is_one_line_with_a_hint():
    points, faces = ball(1, 50.0)
    polygons = Polygons(np.full(len(faces), 3), faces.ravel(), len(points))
    with pytest.raises(MoueError, match="did you mean profile"):
        render_head(points, polygons, view="profil", level=0)
    assert render_head(points, polygons, size=(60, 70), level=1).size == (60, 70)


def test_movement_is_a_length():
    np.testing.assert_allclose(movement(np.zeros((1, 3)), np.array([[3.0, 4.0, 12.0]])), [13.0])
