"""The command by convention: help by the steps of the job, version, quiet, no colour, completion."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from composer.bench.measure import Row
from composer.bench.table import COLUMNS, detail_lines, table_lines
from composer.cli import console
from composer.cli.help_text import command_lines
from composer.cli.main import COMMANDS, app
from composer.formats.mesh import Mesh
from composer.formats.registry import FORMATS, suffixes, write_mesh
from tests import forked
from tests.small_heads import grid

ROOT = Path(__file__).resolve().parents[3]
NAMES = [name for commands in COMMANDS.values() for name in commands]


def moue(*words: str | Path, **environment: str) -> subprocess.CompletedProcess[str]:
    plain = {key: value for key, value in os.environ.items() if key not in ("NO_COLOR", "FORCE_COLOR")}
    return subprocess.run(
        [sys.executable, "-m", "composer", *map(str, words)], capture_output=True, text=True, cwd=ROOT,
        env={**plain, "COLUMNS": "80", **environment},
    )  # fmt: skip


def in_a_terminal(*words: str, **environment: str) -> str:
    """What the command writes where both streams are a terminal of 80 columns."""
    pty = pytest.importorskip("pty", reason="this system has no pseudo terminals")
    parent, child = pty.openpty()
    plain = {key: value for key, value in os.environ.items() if key not in ("NO_COLOR", "FORCE_COLOR")}
    env = {**plain, "TERM": "xterm-256color", "COLUMNS": "80", **environment}
    done = subprocess.Popen([sys.executable, "-m", "composer", *words], stdout=child, stderr=child, cwd=ROOT, env=env)
    os.close(child)
    written = b""
    try:
        while block := os.read(parent, 4096):
            written += block
    except OSError:  # Linux says so that the other side is closed
        pass
    done.wait()
    os.close(parent)
    return written.decode()


def help_of(name: str) -> list[str]:
    import typer

    group = typer.main.get_command(app)
    command = group.commands[name]  # type: ignore[attr-defined]
    return command_lines(command, command.make_context("moue " + name, [], resilient_parsing=True))


@pytest.fixture
def library(tmp_path: Path) -> Path:
    x, y = np.meshgrid(np.linspace(-40, 40, 9), np.linspace(-40, 40, 9), indexing="ij")
    rest = np.stack([x.ravel(), y.ravel(), 0.01 * x.ravel() ** 2], axis=1)
    (tmp_path / "library").mkdir()
    for name, points in (("neutral", rest), ("lift", rest + [0.0, 2.0, 9.0])):
        write_mesh(tmp_path / f"library/{name}.obj", Mesh(grid(9, 9), points))
    return tmp_path / "library"


def test_help_groups_every_command_by_the_step_of_the_job() -> None:
    said = moue("--help").stdout
    places = [said.index(f"\n{step}\n") for step in COMMANDS]
    assert places == sorted(places)
    for (step, commands), end in zip(COMMANDS.items(), [*places[1:], len(said)], strict=True):
        for name in commands:
            assert re.search(rf"^  {name} +\S", said[said.index(f"\n{step}\n") : end], re.M), name


@pytest.mark.parametrize("name", NAMES)
def test_help_fits_80_columns_names_every_option_and_gives_an_example(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    lines = help_of(name)
    assert max(map(len, lines)) <= 80
    text = "\n".join(lines)
    assert "<" not in text and "bool" not in text and "\x1b" not in text
    assert "  -q, --quiet" in text and re.search(rf"^Examples?\n  moue {name} ", text, re.M)
    options = [line for line in lines[lines.index("Options") :] if line.startswith("  -")]
    form = r"  (-\w, )?--[a-z-]+(, --[a-z-]+)?( [A-Z=:]+)?( {2,}\S.*)?"
    assert all(re.fullmatch(form, line) for line in options), options


def test_version_by_convention() -> None:
    from composer import __version__

    for words in (["--version"], ["version"]):
        done = moue(*words)
        assert (done.returncode, done.stdout) == (0, f"moue {__version__}\n")


def test_quiet_says_nothing_but_errors_and_does_the_work(library: Path, tmp_path: Path) -> None:
    for words in (["-q", "sheet"], ["sheet", "--quiet"]):
        done = forked.moue(*words, library, "--to", tmp_path / "sheet.png")
        assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
        assert (tmp_path / "sheet.png").exists()
        (tmp_path / "sheet.png").unlink()
    loud = forked.moue("sheet", library, "--to", tmp_path / "sheet.png")
    assert loud.stdout == f"{tmp_path / 'sheet.png'}\n"
    done = forked.moue("sheet", library, "--to", tmp_path / "sheet.gif", "-q")
    assert done.returncode == 2 and done.stdout == "" and len(done.stderr.splitlines()) == 1
    report = forked.moue("inspect", library, "-q", "--json", "-")
    assert json.loads(report.stdout)["vertices"] == 81 and report.stderr == ""


def test_bold_on_a_terminal_only_and_never_with_no_color() -> None:
    assert "\x1b" not in moue("--help").stdout
    assert "\x1b[1mOptions\x1b[0m" in in_a_terminal("--help")
    for environment in ({"NO_COLOR": "1"}, {"TERM": "dumb"}):
        said = in_a_terminal("--help", **environment)
        assert "\x1b" not in said and "Options" in said


def test_a_terminal_s_width_is_used() -> None:
    for columns in (60, 90):
        lines = moue("bake", "--help", COLUMNS=str(columns)).stdout.splitlines()
        assert columns - 12 < max(map(len, lines)) <= columns


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_can_be_shown_for_each_shell(shell: str) -> None:
    done = moue("--show-completion", shell, _TYPER_COMPLETE_TEST_DISABLE_SHELL_DETECTION="1")  # no shell is running
    assert done.returncode == 0 and "_MOUE_COMPLETE" in done.stdout and f"complete_{shell}" in done.stdout


def test_completion_offers_commands_options_and_formats() -> None:
    def completed(words: str, number: int) -> list[str]:
        asked = {"_MOUE_COMPLETE": "complete_bash", "COMP_WORDS": words, "COMP_CWORD": str(number)}
        return moue(**asked).stdout.split()

    assert completed("moue in", 1) == ["inspect"]
    assert "--order-of" in completed("moue bake --o", 2)
    assert completed("moue bake --format g", 3) == ["glb", "gltf"]


def test_bake_offers_the_formats_of_the_registry_and_no_list_of_its_own() -> None:
    from composer.cli.bake import Form

    assert [f".{form.value}" for form in Form] == suffixes(writing=True)
    assert {s for form in FORMATS if form.writes for s in form.suffixes} == set(suffixes(writing=True))


names = st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), min_size=1, max_size=120)
milliseconds = st.floats(1e-4, 1e6)


@example(name="n" * 120, ours=999.4, theirs=999.4, ratio=999_999.0, goal=True)
@example(name="n" * 120, ours=1e6, theirs=1e-4, ratio=1.1e-6, goal=True)
@given(name=names, ours=milliseconds, theirs=milliseconds, ratio=st.floats(1e-9, 1e9), goal=st.booleans())
def test_a_row_of_the_bench_is_one_line_of_80_columns(
    name: str, ours: float, theirs: float, ratio: float, goal: bool
) -> None:
    row = Row(name, ours, 0.1 * ours, "a reference", theirs, ratio, "<= 1 ms" if goal else "", False, "a note " * 30)
    heading, line = table_lines([row])
    assert len(heading) <= COLUMNS and len(line) <= COLUMNS and "\n" not in line
    assert line.endswith("MISSED" if goal else "-") and len(line.split("  ")) >= 4
    assert all(len(each) <= COLUMNS for each in detail_lines([row])[1:])


def test_ratios_and_times_read_as_a_person_writes_them() -> None:
    fast = Row("a", 0.053, 0.0, "b", 41.9, 0.053 / 41.9, "<= 0.15 ms", True)
    slow = Row("c", 10_240.0, 0.0, "d", 1.0, 10.2, "", True)
    _, first, second = table_lines([fast, slow])
    assert first.split() == ["a", "0.053", "ms", "41.9", "ms", "1/791", "met"]
    assert second.split() == ["c", "10.2", "s", "1", "ms", "10.2x", "-"]


def test_quiet_ends_with_the_command() -> None:
    console.be_quiet()
    assert console.is_quiet()
    with pytest.raises(SystemExit):
        from composer.cli.main import main

        main(["--version"])
    assert not console.is_quiet()


def test_a_long_line_is_wrapped_on_a_terminal_and_stays_one_line_in_a_pipe(library: Path, tmp_path: Path) -> None:
    document = tmp_path / "document.toml"
    cell = '{ region = "all", shape = "lift", weight = 1.0 }'
    document.write_text(f'moue = 1\nunit = "mm"\nhead = "library"\n[recipes.up]\ncells = [ {cell} ]\n')
    piped = moue("check", document).stdout.splitlines()
    assert max(map(len, piped)) > 100 and not any(line.startswith("    ") for line in piped)
    written = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", in_a_terminal("check", str(document)))  # the bar that was there
    shown = [line.rpartition("\r")[2] for line in written.replace("\r\n", "\n").splitlines()]
    shown = shown[next(i for i, line in enumerate(shown) if line.endswith(piped[0])) :]
    assert max(map(len, shown)) <= 80 and any(line.startswith("    ") for line in shown)
    assert " ".join(" ".join(shown).split()) == " ".join(" ".join(piped).split())


def test_help_and_completion_load_no_numbers() -> None:
    code = (
        "import sys; from composer.cli.main import main\n"
        "try:\n    main(['bake', '--help'])\nexcept SystemExit:\n    pass\n"
        "print(sorted({m.split('.')[0] for m in sys.modules} & {'numpy', 'scipy', 'PIL', 'pyglet', 'tomlkit'}))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert done.stdout.rstrip().endswith("[]"), done.stdout[-200:]
