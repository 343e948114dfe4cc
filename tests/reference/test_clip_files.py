"""Clips as GLB and USD, played by somebody else: pygltflib and numpy for glTF, OpenUSD's own functions for USD.

Source: Khronos 2021, "glTF 2.0 Specification", sections 3.11 "Animations" and appendix C (LINEAR, STEP, CUBICSPLINE);
OpenUSD, "UsdSkel" (`UsdSkel.AnimQuery`, `UsdSkel.BlendShapeQuery`) and "UsdGeomPointBased".
"""

from __future__ import annotations

import base64
import json
import os
import subprocess
from pathlib import Path

import numpy as np
import pygltflib
import pytest
from pxr import Usd, UsdGeom, UsdSkel
from scipy.interpolate import CubicHermiteSpline

from composer.document.bake_clip import bake_clip
from composer.document.clip_file import tracks_of
from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_clip import EvaluatedClip
from composer.document.morph_clip import WITHIN_MM
from composer.errors import MoueError
from composer.formats.gltf_weights import read_gltf_weights
from composer.formats.registry import read_mesh
from composer.formats.usd_weights import read_usd_weights
from composer.mixing.clip import Clip, Key
from composer.mixing.curve import curve_of_track
from tests.composer.document.small_document import small_head, small_project
from tests.faults.test_faults_damage import mutated
from tests.reference.test_gltf_morph import numbers
from tests.reference.test_gltf_validator import issues, there
from tests.reference.test_usd_skel import deformed
from tests.reference.test_usd_validation import findings

KEYS = (Key(0.0, "neutral"), Key(0.4, "doubt", interpolation="smooth"), Key(0.7, "call"), Key(1.0, "neutral"))


def made(straight: bool) -> EvaluatedClip:
    """A second at ten frames a second; unless `straight`, a shape of it turns about a hinge."""
    project = small_project()
    project = project.with_(shapes={}) if straight else project
    return EvaluatedClip(EvaluatedDocument(project, small_head()).again(project), Clip("tide", 10.0, 1.0, KEYS))


def played(file: pygltflib.GLTF2, time: float) -> np.ndarray:
    """The written vertices of the one mesh at a time in seconds, as the specification words it, in metres."""
    (animation,) = file.animations
    (channel,) = animation.channels
    assert channel.target.path == "weights" and file.nodes[channel.target.node].mesh == 0
    sampler = animation.samplers[channel.sampler]
    assert sampler.interpolation == "LINEAR"
    times = numbers(file, sampler.input)[:, 0].astype(float)
    primitive = file.meshes[0].primitives[0]
    table = numbers(file, sampler.output).reshape(len(times), len(primitive.targets))
    base = numbers(file, primitive.attributes.POSITION).astype(float)
    for place, target in enumerate(primitive.targets):
        base += np.interp(time, times, table[:, place]) * numbers(file, target["POSITION"])
    return base


@pytest.mark.parametrize("straight", [True, False])
def test_a_glb_plays_every_frame(straight: bool, tmp_path: Path) -> None:
    clip = made(straight)
    (path,) = bake_clip(clip, tmp_path / "out", suffix=".glb")
    file = pygltflib.GLTF2().load(str(path))
    names = file.meshes[0].extras["targetNames"]
    assert len(names) == len(clip.cells) if straight else len(names) > len(clip.cells)
    source = np.rint(numbers(file, file.meshes[0].primitives[0].attributes._SOURCE)[:, 0]).astype(int)
    within = 1e-3 if straight else WITHIN_MM
    for number in range(clip.n_frames):
        expected = clip.evaluated.pose(clip.frame(number))[source]
        off = np.linalg.norm(1000.0 * played(file, clip.times[number]) - expected, axis=1)
        assert off.max() <= within + 1e-3  # float32 metres
    assert ("more for what turns" in clip.notes[-1]) == (not straight)


