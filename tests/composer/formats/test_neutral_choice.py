"""The neutral is known by its name in any language and scheme, doubted where it stands apart, and settled by a file."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from composer.document.inspection import inspect_folder
from composer.document.mend import write_mended
from composer.errors import MoueError
from composer.formats.library import open_library
from composer.formats.library_file import Settled, read_settled, write_settled
from composer.formats.nearest_to_all import distances, doubt_of, nearest_to_all
from composer.formats.neutral_name import neutral_by_name, words_of
from tests.awkward_heads import NEUTRAL_NAMES

SHAPES = ["smile_L", "smile_R", "jawOpen", "browDown", "lips_base_up", "default_smile", "eyes_rest_closed", "0004"]
CUBE = "\n".join(["f 1 2 4 3", "f 5 7 8 6", "f 1 5 6 2", "f 3 4 8 7", "f 1 3 7 5", "f 2 6 8 4"])


def library(folder: Path, targets: dict[str, np.ndarray]) -> Path:
    """A folder of cubes of 200 mm with these displacements (8, 3)."""
    folder.mkdir()
    corners = 100.0 * np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)])
    for name, moved in targets.items():
        lines = [f"v {x:.6f} {y:.6f} {z:.6f}" for x, y, z in corners + moved]
        (folder / f"{name}.obj").write_text("\n".join([*lines, CUBE]) + "\n")
    return folder


def shapes(count: int, seed: int = 0) -> dict[str, np.ndarray]:
    rng = np.random.default_rng(seed)
    return {SHAPES[i]: 10.0 * rng.normal(size=(8, 3)) for i in range(count)}


@pytest.mark.parametrize("name", NEUTRAL_NAMES[:-1])
def test_a_name_for_a_face_at_rest_is_known_in_any_script_and_scheme(name: str) -> None:
    found = neutral_by_name([*SHAPES, name])
    assert found is not None and found.name == name


def test_a_characters_name_in_every_file_says_nothing() -> None:
    names = [f"Mika_{shape}" for shape in SHAPES] + ["Mika_base"]
    found = neutral_by_name(names)
    assert found is not None and found.name == "Mika_base"
    assert neutral_by_name([f"Base_{shape}" for shape in SHAPES]) is None


def test_a_word_within_an_expressions_name_is_no_neutral() -> None:
    assert neutral_by_name(SHAPES) is None
    assert neutral_by_name(["crest", "database", "reflex", "basil"]) is None


def test_neutral_itself_goes_before_other_words() -> None:
    found = neutral_by_name(["base", "my_neutral_v2", "neutral", "smile"])
    assert found is not None and found.name == "neutral"


@given(st.text(max_size=30))
def test_any_name_has_words_and_no_name_is_refused(name: str) -> None:
    assert all(word for word in words_of(name))
    neutral_by_name([name, name + "x"])


@given(st.integers(0, 2**32 - 1), st.integers(2, 7))
def test_distances_are_those_of_plain_norms(seed: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    deltas = {str(i): rng.normal(size=(9, 3)).astype(np.float32) for i in range(count)}
    plain = {
        a: sum(float(np.sqrt(((deltas[a] - deltas[b]).astype(np.float64) ** 2).sum() / 9)) for b in deltas)
        for a in deltas
    }
    found = distances(deltas)
    np.testing.assert_allclose([found[a] for a in deltas], [plain[a] for a in deltas], rtol=1e-6)
    assert plain[nearest_to_all(deltas)] <= min(plain.values()) * (1 + 1e-6)


def test_a_named_neutral_is_taken_and_the_reason_told_first(tmp_path: Path) -> None:
    folder = library(tmp_path / "a", {**shapes(5), "Generic_Neutral_Mesh": np.zeros((8, 3))})
    head = open_library(folder, unit="mm")
    assert head.neutral_name == "Generic_Neutral_Mesh"
    assert head.notes[0] == "The neutral is Generic_Neutral_Mesh: its name says so ('neutral')."
    looked = inspect_folder(folder, unit="mm")
    assert looked.neutral == head.neutral_name and looked.notes[0] == head.notes[0]


def test_where_name_and_nearness_disagree_a_warning_asks(tmp_path: Path) -> None:
    targets = {**shapes(6), "at_ease": np.zeros((8, 3)), "base": np.full((8, 3), 60.0)}
    folder = library(tmp_path / "a", targets)
    looked = inspect_folder(folder, unit="mm")
    doubts = [fault for fault in looked.faults if fault.code == "neutral.doubt"]
    assert looked.neutral == "base" and len(doubts) == 1 and doubts[0].severity == "warning"
    assert "at_ease is nearer" in doubts[0].words and "--neutral" in doubts[0].words
    assert "in doubt" in open_library(folder, unit="mm").notes[0]
    assert not [f for f in inspect_folder(folder, "base", "mm").faults if f.code == "neutral.doubt"]


def test_a_mended_copy_writes_the_choice_down_and_it_is_read_again(tmp_path: Path) -> None:
    folder = library(tmp_path / "a", {**shapes(5), "Mika": np.zeros((8, 3))})
    looked = inspect_folder(folder, neutral="smile_L", unit="cm")
    write_mended(looked, tmp_path / "b")
    assert read_settled(tmp_path / "b") == Settled("smile_L", "cm")
    again = open_library(tmp_path / "b")
    assert (again.neutral_name, again.unit) == ("smile_L", "cm")
    assert open_library(tmp_path / "b", neutral="Mika").neutral_name == "Mika"


def test_a_settled_neutral_that_is_not_there_is_told(tmp_path: Path) -> None:
    folder = library(tmp_path / "a", {**shapes(3), "Mika": np.zeros((8, 3))})
    write_settled(folder, Settled("Mikka"))
    with pytest.raises(MoueError, match="library.toml.*Mikka.*Mika"):
        open_library(folder)
    (folder / "library.toml").write_text("neutral = 3\n")
    with pytest.raises(MoueError, match="library.toml.*text"):
        open_library(folder)


def test_no_doubt_where_the_neutral_is_the_nearest() -> None:
    deltas = {**{k: v.astype(np.float32) for k, v in shapes(6).items()}, "n": np.zeros((8, 3), np.float32)}
    assert doubt_of("n", deltas) == ""
