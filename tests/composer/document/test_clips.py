"""Clips in a document: read, saved, followed through edits, filled from a CSV, baked."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from composer.document.bake_clip import bake_clip
from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_clip import EvaluatedClip, evaluated_clip
from composer.document.read import parse_document
from composer.document.store import open_document, save_document
from composer.document.text import document_text
from composer.edits.clips import add_clip, delete_clip, duplicate_clip, rename_clip, replace_clip
from composer.edits.recipes import delete_recipe, rename_recipe
from composer.edits.regions import delete_region, rename_region, split_region
from composer.edits.shapes import delete_kept_shape, keep_shape
from composer.errors import MoueError
from composer.formats.mesh import Mesh
from composer.formats.registry import read_mesh, write_mesh
from composer.mixing.clip import Clip, Key
from tests.composer.document.small_document import small_head

TEXT = """# the tide clock
moue = 1
head = "library"
[recipes.doubt]
cells = [ { region = "all", shape = "lift", weight = 0.5 } ]
[clips.tide]      # out and in
fps = 24
length = 1.0
join = "seamless"
keys = [
  { time = 0.0, recipe = "neutral" },   # at rest
  { time = 0.5, recipe = "doubt", interpolation = "smooth" },
  { time = 0.2, region = "all", shape = "au1_left", weight = 0.7, mirrored = true, interpolation = "hold" },
]
[clips.talk]
fps = 25
file = "talk.csv"
rename = { smile = "lift" }
"""
CSV = "time,lift,brow/au1_left %\n0.0,0,0\n0.5,0.6,80\n1.0,0,0\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A document with a library of four shapes, a region `brow`, and the clip `talk` from a CSV."""
    head = small_head()
    (tmp_path / "library").mkdir()
    write_mesh(tmp_path / "library/neutral.obj", Mesh(head.polygons, head.neutral))
    for name in ("lift", "au1_left", "skew"):
        write_mesh(tmp_path / f"library/{name}.obj", Mesh(head.polygons, head.neutral + head.shape(name).delta))
    np.save(tmp_path / "brow.npy", np.linspace(0.0, 1.0, head.n_vertices))
    text = 'moue = 1\nunit = "mm"\nhead = "library"\n[regions.brow]\nfrom = "file"\nfile = "brow.npy"\n'
    text += '[recipes.doubt]\ncells = [ { region = "brow", shape = "skew", weight = 0.5 } ]\n'
    text += '[clips.talk]\nfps = 24\nfile = "talk.csv"\n[clips.tide]\nlength = 1.0\n'
    text += 'keys = [ { time = 0, recipe = "neutral" }, { time = 1, recipe = "doubt" } ]\n'
    (tmp_path / "document.toml").write_text(text)
    (tmp_path / "talk.csv").write_text(CSV)
    return tmp_path


def opened(folder: Path) -> EvaluatedDocument:
    return EvaluatedDocument.open(open_document(folder / "document.toml"))