PLAYER = """
import fs from 'fs';
globalThis.self = globalThis;
const from = process.env.MOUE_THREE;
const {AnimationMixer, Vector3} = await import(from + '/build/three.module.js');
const {GLTFLoader} = await import(from + '/examples/jsm/loaders/GLTFLoader.js');
const data = new Uint8Array(fs.readFileSync(process.argv[2]));
const gltf = await new GLTFLoader().parseAsync(data.buffer, '');
const mixer = new AnimationMixer(gltf.scene);
mixer.clipAction(gltf.animations[0]).play();
let mesh;
gltf.scene.traverse(one => { if (one.isMesh && !mesh) mesh = one; });
const place = new Vector3(), count = mesh.geometry.attributes.position.count;
console.log(JSON.stringify(JSON.parse(process.argv[3]).map(time => {
  mixer.setTime(time);
  return Array.from({length: count}, (_, i) => mesh.getVertexPosition(i, place).toArray());
})));
"""


@pytest.mark.skipif("MOUE_THREE" not in os.environ, reason="no three.js: MOUE_THREE is its package's folder")
def test_three_plays_every_frame(tmp_path: Path) -> None:
    # three.js (npm package three, 0.160): its own loader, mixer and morphing
    clip = made(False)
    (path,) = bake_clip(clip, tmp_path, suffix=".glb")
    (tmp_path / "play.mjs").write_text(PLAYER)
    command = ["node", str(tmp_path / "play.mjs"), str(path), json.dumps(clip.times.tolist())]
    run = subprocess.run(command, capture_output=True, text=True, timeout=120)
    assert run.returncode == 0, run.stderr
    file = pygltflib.GLTF2().load(str(path))
    source = np.rint(numbers(file, file.meshes[0].primitives[0].attributes._SOURCE)[:, 0]).astype(int)
    for number, points in enumerate(json.loads(run.stdout)):
        off = 1000.0 * np.array(points) - clip.evaluated.pose(clip.frame(number))[source]
        assert np.linalg.norm(off, axis=1).max() <= WITHIN_MM + 1e-3


@pytest.mark.skipif(not there(), reason="no glTF validator: npm install gltf-validator@2.0.0-dev.3.10")
def test_the_gltf_validator_is_silent(tmp_path: Path) -> None:
    for suffix in (".glb", ".gltf"):
        (path,) = bake_clip(made(False), tmp_path / "out", suffix=suffix)
        found = issues(path)
        assert found["numErrors"] == found["numWarnings"] == 0, found


@pytest.mark.parametrize("straight", [True, False])
def test_usd_plays_every_frame(straight: bool, tmp_path: Path) -> None:
    clip = made(straight)
    (path,) = bake_clip(clip, tmp_path / "out", suffix=".usda", unit="cm")
    stage = Usd.Stage.Open(str(path))
    assert stage.GetTimeCodesPerSecond() == 10.0
    assert (stage.GetStartTimeCode(), stage.GetEndTimeCode()) == (0.0, 10.0)
    frames = UsdGeom.Mesh(stage.GetPrimAtPath("/tide/frames"))
    assert frames.GetPointsAttr().GetTimeSamples() == list(range(11))
    poses = [clip.evaluated.pose(clip.frame(number)) for number in range(clip.n_frames)]
    for number, pose in enumerate(poses):
        points = np.array(frames.GetPointsAttr().Get(number))
        np.testing.assert_array_equal(points, (pose / 10.0).astype(np.float32))
        np.testing.assert_array_equal(np.array(frames.GetExtentAttr().Get(number)), [points.min(0), points.max(0)])
    animation = next((prim for prim in stage.Traverse() if prim.IsA(UsdSkel.Animation)), None)
    assert (animation is not None) == straight
    if animation is not None:
        query = UsdSkel.Cache().GetAnimQuery(UsdSkel.Animation(animation))
        stage.RemovePrim("/tide/frames")  # what is left is the mesh of blend shapes
        for number, pose in enumerate(poses):
            points = deformed(stage, list(query.ComputeBlendShapeWeights(number)))
            np.testing.assert_allclose(10.0 * points, pose, atol=1e-3)
    assert findings(path) == []


