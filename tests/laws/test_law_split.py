"""Split: the pieces of a shape sum to it, whether empty ones are kept or left out, in every format."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from composer.document.evaluated import EvaluatedDocument
from composer.edits.split import NOTHING_MM, split_shapes
from composer.head.head import Shape
from tests.composer.document.small_document import small_head, small_project


def evaluated(seed: int, tiny: float) -> EvaluatedDocument:
    """The small document; one more shape moves nothing, one a hair's breadth on one side."""
    head = small_head(seed)
    still = np.zeros_like(head.shapes[0].delta)
    hair = still.copy()
    hair[head.neutral[:, 0] > 0.0] = tiny
    hair[0] = 2.0
    shapes = (*head.shapes, Shape("still", still), Shape("hair", hair.astype(np.float32)))
    return EvaluatedDocument(small_project(Path("clock.moue")), head.with_(shapes=shapes))


BY = st.sampled_from(["regions", "sides"])


@given(st.integers(0, 50), st.sampled_from([0.0, 1e-5, 9e-4, 0.1]), BY, st.booleans())
def test_the_pieces_of_a_shape_sum_to_it(seed, tiny, by, keep_empty):
    ready = evaluated(seed, tiny)
    cut = split_shapes(ready, by, 12.0, keep_empty)
    sums = {shape.name: np.zeros((ready.head.n_vertices, 3)) for shape in ready.head.shapes}
    names = []
    for name, piece in cut.pieces():
        names.append(name)
        sums[name.rsplit(".", 1)[0]] += piece
        if not keep_empty:
            assert np.abs(piece).max() > 1e-6 * NOTHING_MM
    assert tuple(names) == cut.names
    every = len(ready.head.shapes) * (len(cut.masks) + 1)
    assert len(names) + cut.left_out == every and (not keep_empty or cut.left_out == 0)
    assert keep_empty or cut.left_out >= len(cut.masks) + 1  # those of the shape that moves nothing, at least
    for shape in ready.head.shapes:
        np.testing.assert_allclose(sums[shape.name], shape.delta, atol=1e-6 * ready.head.diagonal)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    from composer.formats.mesh import mesh_of
    from composer.formats.registry import write_mesh

    head = evaluated(4, 0.0).head
    (tmp_path / "library").mkdir()
    for name in (head.neutral_name, *head.shape_names):
        write_mesh(tmp_path / f"library/{name}.obj", mesh_of(head, head.target(name)))
    (tmp_path / "clock.toml").write_text(
        'moue = 1\nunit = "mm"\nhead = "library"\n[regions.low]\nfrom = "vertices"\nvertices = [0, 1, 2]\n'
    )
    return tmp_path


def test_split_says_how_much_first_and_npz_is_one_file_that_sums_to_the_library(
    folder: Path, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from composer.cli.main import main
    from composer.formats.library import open_library

    monkeypatch.chdir(folder)
    for words in (["--to", "many"], ["--to", "one", "--format", "npz"], ["--to", "all", "--keep-empty"]):
        with pytest.raises(SystemExit) as ended:
            main(["split", "clock.toml", *words])
        assert not ended.value.code
    said = capfd.readouterr().err
    assert "Writing 1 file, at most" in said and "are left out; --keep-empty keeps them" in said
    files = sorted(path.name for path in (folder / "many").glob("*.obj"))
    assert f"Writing {len(files)} files, about" in said
    assert len(files) < len(list((folder / "all").glob("*.obj"))) == 2 * 8 + 1
    assert [path.suffix for path in (folder / "one").iterdir() if path.suffix != ".json"] == [".npz"]
    library = open_library(folder / "library", unit="mm", recognise=False)
    for made in (folder / "many", folder / "one/clock_split.npz"):
        pieces = open_library(made, unit="mm", recognise=False)
        for shape in library.shapes:
            own = [each.delta for each in pieces.shapes if each.name.rsplit(".", 1)[0] == shape.name]
            np.testing.assert_allclose(np.sum(own, axis=0) if own else 0.0, shape.delta, atol=1e-4)