def test_a_clip_is_read_as_it_is_written() -> None:
    project = parse_document(TEXT.encode(), Path("document.toml"))
    tide, talk = project.clips
    assert (tide.fps, tide.length, tide.join, talk.file, talk.rename) == (
        24.0, 1.0, "seamless", "talk.csv", {"smile": "lift"},
    )  # fmt: skip
    assert tide.keys[2] == Key(0.2, "", 0.7, "all", "au1_left", True, "hold")
    assert document_text(project, Path()) == TEXT
    more = replace_clip(project, "talk", talk.with_(fps=30.0, contact=True, halo=0.5, rename={"smile": "brow/lift"}))
    text = document_text(more, Path())
    assert parse_document(text.encode(), Path("document.toml")).clips == more.clips
    for comment in ("# the tide clock", "# out and in", "# at rest"):
        assert comment in text
    fresh = document_text(more.with_(text=""), Path())
    assert parse_document(fresh.encode(), Path("document.toml")).clips == more.clips


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("length = 1.0", "length = 0", "length of 0 s"),
        ("length = 1.0", "length = -2", "length of -2 s"),
        ("length = 1.0", "", "has no length"),
        ("length = 1.0", "length = inf", "from"),
        ("fps = 24", "fps = 0", "0 frames a second"),
        ("fps = 24", "fps = 1e9", "frames a second"),
        ("fps = 24", "fps = 1000\nlength = 3600", "3,600,001 frames"),
        ("time = 0.5,", "time = 1.5,", "at 1.5 s; it lasts from 0 to 1 s"),
        ("time = 0.5,", "time = -0.5,", "at -0.5 s"),
        ("time = 0.5,", "time = 0.0,", "two keys of the pose at 0 s"),
        ("time = 0.5,", "", "key 2 of clip 'tide' has no time"),
        ('recipe = "doubt"', "weight = 0.5", "names no one thing"),
        ('recipe = "doubt"', 'recipe = "doubt", shape = "lift"', "names no one thing"),
        ('"smooth"', '"smoooth"', "did you mean smooth"),
        ("weight = 0.7", "weight = 7", "from -1 to 2"),
        ("weight = 0.7,", "", "without a weight"),
        ('recipe = "neutral"', 'recipe = "neutral", weight = 1', "leave the weight out"),
        ('join = "seamless"', 'join = "seamles"', "did you mean seamless"),
        ('join = "seamless"', "contact = 1", "needs contact to be true or false"),
        ('join = "seamless"', "tempo = 3", "unknown key 'tempo'"),
        ('file = "talk.csv"', 'file = "talk.csv"\nkeys = [ { time = 0, recipe = "doubt" } ]\nlength = 1', "keep one"),
    ],
)
def test_a_clip_that_cannot_be_is_one_line(old: str, new: str, words: str) -> None:
    bare = TEXT.replace("length = 1.0\n", "") if "length = 3600" in new else TEXT
    text = bare.replace(old, new)
    with pytest.raises(MoueError) as error:
        parse_document(text.encode(), Path("document.toml"))
    assert words in str(error.value) and str(error.value).startswith("document.toml: ")


def test_edits_of_clips() -> None:
    project = parse_document(TEXT.encode(), Path("document.toml"))
    assert [c.name for c in rename_clip(project, "tide", "ebb").clips] == ["ebb", "talk"]
    assert [c.name for c in duplicate_clip(project, "tide")[0].clips] == ["tide", "tide_2", "talk"]
    assert [c.name for c in delete_clip(project, "tide").clips] == ["talk"]
    assert add_clip(project, Clip("wave", length=2.0)).clip("wave").length == 2.0
    for name in ("talk", "Talk", "a/b"):
        with pytest.raises(MoueError):
            rename_clip(project, "tide", name)
    with pytest.raises(MoueError, match="did you mean tide"):
        project.clip("tida")


def test_renaming_and_deleting_keep_a_clip_true(folder: Path) -> None:
    evaluated = opened(folder)
    pose = evaluated_clip(evaluated, "tide").pose(0.7)
    renamed = rename_region(rename_recipe(evaluated.project, "doubt", "doubt_2"), "brow", "forehead")
    after = evaluated.again(renamed)
    np.testing.assert_array_equal(evaluated_clip(after, "tide").pose(0.7), pose)
    talk = evaluated_clip(evaluated, "talk")
    np.testing.assert_array_equal(evaluated_clip(after, "talk").pose(0.7), talk.pose(0.7))
    assert renamed.clip("talk").rename == {"brow/": "forehead/"}
    again = rename_region(renamed, "forehead", "front")
    assert again.clip("talk").rename == {"brow/": "front/"}
    gone = delete_recipe(renamed, "doubt_2")
    assert [key.recipe for key in gone.clip("tide").keys] == ["neutral"]
    np.testing.assert_array_equal(evaluated_clip(after.again(gone), "tide").pose(0.7), evaluated.head.neutral)
    without = evaluated_clip(evaluated.again(delete_region(evaluated.project, "brow")), "talk")
    assert without.cells == [("all", "lift", False)] and "no region is named 'brow'" in without.notes[0]


