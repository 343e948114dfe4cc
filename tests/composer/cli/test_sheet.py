"""`moue sheet` as a person types it: one pose as a still, and turned about."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image

from composer.cli.sheet import LightName, sheet
from composer.demo.write import write_library
from composer.errors import MoueError
from tests.composer.picture.test_pictures import egg_head


@pytest.fixture(scope="module")
def egg(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("egg") / "egg"
    write_library(folder, egg_head())
    return folder


def test_a_turn_is_an_animated_picture_with_alpha(egg: Path, tmp_path: Path) -> None:
    """Google, WebP Container Specification, "Extended File Format": VP8X, then ANIM, and an ANMF chunk a frame."""
    to = tmp_path / "turn.webp"
    sheet(egg, to, turntable=True, only="drop", frames=4, size="60x80", clear=True)
    raw = to.read_bytes()
    assert raw[:4] == b"RIFF" and raw[8:16] == b"WEBPVP8X" and raw[20] & 0b00010010 == 0b00010010  # alpha, animation
    assert b"ANIM" in raw and raw.count(b"ANMF") == 4
    with Image.open(to) as moving:
        assert moving.n_frames == 4 and moving.size == (60, 80)
        assert moving.convert("RGBA").getchannel("A").getextrema() == (0, 255)


def test_a_turn_is_a_folder_of_pictures_that_may_be_filled_again(egg: Path, tmp_path: Path) -> None:
    for _ in range(2):
        sheet(egg, tmp_path / "turn", turntable=True, frames=3, size="50x60", light=LightName.RIM)
    names = sorted(file.name for file in (tmp_path / "turn").glob("*.png"))
    assert names == [f"neutral_{i:04d}.png" for i in range(3)]
    (tmp_path / "turn" / "own.txt").write_text("mine")
    with pytest.raises(MoueError, match=r"own\.txt"):
        sheet(egg, tmp_path / "turn", turntable=True, frames=3, size="50x60")


def test_a_still_has_its_size_and_what_cannot_be_asked_for_is_said(egg: Path, tmp_path: Path) -> None:
    to = tmp_path / "still.png"
    sheet(egg, to, only="drop", size="120x90", clear=True)
    with Image.open(to) as made:
        assert made.size == (120, 90) and made.mode == "RGBA"
    for size in ("120", "0x90", "5000x90", "-5x90", "12.5x90"):
        with pytest.raises(MoueError, match="is no size of a picture"):
            sheet(egg, to, only="drop", size=size)
    with pytest.raises(MoueError, match="are for one picture"):
        sheet(egg, to, clear=True)
    with pytest.raises(MoueError, match="drop"):
        sheet(egg, to, only="drob")
    with pytest.raises(MoueError, match="not named as an animated picture"):
        sheet(egg, to, turntable=True)


def test_a_document_s_own_view_frames_its_pictures(egg: Path, tmp_path: Path) -> None:
    """A view of twice the height shows everything at half the size: the outline's box tells."""
    text = f'moue = 1\nunit = "mm"\nhead = "{egg}"\n[recipes.fall]\ncells = []\n'
    text += '[views.near]\nheight = 1.0\n[views.far]\nheight = 2.0\n'
    (tmp_path / "egg.toml").write_text(text)
    boxes = {}
    for view in ("near", "far"):
        sheet(tmp_path / "egg.toml", tmp_path / f"{view}.png", only="fall", view=view, size="200x200", clear=True)
        with Image.open(tmp_path / f"{view}.png") as made:
            boxes[view] = made.getchannel("A").getbbox()
    for low, high in ((0, 2), (1, 3)):
        assert abs((boxes["near"][high] - boxes["near"][low]) - 2 * (boxes["far"][high] - boxes["far"][low])) <= 4
        assert abs(boxes["near"][low] + boxes["near"][high] - 200) <= 3, "the middle of the box is in the middle"
    with pytest.raises(MoueError, match="no view is named 'nea'; did you mean near"):
        sheet(tmp_path / "egg.toml", tmp_path / "no.png", only="fall", view="nea")
    with pytest.raises(MoueError, match="no view is named 'near'"):
        sheet(egg, tmp_path / "no.png", only="drop", view="near")
