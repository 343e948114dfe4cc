"""Mutation testing: small faults are put into the mathematics one at a time, and each must fail its module's tests.

    python -m tests.mutation --count 500 --seed 2026 --workers 4 --to survivors.json

A mutant changes one operator, number, comparison, condition or statement of a module. It is killed when a test file
that imports the module (or, where none does, one of the modules that use it) fails or runs out of time. Survivors are
printed with the line and the change: each is either a term that no test pins, or a change that makes no difference.
Method: DeMillo, Lipton, Sayward, Hints on test data selection (IEEE Computer 11(4), 1978). It is no part of the test
suite: 500 mutants take an hour or more on two cores.
"""

from __future__ import annotations

import argparse
import ast
import concurrent.futures
import json
import os
import queue
import random
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PLACES = ("composer/geometry", "composer/mixing", "masks", "composer/fitting")
MOST_FILES = 8
"""Test files that are tried on one mutant at most."""
NOT_ENERGIES = ("fitted_files", "report", "__init__")
"""Modules that hold words and files, not mathematics."""

SWAPS: dict[type, type] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
    ast.Lt: ast.GtE, ast.GtE: ast.Lt, ast.Gt: ast.LtE, ast.LtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.And: ast.Or, ast.Or: ast.And, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
}  # fmt: skip
CALLS = {"minimum": "maximum", "maximum": "minimum", "min": "max", "max": "min", "any": "all", "all": "any",
         "argmin": "argmax", "argmax": "argmin", "sin": "cos", "cos": "sin"}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """One change: the text of `path` between two offsets of its bytes is replaced."""

    path: str
    line: int
    start: int
    end: int
    before: str
    after: str
    kind: str


def mutants_of(path: str, source: str) -> Iterator[Mutant]:
    """Every change that is tried on a module."""
    encoded = source.encode()
    starts = [0]
    for line in encoded.splitlines(keepends=True):
        starts.append(starts[-1] + len(line))

    def change(node: ast.expr | ast.stmt, after: str, kind: str) -> Mutant:
        start = starts[node.lineno - 1] + node.col_offset
        end = starts[(node.end_lineno or node.lineno) - 1] + (node.end_col_offset or 0)
        return Mutant(path, node.lineno, start, end, encoded[start:end].decode(), after, kind)

    tree = ast.parse(source)
    skipped = _not_computed(tree)
    for node in ast.walk(tree):
        if id(node) in skipped or not isinstance(node, ast.expr | ast.stmt):
            continue
        if isinstance(node, ast.BinOp | ast.BoolOp) and type(node.op) in SWAPS:
            yield change(node, ast.unparse(_with(node, op=SWAPS[type(node.op)]())), "operator")
        elif isinstance(node, ast.Compare) and type(node.ops[0]) in SWAPS:
            yield change(node, ast.unparse(_with(node, ops=[SWAPS[type(node.ops[0])](), *node.ops[1:]])), "comparison")
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.Not):
            yield change(node, f"({ast.unparse(node.operand)})", "sign")
        elif isinstance(node, ast.Constant) and type(node.value) in (int, float):
            other = node.value + 1 if isinstance(node.value, int) else node.value * 1.5 + 0.1
            yield change(node, repr(other), "number")
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in CALLS:
            func = _with(node.func, attr=CALLS[node.func.attr])
            yield change(node, ast.unparse(_with(node, func=func)), "call")
        elif isinstance(node, ast.AugAssign) or (isinstance(node, ast.Expr) and isinstance(node.value, ast.Call)):
            yield change(node, "pass", "statement")
        elif isinstance(node, ast.IfExp):
            yield change(node, f"({ast.unparse(node.orelse)})", "condition")
        elif isinstance(node, ast.If) and not _only_raises(node):
            yield change(node.test, f"(not ({ast.unparse(node.test)}))", "condition")


def _with(node: ast.AST, **fields: object) -> ast.AST:
    return type(node)(**{name: fields.get(name, getattr(node, name)) for name in node._fields})


def _only_raises(node: ast.If) -> bool:
    return all(isinstance(each, ast.Raise) for each in node.body)


def _not_computed(tree: ast.AST) -> set[int]:
    """Nodes that compute nothing: annotations, docstrings, decorators, texts of errors."""
    roots: list[ast.AST] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            roots += [*node.decorator_list, *([node.returns] if node.returns else [])]
        elif isinstance(node, ast.arg | ast.AnnAssign) and node.annotation:
            roots.append(node.annotation)
        elif isinstance(node, ast.Raise | ast.JoinedStr | ast.Import | ast.ImportFrom):
            roots.append(node)
        elif isinstance(node, ast.Subscript) and isinstance(node.slice, ast.Constant | ast.Name):
            roots.append(node.slice)
    return {id(each) for root in roots for each in ast.walk(root)}


