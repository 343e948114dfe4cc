"""What a file may refer to: regular files in its folder, links resolved; others only where a person says so."""

from __future__ import annotations

import json
import os
from pathlib import Path

import numpy as np
import pytest

from composer.bench.cube_sphere import cube_sphere
from composer.cli.main import main
from composer.document.evaluated import EvaluatedDocument
from composer.document.store import open_document, save_document
from composer.errors import MoueError
from composer.formats.mesh import Mesh
from composer.formats.registry import read_mesh, write_mesh
from composer.head.references import allow_outside, outside_allowed, referred
from tests.small_heads import CUBE, CUBE_CORNERS

OUTSIDE = "lies outside its folder"
MESH = """#usda 1.0
def Mesh "skin" {
    point3f[] points = [(0, 0, 0), (1, 0, 0), (0, 1, 0)]
    int[] faceVertexCounts = [3]
    int[] faceVertexIndices = [0, 1, 2]
}
"""
REFERS = {
    "a reference": '#usda 1.0\ndef "a" (references = @{0}@</skin>) {{}}\n',
    "a payload": '#usda 1.0\ndef "a" (payload = @{0}@</skin>) {{}}\n',
    "a sublayer": "#usda 1.0\n(subLayers = [@{0}@])\n",
    "a reference in a variant": '#usda 1.0\ndef "a" (\nvariants = {{ string v = "x" }}\n'
    'prepend variantSets = "v"\n) {{\nvariantSet "v" = {{\n"x" (references = @{0}@</skin>) {{\n}}\n'
    '"y" {{\n}}\n}}\n}}\n',
}  # fmt: skip


@pytest.fixture
def room(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """`work` with a document, its library beside `work`, and masks in `work`, in the library and in `elsewhere`."""
    polygons, points = cube_sphere(4)
    for folder in ("library", "work/masks", "elsewhere"):
        (tmp_path / folder).mkdir(parents=True)
    write_mesh(tmp_path / "library/neutral.obj", Mesh(polygons, 100.0 * points))
    write_mesh(tmp_path / "library/grin.obj", Mesh(polygons, 100.0 * points * (1 + 0.1 * (points[:, :1] > 0))))
    for folder in ("library", "work/masks", "elsewhere"):
        np.save(tmp_path / folder / "brow.npy", np.linspace(0, 1, polygons.n_vertices))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def document(room: Path, mask: str, name: str = "work/face.toml") -> Path:
    path = room / name
    path.write_text(f"moue = 1\nhead = '../library'\n[regions.brow]\nfrom = 'file'\nfile = '{mask}'\n")
    return path


def opened(path: Path) -> EvaluatedDocument:
    return EvaluatedDocument.open(open_document(path))


@pytest.mark.parametrize("mask", ["masks/brow.npy", "./masks/../masks/brow.npy", "../library/brow.npy"])
def test_a_mask_in_the_document_s_folder_or_its_head_s_is_opened(mask: str, room: Path) -> None:
    assert opened(document(room, mask)).raw["brow"].max() == 1.0


@pytest.mark.parametrize("mask", ["../elsewhere/brow.npy", "masks/link.npy", "linked/brow.npy", "ABSOLUTE"])
def test_a_mask_elsewhere_is_refused_and_opened_where_a_person_says_so(mask: str, room: Path) -> None:
    (room / "work/masks/link.npy").symlink_to(room / "elsewhere/brow.npy")
    (room / "work/linked").symlink_to(room / "elsewhere", target_is_directory=True)
    path = document(room, mask.replace("ABSOLUTE", str(room / "elsewhere/brow.npy")))
    with pytest.raises(MoueError, match=f"{OUTSIDE}.*--allow-outside") as caught:
        opened(path)
    assert str(caught.value.where) == str(path)
    with outside_allowed():
        assert opened(path).raw["brow"].max() == 1.0
    with pytest.raises(MoueError, match=OUTSIDE):
        opened(path)
    allow_outside(path)  # as the window does after its question
    assert opened(path).raw["brow"].max() == 1.0


@pytest.mark.parametrize("kind", ["delta", "rigidity", "image"])
def test_the_same_goes_for_kept_shapes_hinges_and_pictures(kind: str, room: Path) -> None:
    said = {
        "delta": "[shapes.kept]\ndelta = '../elsewhere/brow.npy'\n",
        "rigidity": "[shapes.grin]\nhinge = { axis = [1.0, 0.0, 0.0], origin = [0.0, 0.0, 0.0], angle_deg = 9.0, "
        "rigidity = '../elsewhere/brow.npy' }\n",
        "image": "[regions.brow]\nfrom = 'image'\nfile = '../elsewhere/brow.png'\n",
    }[kind]
    if kind == "image":
        polygons, points = cube_sphere(4)
        text = (room / "library/neutral.obj").read_text()
        write_mesh(room / "library/neutral.obj", _with_uv(Mesh(polygons, 100.0 * points)))
        assert (room / "library/neutral.obj").read_text() != text
        write_mesh(room / "library/grin.obj", _with_uv(Mesh(polygons, 101.0 * points)))
    (room / "work/face.toml").write_text(f"moue = 1\nhead = '../library'\n{said}")
    with pytest.raises(MoueError, match=OUTSIDE):
        opened(room / "work/face.toml")


def _with_uv(mesh: Mesh) -> Mesh:
    from dataclasses import replace

    from composer.head.head import TextureCoordinates

    uv = TextureCoordinates(np.zeros((1, 2)), np.zeros(len(mesh.polygons.indices), dtype=np.int32))
    return replace(mesh, uv=uv)


def test_a_document_that_moue_wrote_elsewhere_opens_without_a_question(room: Path) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["regions", "library", "--to", "far/away/face.moue", "--from", "displacement"])
    assert not ended.value.code
    assert opened(room / "far/away/face.moue").head.n_vertices == 98


