"""Build a folder that runs Moue by itself, without Python: python3 .ci/app/build.py --to FOLDER

PyInstaller (GPL 2 with an exception for what it builds; a tool of the build, no part of Moue) gathers Moue, the Python
that runs this script and all that is required into FOLDER/moue, and this script adds what registers `.moue` files on
this system. Tried on Linux; on Windows and macOS the same script is to be run there, and has not been tried.
Needs a Python with its shared library (`sysconfig.get_config_var("Py_ENABLE_SHARED")`), a network for pip, and some
2 GB of disk. It says how large the folder is.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
import tempfile
import venv
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
WHOLE = ("composer", "masks", "imgui_bundle", "embreex", "pxr", "trimesh")
"""Packages that are taken with their data and with modules that are only named in texts."""
MODULES = ("pyglet", "rich")
"""Packages of which every module is taken, by its file: some are only imported where there is a screen, or a system."""
LEFT_OUT = ("tkinter", "matplotlib", "IPython", "pytest", "distributed", "dask", "pandas", "jinja2")


def build(to: Path) -> Path:
    """The folder `moue` in `to`, built anew."""
    with tempfile.TemporaryDirectory() as place:
        work = Path(place)
        venv.create(work / "env", with_pip=True)
        python = work / "env" / ("Scripts/python.exe" if sys.platform == "win32" else "bin/python")
        run(python, "-m", "pip", "install", "-q", str(ROOT), "pyinstaller>=6.10,<7")
        words = ["--noconfirm", "--onedir", "--name", "moue", "--distpath", str(to), "--workpath", str(work / "work")]
        words += ["--specpath", str(work), "--log-level", "WARN", "--console"]
        for package in WHOLE:
            words += ["--collect-all", package]
        for name in modules_of(work / "env"):
            words += ["--hidden-import", name]
        for package in LEFT_OUT:
            words += ["--exclude-module", package]
        run(python, "-m", "PyInstaller", *words, str(HERE / "entry.py"), folder=work)
    made = to / "moue"
    for name in ("LICENSE", "README.md"):
        shutil.copy2(ROOT / name, made / name)
    for file in sorted((HERE / "register").iterdir()):
        if sys.platform.startswith(file.stem.rpartition("_")[2]):
            shutil.copy2(file, made / file.name)
    return made


def modules_of(environment: Path) -> list[str]:
    """The names of all modules of MODULES in an environment."""
    names = []
    for package in MODULES:
        folder = next(environment.rglob(f"site-packages/{package}"))
        for file in sorted(folder.rglob("*.py")):
            parts = file.relative_to(folder.parent).with_suffix("").parts
            names.append(".".join(parts[:-1] if parts[-1] == "__init__" else parts))
    return names


def run(*words: Path | str, folder: Path | None = None) -> None:
    """Run a command; its failure is this script's."""
    subprocess.run([str(word) for word in words], check=True, cwd=folder)


def main() -> None:
    """Build, and say how large the folder is."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--to", type=Path, default=ROOT / "dist", help="where the folder moue is made (default: dist)")
    made = build(asked.parse_args().to.resolve())
    size = sum(file.stat().st_size for file in made.rglob("*") if file.is_file() and not file.is_symlink())
    sys.stdout.write(f"{made}: {size / 1e6:.0f} MB\n")


if __name__ == "__main__":
    main()