def test_moue_reads_the_neutral_of_its_own_clip(tmp_path: Path) -> None:
    clip = made(True)
    for suffix in (".usda", ".glb"):
        (path,) = bake_clip(clip, tmp_path / "out", suffix=suffix)
        scale = 1.0 if suffix == ".usda" else 1000.0
        np.testing.assert_allclose(scale * read_mesh(path).positions, clip.evaluated.head.neutral, atol=1e-4)


@pytest.mark.parametrize("suffix", [".glb", ".usda", ".usdc"])
def test_weights_come_back(suffix: str, tmp_path: Path) -> None:
    clip = made(True)
    (path,) = bake_clip(clip, tmp_path, suffix=suffix)
    document = clip.evaluated.again(clip.evaluated.project.with_(path=tmp_path / "document.toml"))
    again = EvaluatedClip(document, Clip("again", 10.0, file=path.name))
    assert again.cells == clip.cells and again.notes == []
    np.testing.assert_allclose(again.times, clip.times, atol=1e-6)
    np.testing.assert_allclose(again.weights, clip.weights, atol=1e-6)


def gltf(kind: str, times: list[float], output: list[float], names: list[str], path: Path) -> Path:
    """A glTF of one triangle whose targets are animated, written by hand as the specification says."""
    blocks = [np.array(times, "<f4"), np.array(output, "<f4"), np.eye(3, dtype="<f4").reshape(-1)]
    data = b"".join(block.tobytes() for block in blocks)
    at = np.cumsum([0, *(block.nbytes for block in blocks)])
    views = [{"buffer": 0, "byteOffset": int(a), "byteLength": int(b - a)} for a, b in zip(at, at[1:], strict=False)]
    scalar = {"componentType": 5126, "type": "SCALAR"}
    tree = {
        "asset": {"version": "2.0"}, "nodes": [{"mesh": 0}], "scenes": [{"nodes": [0]}], "bufferViews": views,
        "accessors": [
            {"bufferView": 0, "count": len(times), **scalar, "min": [min(times)], "max": [max(times)]},
            {"bufferView": 1, "count": len(output), **scalar},
            {"bufferView": 2, "count": 3, "componentType": 5126, "type": "VEC3", "min": [0, 0, 0], "max": [1, 1, 1]},
        ],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 2}, "targets": [{"POSITION": 2}] * len(names)}],
                    "extras": {"targetNames": names}}],
        "animations": [{"samplers": [{"input": 0, "output": 1, "interpolation": kind}],
                        "channels": [{"sampler": 0, "target": {"node": 0, "path": "weights"}}]}],
        "buffers": [{"byteLength": len(data),
                     "uri": "data:application/octet-stream;base64," + base64.b64encode(data).decode()}],
    }  # fmt: skip
    path.write_text(json.dumps(tree))
    return path


def test_a_spline_of_glb_is_read_as_the_specification_words_it(tmp_path: Path) -> None:
    rng, times = np.random.default_rng(3), np.array([0.0, 0.5, 1.25, 2.0])
    table = rng.normal(scale=0.3, size=(4, 3, 2)).astype(np.float32)  # per time: slopes in, values, slopes out
    path = gltf("CUBICSPLINE", times.tolist(), table.reshape(-1).tolist(), ["lift", "skew"], tmp_path / "a.gltf")
    for place, track in enumerate(read_gltf_weights(path)):
        curve = curve_of_track(track)
        for k in range(3):
            asked = np.linspace(times[k], times[k + 1], 20)
            slopes = [table[k, 2, place], table[k + 1, 0, place]]
            piece = CubicHermiteSpline(times[k : k + 2], table[k : k + 2, 1, place], slopes)
            np.testing.assert_allclose(curve.at(asked), piece(asked), atol=1e-6)
    (step, _) = read_gltf_weights(gltf("STEP", [0, 1], [0.2, 0, 0.7, 0], ["lift", "skew"], tmp_path / "b.gltf"))
    np.testing.assert_allclose(curve_of_track(step).at([0.0, 0.99, 1.0]), [0.2, 0.2, 0.7], atol=1e-6)