def test_a_document_saved_elsewhere_keeps_what_it_could_use(room: Path) -> None:
    (room / "copies").mkdir()
    project = opened(document(room, "masks/brow.npy")).project
    save_document(project, room / "copies/face.toml")
    assert opened(room / "copies/face.toml").raw["brow"].max() == 1.0
    assert (room / "copies/masks/brow.npy").is_file()


def test_a_save_writes_no_array_outside(room: Path) -> None:
    path = document(room, "../elsewhere/new.npy")
    project = open_document(path).with_(stored={"../elsewhere/new.npy": np.ones(98)})
    with pytest.raises(MoueError, match=OUTSIDE):
        save_document(project, path)
    assert not (room / "elsewhere/new.npy").exists()


def test_the_option_is_on_the_command(room: Path, capfd: pytest.CaptureFixture[str]) -> None:
    document(room, "../elsewhere/brow.npy")
    for more, code in (([], 2), (["--allow-outside"], 0)):
        with pytest.raises(SystemExit) as ended:
            main(["split", "work/face.toml", "--to", "pieces", *more])
        assert (ended.value.code or 0) == code
        said = capfd.readouterr().err
        assert (OUTSIDE in said and said.count("\n") == 1) == (code == 2)


@pytest.mark.parametrize("how", REFERS)
def test_a_usd_stage_refers_to_nothing_outside(how: str, tmp_path: Path) -> None:
    for folder in ("work/below", "elsewhere"):
        (tmp_path / folder).mkdir(parents=True)
        (tmp_path / folder / "skin.usda").write_text(MESH)
    (tmp_path / "work/link.usda").symlink_to(tmp_path / "elsewhere/skin.usda")
    stage = tmp_path / "work/head.usda"
    stage.write_text(REFERS[how].format("./below/skin.usda"))
    assert read_mesh(stage).n_vertices == 3
    for place in ("../elsewhere/skin.usda", str(tmp_path / "elsewhere/skin.usda"), "./link.usda"):
        stage.write_text(REFERS[how].format(place))
        with pytest.raises(MoueError, match=OUTSIDE):
            read_mesh(stage)
    with outside_allowed():
        assert read_mesh(stage).n_vertices == 3


