"""The app without Python begins like the command, and starts its own processes as a Python does."""

from __future__ import annotations

import pickle
import subprocess
import sys
from pathlib import Path

from composer import __version__
from composer.formats.usd_apart import CHILD

ENTRY = Path(__file__).parents[1] / ".ci" / "app" / "entry.py"
TRIANGLE = """#usda 1.0
def Mesh "head"
{
    int[] faceVertexCounts = [3]
    int[] faceVertexIndices = [0, 1, 2]
    point3f[] points = [(0, 0, 0), (1, 0, 0), (0, 1, 0)]
}
"""


def app(*words: str) -> bytes:
    environment = {"PYTHONPATH": str(ENTRY.parents[2])}
    run = subprocess.run([sys.executable, str(ENTRY), *words], capture_output=True, check=True, env=environment)
    return run.stdout


def test_the_app_is_the_command_and_its_own_processes(tmp_path: Path) -> None:
    assert app("--version").decode() == f"moue {__version__}\n"
    assert app("-c", "import sys; print(sys.argv[1:], __name__)", "-x", "y").decode() == "['-x', 'y'] __main__\n"
    assert app("-m", "platform", "terse").decode().strip()
    file = tmp_path / "head.usda"
    file.write_text(TRIANGLE)
    answer = pickle.loads(app("-c", CHILD, str(file), "", "mesh"))
    assert answer.n_vertices == 3