def test_an_animation_that_cannot_be_used_is_one_line(tmp_path: Path) -> None:
    document = made(True).evaluated
    document = document.again(document.project.with_(path=tmp_path / "document.toml"))
    gltf("LINEAR", [0, 1], [0, 0, 1, 1], ["grimace", "pout"], tmp_path / "other.gltf")
    with pytest.raises(MoueError, match=r"other.gltf: none of its 2 names is a shape of this head"):
        EvaluatedClip(document, Clip("c", file="other.gltf"))
    faults = {
        "times do not rise": gltf("LINEAR", [1, 0], [0, 0, 1, 1], ["a", "b"], tmp_path / "a.gltf"),
        "has 3 weights for 2 times and 2 targets": gltf("LINEAR", [0, 1], [0, 0, 1], ["a", "b"], tmp_path / "b.gltf"),
        "unknown interpolation": gltf("BEND", [0, 1], [0, 0, 1, 1], ["a", "b"], tmp_path / "c.gltf"),
    }
    for words, path in faults.items():
        with pytest.raises(MoueError, match=words):
            read_gltf_weights(path)
    plain = tmp_path / "plain.gltf"
    plain.write_text(json.dumps({"asset": {"version": "2.0"}, "nodes": [], "meshes": []}))
    with pytest.raises(MoueError, match="animates no morph weights"):
        read_gltf_weights(plain)
    still = tmp_path / "still.usda"
    still.write_text('#usda 1.0\ndef SkelAnimation "a" {\n uniform token[] blendShapes = ["lift"]\n}\n')
    with pytest.raises(MoueError, match="animates no blend-shape weights"):
        read_usd_weights(still)
    still.write_text(
        '#usda 1.0\n( timeCodesPerSecond = 25 )\ndef SkelAnimation "a" {\n uniform token[] blendShapes = ["lift"]\n'
        " float[] blendShapeWeights.timeSamples = { 0: [0], 50: [0.5, 1] }\n}\n"
    )
    with pytest.raises(MoueError, match="2 weights for 1 blend shapes at 50"):
        read_usd_weights(still)


@pytest.mark.parametrize("suffix", [".gltf", ".usda"])
def test_a_damaged_animation_is_read_or_refused_in_one_line(suffix: str, tmp_path: Path) -> None:
    rng = np.random.default_rng(list(suffix.encode()))
    good = tmp_path / f"good{suffix}"
    if suffix == ".gltf":
        gltf("LINEAR", [0, 0.5, 1], [0, 0, 1, 1, 0.5, 0], ["lift", "skew"], good)
    else:
        good.write_text(
            '#usda 1.0\n( timeCodesPerSecond = 25 )\ndef SkelAnimation "a" {\n'
            ' uniform token[] blendShapes = ["lift", "skew"]\n'
            " float[] blendShapeWeights.timeSamples = { 0: [0, 1], 50: [0.5, 1] }\n}\n"
        )
    project, path = small_project(tmp_path / "document.toml"), tmp_path / f"bad{suffix}"
    read = 0
    count = 150 if suffix == ".gltf" else 50
    for _ in range(count):
        path.write_bytes(mutated(good.read_bytes(), rng))
        try:
            read += len(tracks_of(project, Clip("c", file=path.name))) > 0
        except MoueError as error:
            assert str(error).isprintable() and len(str(error)) <= 200
    assert 0 < read < count