def test_a_layer_that_is_referred_to_refers_to_nothing_outside_either(tmp_path: Path) -> None:
    (tmp_path / "work").mkdir()
    (tmp_path / "skin.usda").write_text(MESH)
    (tmp_path / "work/middle.usda").write_text(REFERS["a sublayer"].format("../skin.usda"))
    (tmp_path / "work/head.usda").write_text(REFERS["a sublayer"].format("./middle.usda"))
    with pytest.raises(MoueError, match=OUTSIDE):
        read_mesh(tmp_path / "work/head.usda")


def test_value_clips_and_computed_places_are_looked_at_too(tmp_path: Path) -> None:
    (tmp_path / "work").mkdir()
    clip = '(clips = {{ dictionary default = {{ {0} }} }})'
    for said in ("asset[] assetPaths = [@../c.usda@]", 'string templateAssetPath = "../c.#.usd"'):
        text = MESH.replace('"skin" {', f'"skin" {clip.format(said)} {{')
        (tmp_path / "work/head.usda").write_text(text)
        with pytest.raises(MoueError, match=OUTSIDE):
            read_mesh(tmp_path / "work/head.usda")
    text = '#usda 1.0\n(expressionVariables = { string X = "../skin.usda" }\nsubLayers = [@`"${X}"`@])\n'
    (tmp_path / "work/head.usda").write_text(text)
    with pytest.raises(MoueError, match="refers to a computed place"):
        read_mesh(tmp_path / "work/head.usda")


def test_a_buffer_of_gltf_lies_beside_it_and_is_a_file(tmp_path: Path) -> None:
    (tmp_path / "work").mkdir()
    path = tmp_path / "work/a.gltf"
    write_mesh(path, Mesh(CUBE, CUBE_CORNERS))
    tree = json.loads(path.read_text())
    import base64

    data = base64.b64decode(tree["buffers"][0]["uri"].partition(",")[2])
    (tmp_path / "data.bin").write_bytes(data)
    os.mkfifo(tmp_path / "work/pipe.bin")
    (tmp_path / "work/link.bin").symlink_to(tmp_path / "data.bin")
    for uri, words in (("../data.bin", OUTSIDE), ("link.bin", OUTSIDE), ("%2e%2e/data.bin", OUTSIDE),
                       ("pipe.bin", "is a pipe"), (".", OUTSIDE)):  # fmt: skip
        tree["buffers"][0]["uri"] = uri
        path.write_text(json.dumps(tree))
        with pytest.raises(MoueError, match=words):
            read_mesh(path)
    tree["buffers"][0]["uri"] = "../data.bin"
    path.write_text(json.dumps(tree))
    with outside_allowed():
        assert read_mesh(path).n_vertices == 8


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes")
@pytest.mark.parametrize("name", ["a.obj", "a.ply", "a.stl", "a.glb", "a.gltf", "a.npz", "a.usda", "a.moue", "a.toml"])
def test_a_pipe_or_a_device_is_refused_at_once(name: str, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / name)
    read = open_document if name.endswith((".moue", ".toml")) else read_mesh
    with pytest.raises(MoueError, match=f"{name}: is a pipe, not a file"):
        read(tmp_path / name)
    (tmp_path / name).unlink()
    (tmp_path / name).symlink_to("/dev/zero")
    with pytest.raises(MoueError, match=f"{name}: is a device, not a file"):
        read(tmp_path / name)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes")
def test_pipes_beside_a_document_and_a_library_are_never_waited_for(room: Path) -> None:
    os.mkfifo(room / "work/masks/pipe.npy")
    with pytest.raises(MoueError, match="pipe.npy: is a pipe"):
        opened(document(room, "masks/pipe.npy"))
    for name in ("landmarks.toml", "smile.obj"):
        os.mkfifo(room / "library" / name)
    assert opened(document(room, "masks/brow.npy")).head.shape_names == ["grin"]


def test_a_place_that_no_system_has_is_one_line(tmp_path: Path) -> None:
    for place in ("", "a\0b", "x" * 5000):
        with pytest.raises(MoueError):
            referred(place, tmp_path / "a.toml", "a mask")
    (tmp_path / "loop").symlink_to("loop")
    with pytest.raises(MoueError):
        referred("loop", tmp_path / "a.toml", "a mask")
