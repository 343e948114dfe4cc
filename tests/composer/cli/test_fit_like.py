"""`moue fit --like` as a person types it, on small heads: files and folders, their unit, and what cannot be used."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from composer.bench.cube_sphere import cube_sphere
from composer.cli.main import main
from composer.formats.mesh import Mesh
from composer.formats.obj import write
from composer.formats.registry import read_mesh
from composer.geometry.polygons import Polygons

CAGE, BALL = cube_sphere(5)
EVEN = 100.0 * BALL / np.linalg.norm(BALL, axis=1)[:, None]
LIBRARY = EVEN * (0.8, 1.15, 0.95)
LONGER = LIBRARY + 6.0 * (EVEN[:, 1] < 0)[:, None] * EVEN / 100.0 + [0.0, 0.0, 4.0] * (np.abs(EVEN[:, :1]) < 40)
"""An earlier head (n, 3) mm: what is below and ahead stands out more."""
TRUE = LIBRARY + 0.7 * (LONGER - LIBRARY)


def obj(path: Path, at: np.ndarray, polygons: Polygons = CAGE) -> Path:
    path.parent.mkdir(exist_ok=True)
    write(path, Mesh(polygons, at, unit=None))
    return path


@pytest.fixture
def fit(tmp_path: Path, capsys: pytest.CaptureFixture[str]):  # type: ignore[no-untyped-def]
    """Runs the command in mm with some more words: its exit code, what it said, and the folder that it wrote to."""
    library = obj(tmp_path / "library.obj", LIBRARY)
    sculpt = obj(tmp_path / "sculpt.obj", TRUE, Polygons.from_faces(CAGE.triangles.tolist(), len(BALL)))
    marks = tmp_path / "marks.toml"
    marks.write_text("".join(f"p{v} = {{ head = {v}, sculpt = {v} }}\n" for v in range(0, len(BALL), 20)))

    def run(*words: object) -> tuple[int, str, Path]:
        to = tmp_path / "out"
        given = ["fit", library, sculpt, "--to", to, "--landmarks", marks, "--unit", "mm", "--sculpt-unit", "mm",
                 "--level", "0", "--no-pictures", "--any-size", *words]  # fmt: skip
        code = 0
        try:
            main([str(word) for word in given])
        except SystemExit as ended:
            code = int(ended.code or 0)
        told = capsys.readouterr()
        return code, told.out + told.err, to

    return run


def away(folder: Path) -> float:
    """The mean distance in mm of the fitted vertices from where they truly belong."""
    return float(np.linalg.norm(read_mesh(folder / "fitted.obj").positions - TRUE, axis=1).mean())


def test_files_and_folders_of_earlier_heads_make_it_better_and_are_told(fit, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    heads, one = tmp_path / "heads", obj(tmp_path / "single.obj", LONGER / 10.0)
    for share in (0.5, -0.5):
        obj(heads / f"head_{share}.obj", (LIBRARY + share * (LONGER - LIBRARY)) / 10.0)
    code, said, plain = fit("--to", tmp_path / "plain")
    assert code == 0 and "earlier heads" not in said
    code, said, to = fit("--like", heads, "--like", one, "--like-unit", "cm")
    assert code == 0 and "3 earlier heads explain" in " ".join(said.split())
    assert away(to) < 0.8 * away(tmp_path / "plain")


def test_what_cannot_be_used_is_told_in_one_line_and_nothing_is_written(fit, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    (tmp_path / "empty").mkdir()
    polygons, positions = cube_sphere(4)
    other, good = obj(tmp_path / "other.obj", 100.0 * positions, polygons), obj(tmp_path / "good.obj", LONGER)
    for words, told in (
        (("--like", good, "--like", other), "other.obj: has"), (("--like", tmp_path / "empty"), "holds no meshes"),
        (("--like", tmp_path / "nowhere.obj"), "nowhere.obj"), (("--like", good, "--like-unit", "ell"), "ell"),
    ):  # fmt: skip
        code, said, to = fit(*words)
        assert code == 2 and told in said and not to.exists(), said
        assert len(said.strip().splitlines()) == 1 and "Traceback" not in said, said
