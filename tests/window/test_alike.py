"""The head in the window and in pictures: the same numbers, and frames that differ by no more than rays may tell."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np
import pytest

from composer.picture import eye_light, skin_light
from composer.picture.colour import to_srgb
from composer.picture.figure import Figure
from composer.picture.light import develop
from composer.picture.render import Studio
from composer.viewer.render.camera import named_eye
from composer.viewer.render.daylight import daylight
from composer.viewer.render.gl_program import shader_text
from composer.viewer.render.look import Look
from composer.viewer.render.normals import Normals
from composer.viewer.render.shared_numbers import EYE_LIGHT, SKIN_LIGHT, defined
from tests.demo_heads import neutral_head

SIZE = (220, 264)


def test_every_number_of_the_light_reaches_the_shaders_as_it_is() -> None:
    given = {}
    for line in (*SKIN_LIGHT, *defined(eye_light)):
        name, value = line.split(" ", 1)
        numbers = [float(each) for each in re.findall(r"-?\d+\.?\d*(?:e-?\d+)?", value.removeprefix("vec3"))]
        given[name] = numbers[0] if len(numbers) == 1 else tuple(numbers)
    wanted = {n: value for module in (skin_light, eye_light) for n, value in vars(module).items() if n.isupper()}
    assert given == wanted and {"REACH", "CORNEA"} < set(given) and set(defined(eye_light)) < set(EYE_LIGHT)
    text = "".join(shader_text(name) for name in ("head.vert", "head.frag", "moving.frag"))
    ours = {"SOFT_MM", *(name for name in wanted if name.endswith("_SRGB"))}  # for rays alone; sent as linear light
    assert [name for name in wanted if name not in ours and not re.search(rf"\b{name}\b", text)] == []


def test_the_short_form_of_films_answer_is_its_long_form() -> None:
    """The polynomial of `film.glsl`, in the root of light, against `develop` and sRGB's curve (IEC 61966-2-1)."""
    numbers = [float(each) for each in re.findall(r"\d+\.\d{5,}", shader_text("film.glsl"))]
    assert len(numbers) == 6
    light = np.linspace(0.0005, 2.0, 4000)
    a = np.sqrt(light)
    first, second, third, fourth, fifth, root = numbers
    short = a * (first + a * (-second + a * (third + a * (fourth * a - fifth)))) - root * np.sqrt(a)
    long = to_srgb(develop(light.astype(np.float32)))
    assert np.abs(np.clip(short, 0.0, 1.0) - long).max() * 255.0 < 2.6


@pytest.fixture(scope="module")
def figure() -> Figure:
    return Figure.of(neutral_head("keeper"), 0)


@pytest.fixture
def frames(context: object, figure: Figure) -> Iterator[object]:
    from composer.viewer.render.view3d import View3D

    head = neutral_head("keeper")
    view = View3D(0)
    view.open(head)
    view.shade(figure.rest.openness, daylight(figure), figure.thinness)
    positions = head.neutral.astype(np.float32)
    normals = Normals(head).all(positions)

    def both(name: str, light: str) -> tuple[np.ndarray, np.ndarray]:
        eye = named_eye(name, head.neutral, SIZE)
        view.draw(positions, normals, Look(light=light), eye, SIZE)
        picture = Studio(figure).picture(camera=eye.camera(*SIZE), light=light)
        return view.pixels().astype(float), np.asarray(picture).astype(float)

    yield both
    view.close()


@pytest.mark.parametrize(("name", "light"), [("front", "view"), ("three_quarter", "studio"), ("profile", "daylight")])
def test_a_frame_of_the_window_is_the_picture_of_the_same_view(frames, name: str, light: str) -> None:  # type: ignore[no-untyped-def]
    """Shadows are found differently (rays there, sixteen numbers a vertex here), so single places may differ; the
    ground, the median and the mean colour of the head may not."""
    frame, picture = frames(name, light)
    apart = np.abs(frame - picture).max(axis=2)
    edge = apart[:4]
    assert edge.max() <= 2.0, "the ground"
    on = np.abs(picture - picture[:, :1]).max(axis=2) > 12.0
    assert on.mean() > 0.2
    assert np.median(apart[on]) < 8.0 and np.quantile(apart[on], 0.9) < 40.0
    assert np.abs(frame[on].mean(axis=0) - picture[on].mean(axis=0)).max() < 6.0
