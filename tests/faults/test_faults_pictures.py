"""Pictures that are none, that would start a program, or that are too large: refused in one line, and nothing runs."""

from __future__ import annotations

import struct
import subprocess
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import EpsImagePlugin, Image

from composer.document.mask_file import read_picture
from composer.errors import MoueError
from composer.head.pictures import MOST_PIXELS, open_picture
from composer.viewer.render.texture import texture_of
from tests.small_heads import random_head

POSTSCRIPT = b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 8 8\n%%EndComments\n(ran) print showpage\n%%EOF\n"


def no_program(monkeypatch: pytest.MonkeyPatch) -> None:
    def started(*_given: object, **_named: object) -> None:
        raise AssertionError("a program was started")

    monkeypatch.setattr(subprocess, "check_call", started)
    monkeypatch.setattr(subprocess, "Popen", started)
    monkeypatch.setattr(EpsImagePlugin, "Ghostscript", started)


def png_header(width: int, height: int) -> bytes:
    """A PNG that says it is so large and holds nothing (W3C, PNG Specification (Third Edition), 11.2.1 and 5.3)."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", zlib.compress(b"")) + chunk(b"IEND", b"")


@pytest.mark.parametrize("suffix", [".png", ".tif", ".jpg", ".eps"])
def test_postscript_under_a_picture_s_name_starts_nothing(
    suffix: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    no_program(monkeypatch)
    path = tmp_path / f"skin{suffix}"
    path.write_bytes(POSTSCRIPT)
    with pytest.raises(MoueError, match="is no picture that can be read; give a PNG, a TIFF or a JPEG"):
        read_picture(path)


@pytest.mark.parametrize("kind", ["PNG", "TIFF", "JPEG"])
def test_the_formats_that_are_named_are_read_whatever_the_suffix(kind: str, tmp_path: Path) -> None:
    levels = np.full((16, 16), 200, dtype=np.uint8)
    Image.fromarray(levels).save(tmp_path / "mask.png", kind)
    assert np.abs(read_picture(tmp_path / "mask.png").astype(int) - 200).max() <= 2


@pytest.mark.parametrize("kind", ["GIF", "BMP", "PPM", "WEBP", "ICO"])
def test_every_other_format_is_refused(kind: str, tmp_path: Path) -> None:
    Image.new("L", (16, 16), 200).save(tmp_path / "mask.png", kind)
    with pytest.raises(MoueError, match="is no picture that can be read"):
        read_picture(tmp_path / "mask.png")


def test_moue_s_limit_and_pillow_s_are_one(tmp_path: Path) -> None:
    side = int(MOST_PIXELS**0.5)
    path = tmp_path / "large.png"
    for width, height in ((side, side), (side // 2, side), (1, MOST_PIXELS)):
        path.write_bytes(png_header(width, height))
        with open_picture(path) as picture:
            assert picture.size == (width, height)
    for width, height in ((side, side + 1), (2 * side, 2 * side), (2**31 - 1, 2**31 - 1)):
        path.write_bytes(png_header(width, height))
        with pytest.raises(MoueError, match="too large for a head"):
            read_picture(path)


def test_a_damaged_picture_is_one_line(tmp_path: Path) -> None:
    path = tmp_path / "mask.png"
    Image.fromarray(np.arange(4096, dtype=np.uint8).reshape(64, 64)).save(path)
    data = path.read_bytes()
    for cut in range(8, len(data) - 12, 97):
        path.write_bytes(data[:cut])
        with pytest.raises(MoueError, match="mask.png: is (a damaged picture|no picture)"):
            read_picture(path)


def test_a_texture_that_is_no_picture_is_left_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from composer.head.head import TextureCoordinates
    from tests.small_heads import grid

    no_program(monkeypatch)
    polygons = grid(3, 3)
    uv = TextureCoordinates(np.zeros((1, 2)), np.zeros(len(polygons.indices), dtype=np.int32))
    head = random_head(np.random.default_rng(0), polygons, 1).with_(uv=uv, path=tmp_path)
    (tmp_path / "skin.png").write_bytes(POSTSCRIPT)
    assert texture_of(head) is None
    Image.new("RGB", (4, 4), (10, 20, 30)).save(tmp_path / "skin.png")
    texture = texture_of(head)
    assert texture is not None and texture[0, 0].tolist() == [10, 20, 30]