def test_keys_of_a_region_follow_it(folder: Path) -> None:
    evaluated = opened(folder)
    key = Key(0.5, region="brow", shape="lift", weight=0.5)
    project = replace_clip(evaluated.project, "tide", Clip("tide", length=1.0, keys=(key,)))
    halves = split_region(project, "brow", evaluated.raw["brow"], evaluated.head.neutral[:, 0], 10.0)
    assert [k.region for k in halves.clip("tide").keys] == ["brow_left", "brow_right"]
    whole, cut = evaluated.again(project), evaluated.again(halves)
    before, after = evaluated_clip(whole, "tide").pose(0.5), evaluated_clip(cut, "tide").pose(0.5)
    np.testing.assert_allclose(after, before, atol=1e-6)
    assert delete_region(project, "brow").clip("tide").keys == ()
    kept = keep_shape(project, "held", evaluated.head.shape("lift").delta)
    held = Key(0.5, region="all", shape="held", weight=1.0)
    used = replace_clip(kept, "tide", Clip("tide", length=1.0, keys=(held,)))
    with pytest.raises(MoueError, match="used by clip tide"):
        delete_kept_shape(used, "held")


def test_a_csv_follows_a_region_that_is_split_and_split_again(folder: Path) -> None:
    """Halves of a mask sum to it, so the same weights on both give the same pose (the law of side splits)."""
    evaluated = opened(folder)
    project = evaluated.project
    halves = split_region(project, "brow", evaluated.raw["brow"], evaluated.head.neutral[:, 0], 10.0)
    assert halves.clip("talk").rename == {"brow/": ("brow_left/", "brow_right/")}
    cut = evaluated.again(halves)
    before, after = evaluated_clip(evaluated, "talk"), evaluated_clip(cut, "talk")
    assert ("brow_right", "au1_left", False) in after.cells and not after.notes
    np.testing.assert_allclose(after.pose(0.5), before.pose(0.5), atol=1e-6)
    save_document(halves, folder / "halves.toml")
    assert open_document(folder / "halves.toml").clip("talk").rename == halves.clip("talk").rename
    renamed = rename_region(halves, "brow_left", "arch")
    assert renamed.clip("talk").rename == {"brow/": ("arch/", "brow_right/")}
    np.testing.assert_allclose(evaluated_clip(cut.again(renamed), "talk").pose(0.5), before.pose(0.5), atol=1e-6)


def test_a_csv_plays(folder: Path) -> None:
    clip = evaluated_clip(opened(folder), "talk")
    assert clip.n_frames == 25 and clip.times[0] == 0.0 and clip.times[-1] == 1.0
    assert clip.cells == [("all", "lift", False), ("brow", "au1_left", False)]
    table = np.array([[float(v) for v in row.split(",")] for row in CSV.splitlines()[1:]])
    for column, scale in ((1, 1.0), (2, 0.01)):
        expected = np.interp(clip.times, table[:, 0], scale * table[:, column])
        np.testing.assert_allclose(clip.weights[:, column - 1], expected, atol=1e-12)
    head = clip.evaluated.head
    mask = np.linspace(0.0, 1.0, head.n_vertices)[:, None]
    lift, left = (head.shape(name).delta.astype(np.float64) for name in ("lift", "au1_left"))
    expected = head.neutral + 0.6 * lift + 0.8 * mask * left
    np.testing.assert_allclose(clip.pose(0.5), expected, atol=1e-9)


