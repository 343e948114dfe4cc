"""Files that a file names: glTF 2.0 (Khronos, 2021, 3.6.1), OpenUSD layers, OBJ materials (Wavefront OBJ, 1995)."""

from __future__ import annotations

import json
from pathlib import Path

from composer.formats.named_files import named_files


def test_what_a_file_names_beside_it_or_below_is_found_and_nothing_else(tmp_path: Path) -> None:
    folder = tmp_path / "head"
    (folder / "parts").mkdir(parents=True)
    for name in ("a b.bin", "skin.png", "skin.mtl", "two words.mtl", "parts/nose.usda", "landmarks.toml", "other.obj"):
        (folder / name).write_text("#usda 1.0\n")
    (tmp_path / "outside.bin").write_text("x")
    uris = ["a%20b.bin", "data:application/octet-stream;base64,AAAA", "../outside.bin", "gone.bin"]
    tree = {"buffers": [{"uri": uri} for uri in uris] + [{}], "images": [{"uri": "skin.png"}]}
    (folder / "head.gltf").write_text(json.dumps(tree))
    (folder / "head.usda").write_text("#usda 1.0\n(subLayers = [@./parts/nose.usda@])\n")
    (folder / "head.obj").write_text("mtllib skin.mtl\nmtllib two words.mtl\nv 0 0 0\n")

    def names(file: str) -> list[str]:
        return [place.relative_to(folder.resolve()).as_posix() for place in named_files(folder / file)]

    assert names("head.gltf") == ["a b.bin", "landmarks.toml", "skin.png"]
    assert names("head.usda") == ["landmarks.toml", "parts/nose.usda"]
    assert names("head.obj") == ["landmarks.toml", "skin.mtl", "two words.mtl"]
    for damaged in (b"{", b"[1]", b'{"buffers": 3}', b'{"buffers": [3]}', b"\xff\xfe"):
        (folder / "head.gltf").write_bytes(damaged)
        assert names("head.gltf") == ["landmarks.toml"]