def modules() -> list[str]:
    """The modules that are mutated, as paths from the root."""
    found = [path for place in PLACES for path in (ROOT / place).rglob("*.py")]
    return sorted(str(path.relative_to(ROOT)) for path in found if path.stem not in NOT_ENERGIES)


def imported_by() -> dict[str, set[str]]:
    """For each test file and each module of the house, as paths: the dotted names that it imports."""
    found: dict[str, set[str]] = {}
    for path in [*(ROOT / "composer").rglob("*.py"), *(ROOT / "masks").rglob("*.py"), *(ROOT / "tests").rglob("*.py")]:
        names: set[str] = set()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                names |= {alias.name for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module:
                names |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
        found[str(path.relative_to(ROOT))] = names
    return found


def tests_of(module: str, imports: dict[str, set[str]]) -> list[str]:
    """The test files that import a module; where there are none, those of the modules that use it.

    Of many, the MOST_FILES that stand nearest to it: named after it, in the folder of its package, the laws, others.
    """
    name, package = Path(module).stem, Path(module).parent.name

    def near(test: str) -> tuple[bool, bool, bool, str]:
        path = Path(test)
        return path.stem != f"test_{name}", path.parent.name != package, path.parent.name != "laws", test

    searched, wave = set(), {module}
    while wave:
        dotted = {each.removesuffix(".py").replace("/", ".") for each in wave}
        users = {path for path, names in imports.items() if names & dotted} - searched
        tests = {path for path in users if Path(path).name.startswith("test_") and "window" not in path}
        if tests:
            return sorted(tests, key=near)[:MOST_FILES]
        searched |= users
        wave = {path for path in users if not path.startswith("tests/window")}
    return []


def survives(mutant: Mutant, tests: list[str], tree: Path, seconds: float) -> bool:
    """Whether all of `tests` pass with the mutant in the copy of the project at `tree`."""
    target = tree / mutant.path
    original = target.read_bytes()
    target.write_bytes(original[: mutant.start] + mutant.after.encode() + original[mutant.end :])
    threads = {name: "1" for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")}
    try:
        done = subprocess.run(
            [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *tests],
            cwd=tree, capture_output=True, timeout=seconds,
            env={**os.environ, **threads, "PYTHONDONTWRITEBYTECODE": "1"},
        )  # fmt: skip
        return done.returncode == 0
    except subprocess.TimeoutExpired:
        return False
    finally:
        target.write_bytes(original)


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--count", type=int, default=500)
    words.add_argument("--seed", type=int, default=2026)
    words.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    words.add_argument("--seconds", type=float, default=180.0, help="after which a test run counts as failed")
    words.add_argument("--only", default="", help="modules whose path holds this")
    words.add_argument("--to", default="survivors.json")
    given = words.parse_args()
    every = [m for path in modules() if given.only in path for m in mutants_of(path, (ROOT / path).read_text("utf-8"))]
    chosen = random.Random(given.seed).sample(every, min(given.count, len(every)))
    imports = imported_by()
    tests = {path: tests_of(path, imports) for path in {mutant.path for mutant in chosen}}
    print(f"{len(chosen)} of {len(every)} mutants; without a test: {sorted(p for p, t in tests.items() if not t)}")
    trees: queue.Queue[Path] = queue.Queue()
    with tempfile.TemporaryDirectory() as folder:
        for k in range(given.workers):
            copied = Path(folder) / str(k)
            shutil.copytree(ROOT, copied, ignore=shutil.ignore_patterns(".git", ".venv", "__pycache__", ".hypothesis"))
            trees.put(copied)

        def judge(mutant: Mutant) -> bool:
            tree = trees.get()
            try:
                return not tests[mutant.path] or survives(mutant, tests[mutant.path], tree, given.seconds)
            finally:
                trees.put(tree)

        survivors = []
        with concurrent.futures.ThreadPoolExecutor(given.workers) as pool:
            for k, (mutant, alive) in enumerate(zip(chosen, pool.map(judge, chosen), strict=True), 1):
                if alive:
                    survivors.append(asdict(mutant))
                    change = f"{mutant.before!r} -> {mutant.after!r}"
                    print(f"[{k}] {mutant.path}:{mutant.line} {mutant.kind}: {change}", flush=True)
                    Path(given.to).write_text(json.dumps(survivors, indent=1))
    killed = len(chosen) - len(survivors)
    print(f"killed {killed} of {len(chosen)} ({100 * killed / len(chosen):.1f} percent)")


if __name__ == "__main__":
    main()