def test_names_that_do_not_match_are_told_and_can_be_renamed(folder: Path) -> None:
    (folder / "talk.csv").write_text("time,lft,brw/au1_left,smile %\n0,0.1,0.2,30\n1,0.4,0.5,60\n")
    evaluated = opened(folder)
    with pytest.raises(MoueError, match=r"none of its 3 names.*did you mean lift"):
        evaluated_clip(evaluated, "talk")
    talk = evaluated.project.clip("talk")
    clip = EvaluatedClip(evaluated, talk.with_(rename={"smile": "skew"}))
    assert clip.cells == [("all", "skew", False)] and clip.weights[0, 0] == pytest.approx(0.3)
    assert "'lft'; did you mean lift; left out" in clip.notes[0] and "did you mean brow" in clip.notes[1]
    clip = EvaluatedClip(evaluated, talk.with_(rename={"smile": "skew", "brw/": "brow/", "lft": "brow/lift mirrored"}))
    assert clip.notes == [] and clip.cells[0] == ("brow", "lift", True) and clip.cells[1] == ("brow", "au1_left", False)
    with pytest.raises(MoueError, match=r"'lft' and 'smile' are the same cell all x lift"):
        EvaluatedClip(evaluated, talk.with_(rename={"smile": "lift", "lft": "lift"}))


def test_a_clip_file_goes_with_a_saved_copy(folder: Path) -> None:
    project = open_document(folder / "document.toml")
    (folder / "deep").mkdir()
    for place in ("deep/clock.moue", "deep/document.toml"):
        save_document(project, folder / place)
        again = EvaluatedDocument.open(open_document(folder / place))
        assert again.project.clip("talk").file == "../talk.csv"
        assert evaluated_clip(again, "talk").n_frames == 25


def test_a_file_outside_is_refused(folder: Path) -> None:
    text = (folder / "document.toml").read_text().replace('"talk.csv"', '"../../talk.csv"')
    (folder / "document.toml").write_text(text)
    with pytest.raises(MoueError, match="lies outside its folder"):
        evaluated_clip(opened(folder), "talk")


def test_npz_holds_every_frame(folder: Path) -> None:
    clip = evaluated_clip(opened(folder), "talk")
    (file,) = bake_clip(clip, folder / "out", suffix=".npz", unit="cm")
    held = np.load(file)
    assert file.name == "talk.npz" and held["frames"].shape == (25, clip.evaluated.head.n_vertices, 3)
    np.testing.assert_array_equal(held["times"], clip.times)
    for number in (0, 7, 24):
        np.testing.assert_allclose(10.0 * held["frames"][number], clip.pose(clip.times[number]), atol=1e-12)
    assert str(held["unit"]) == "cm" and held["cells"].tolist() == ["lift", "brow/au1_left"]
    first = file.read_bytes()
    bake_clip(clip, folder / "out", suffix=".npz", unit="cm")
    assert file.read_bytes() == first


def test_frames_as_obj_and_what_a_longer_bake_left(folder: Path) -> None:
    evaluated = opened(folder)
    clip = evaluated_clip(evaluated, "talk")
    files = bake_clip(clip, folder / "out", level=1)
    assert [file.name for file in files[:2]] == ["talk_0000.obj", "talk_0001.obj"] and len(files) == 25
    assert read_mesh(files[0]).n_vertices > clip.evaluated.head.n_vertices
    files = bake_clip(clip, folder / "out")
    np.testing.assert_allclose(read_mesh(files[12]).positions, clip.pose(0.5), atol=1e-5)
    (folder / "out/talk_0024.obj").write_text("sculpted\n")
    (folder / "out/talk_notes.obj").write_text("mine\n")
    (folder / "talk.csv").write_text(CSV.replace("1.0,0,0\n", ""))
    bake_clip(evaluated_clip(evaluated, "talk"), folder / "out")
    left = sorted(file.name for file in (folder / "out").glob("*.obj"))
    assert left == [*(f"talk_{i:04d}.obj" for i in range(13)), "talk_0024.obj", "talk_notes.obj"]
    assert "talk_0020.obj" not in json.loads((folder / "out/moue-bake.json").read_text())
    (folder / "talk.csv").write_text(CSV)
    with pytest.raises(MoueError, match="talk_0024.obj: has been changed since the last bake"):
        bake_clip(evaluated_clip(evaluated, "talk"), folder / "out")


def test_a_format_without_frames_is_refused(folder: Path) -> None:
    with pytest.raises(MoueError, match="a clip is written as"):
        bake_clip(evaluated_clip(opened(folder), "talk"), folder / "out", suffix=".stl")
