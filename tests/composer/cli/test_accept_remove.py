"""`moue accept --remove`: a corrective goes, its shape stays, and mistakes are told in one line."""

from __future__ import annotations

from pathlib import Path

import pytest

from composer.cli.main import main
from composer.document.store import open_document

TEXT = """moue = 1
head = "library"
[recipes.doubt]  # first
cells = [ { region = "all", shape = "lift", weight = 1.0 } ]
[[correctives]]   # the lift
shape = "skew"
when = [ { region = "all", shape = "lift", at = 0.8 } ]
"""


@pytest.fixture
def document(tmp_path: Path) -> Path:
    (tmp_path / "clock.toml").write_text(TEXT)
    return tmp_path / "clock.toml"


def run(*words: object) -> int:
    with pytest.raises(SystemExit) as ended:
        main([str(word) for word in words])
    return int(ended.value.code or 0)


def test_a_corrective_is_removed_and_the_rest_stays(document: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("accept", document, "--remove", "skew") == 0
    assert "the corrective 'skew' is removed; its shape stays" in capsys.readouterr().out.replace("\n", " ")
    assert open_document(document).correctives == ()
    assert "# first" in document.read_text()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--remove", "skow"), "no corrective is named 'skow'; did you mean skew"),
        (("sculpt.obj", "--remove", "skew"), "--remove takes a corrective out, and no sculpt in"),
        ((), "a sculpt and its --recipe are needed"),
    ],
)
def test_a_mistake_is_one_line_and_changes_nothing(
    document: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], said: str
) -> None:
    assert run("accept", document, *words) == 2
    assert said in " ".join(capsys.readouterr().err.split())
    assert document.read_text() == TEXT
