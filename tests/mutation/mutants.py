"""Faults put into the planner and the mill one at a time, to see whether any test notices: a measure of the tests, run by hand.

    python tests/mutation/mutants.py --count 40 --seed 1              # drawn from plan/ and mill/
    python tests/mutation/mutants.py --only plan/execute/shop.py      # of one module
    python tests/mutation/mutants.py --near                           # only tests that import the module: minutes, not hours

Each fault is one small change: a comparison turned round, plus for minus, and for or, a number times ten, the two ways of a choice
swapped, a statement left out. The package is copied, the fault put into the copy, and the tests of the planner run against it until one
fails. What no test notices is printed with its place: either the change means nothing, or a test is missing.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

REPO = Path(__file__).resolve().parents[2]
PACKAGE = REPO / "pipeline/pithline"
ROOMS = ("plan", "mill")
TESTS = (
    "tests/unit/test_mill_*.py",
    "tests/unit/test_plan_*.py",
    "tests/unit/test_files_configs.py",
    "tests/unit/test_yard_*.py",
    "tests/unit/test_part_fit.py",
    "tests/unit/test_glance.py",
    "tests/unit/test_good_for.py",
    "tests/unit/test_season_plan_bounds.py",
    "tests/unit/test_replan*.py",
    "tests/property/test_plan_laws.py",
    "tests/property/test_replan_laws.py",
)
"""Cheap ones first: a fault is seldom carried to the last."""
MOST_SECONDS = 1800

COMPARISONS = {
    ast.Lt: ast.GtE, ast.GtE: ast.Lt, ast.Gt: ast.LtE, ast.LtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
OPERATORS = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult}
NAMES = {
    "min": "max",
    "max": "min",
    "sin": "cos",
    "cos": "sin",
    "any": "all",
    "all": "any",
    "floor": "ceil",
    "ceil": "floor",
}


@dataclass(frozen=True, slots=True)
class Mutant:
    """One fault: the module, its line, the code as it was and as it is, and the module's whole text with it."""

    module: Path
    line: int
    was: str
    now: str
    text: str

    def __str__(self) -> str:
        return f"{self.module.relative_to(PACKAGE)}:{self.line}  {self.was}  ->  {self.now}"


def turned_comparison(node: ast.AST) -> ast.AST | None:
    """< to ≥, = to ≠, in to not in."""
    if isinstance(node, ast.Compare) and len(node.ops) == 1 and type(node.ops[0]) in COMPARISONS:
        return ast.Compare(node.left, [COMPARISONS[type(node.ops[0])]()], node.comparators)
    return None


def opposite_operation(node: ast.AST) -> ast.AST | None:
    """Plus to minus, times to over, and to or."""
    if isinstance(node, ast.BinOp) and type(node.op) in OPERATORS:
        return ast.BinOp(node.left, OPERATORS[type(node.op)](), node.right)
    if isinstance(node, ast.BoolOp):
        return ast.BoolOp(ast.Or() if isinstance(node.op, ast.And) else ast.And(), node.values)
    return node.operand if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub) else None


def other_number(node: ast.AST) -> ast.AST | None:
    """Ten times as much, 1 for 0, true for false."""
    if not isinstance(node, ast.Constant) or not isinstance(node.value, int | float):
        return None
    value = node.value
    return ast.Constant(not value if isinstance(value, bool) else value * 10 if value else 1)


def swapped_choice(node: ast.AST) -> ast.AST | None:
    """The two ways of a choice, or a function and its opposite."""
    if isinstance(node, ast.IfExp):
        return ast.IfExp(node.test, node.orelse, node.body)
    if isinstance(node, ast.Name) and node.id in NAMES:
        return ast.Name(NAMES[node.id], node.ctx)
    return (
        ast.Attribute(node.value, NAMES[node.attr], node.ctx)
        if isinstance(node, ast.Attribute) and node.attr in NAMES
        else None
    )


def left_out(node: ast.AST) -> ast.AST | None:
    """A statement that only does something."""
    does = isinstance(node, ast.AugAssign) or (isinstance(node, ast.Expr) and isinstance(node.value, ast.Call))
    return ast.Pass() if does else None


CHANGES: tuple[Callable[[ast.AST], ast.AST | None], ...] = (
    turned_comparison,
    opposite_operation,
    other_number,
    swapped_choice,
    left_out,
)


def _nodes(tree: ast.AST) -> list[ast.AST]:
    return [node for node in ast.walk(tree) if hasattr(node, "lineno")]


def places_of(module: Path) -> list[tuple[Path, int, int]]:
    """Where a module can be changed: (module, number of the node, number of the change)."""
    nodes = _nodes(ast.parse(module.read_text(encoding="utf-8")))
    quiet = {id(inner) for node in nodes if _says_nothing(node) for inner in ast.walk(node)}
    return [
        (module, at, which)
        for at, node in enumerate(nodes)
        if id(node) not in quiet
        for which, change in enumerate(CHANGES)
        if change(node) is not None
    ]


def mutant_at(module: Path, at: int, which: int) -> Mutant:
    """The fault at one place."""
    tree = ast.parse(module.read_text(encoding="utf-8"))
    node = _nodes(tree)[at]
    was, changed = ast.unparse(node), CHANGES[which](node)
    assert changed is not None and isinstance(node, ast.expr | ast.stmt)
    _replace(tree, node, ast.copy_location(changed, node))
    return Mutant(module, node.lineno, was, ast.unparse(changed), ast.unparse(ast.fix_missing_locations(tree)))


def _says_nothing(node: ast.AST) -> bool:
    """Whether a change inside a node could be seen by nobody: docstrings, types, decorators, errors' words, monitors' shares."""
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return True
    if isinstance(node, ast.JoinedStr | ast.Raise | ast.Assert):
        return True
    if isinstance(node, ast.Call):
        name = ast.unparse(node.func)
        return name in ("field", "njit", "dataclass") or name.rpartition(".")[2] in (
            "report",
            "within",
            "share",
            "tell",
        )
    return isinstance(node, ast.AnnAssign) and node.value is None


def _replace(tree: ast.AST, old: ast.AST, new: ast.AST) -> None:
    for parent in ast.walk(tree):
        for name, value in ast.iter_fields(parent):
            if value is old:
                setattr(parent, name, new)
            elif isinstance(value, list):
                setattr(parent, name, [new if one is old else one for one in value])


def near_tests(
    module: Path, patterns: Sequence[str] = ("tests/unit/test_*.py", "tests/property/test_*.py")
) -> list[str]:
    """Test files that import a module by its name, those that import the fewest modules first."""
    dotted = ".".join(module.relative_to(PACKAGE.parent).with_suffix("").parts)
    room, _, name = dotted.rpartition(".")
    imports = re.compile(rf"from {re.escape(dotted)} import|from {re.escape(room)} import [^\n]*\b{name}\b")
    found = []
    for path in (path for pattern in patterns for path in REPO.glob(pattern)):
        text = path.read_text(encoding="utf-8")
        if imports.search(text):
            found.append((text.count("import pithline") + text.count("from pithline"), str(path.relative_to(REPO))))
    return [path for _, path in sorted(found)]


def noticed(mutant: Mutant, folder: Path, tests: Sequence[str]) -> str | None:
    """The test that fails with a fault; None where none does."""
    if not tests:
        return None
    target = folder / "pithline" / mutant.module.relative_to(PACKAGE)
    old = target.read_text(encoding="utf-8")
    target.write_text(mutant.text, encoding="utf-8")
    if "njit" in mutant.text:  # a compiled kernel keeps within it those that it calls
        for compiled in (folder / "pithline").rglob("*.nb?"):
            compiled.unlink()
    environment = {**os.environ, "PYTHONPATH": str(folder), "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *tests]
        done = subprocess.run(
            command, cwd=REPO, env=environment, capture_output=True, text=True, timeout=MOST_SECONDS, check=False
        )
    except subprocess.TimeoutExpired:
        return "it never ends"
    finally:
        target.write_text(old, encoding="utf-8")
    if done.returncode == 0:
        return None
    failed = [line for line in done.stdout.splitlines() if line.startswith(("FAILED", "ERROR"))]
    return failed[0].split(" - ")[0] if failed else "tests end early"


@contextlib.contextmanager
def package_copy() -> Iterator[Path]:
    """A folder with a copy of the package, for faults to be put into."""
    with tempfile.TemporaryDirectory() as name:
        shutil.copytree(PACKAGE, Path(name, "pithline"))
        if (REPO / "configs").is_dir():
            shutil.copytree(REPO / "configs", Path(name, "pithline/configs"))
        yield Path(name)


def main() -> None:
    """Draw, run and tell."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0] if __doc__ else "")
    parser.add_argument("--count", type=int, default=40, help="faults drawn [default: 40]")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", help="a module below pipeline/pithline, such as plan/execute/shop.py")
    parser.add_argument("--near", action="store_true", help="run only the tests that import the changed module")
    parser.add_argument("--tests", nargs="*", default=TESTS, help="patterns of the tests that are run")
    args = parser.parse_args()
    modules = (
        [PACKAGE / args.only]
        if args.only
        else sorted(path for room in ROOMS for path in (PACKAGE / room).rglob("*.py"))
    )
    every = [place for module in modules for place in places_of(module)]
    drawn = random.Random(args.seed).sample(every, min(args.count, len(every)))
    chosen = [mutant_at(*place) for place in drawn]
    tests = [str(path.relative_to(REPO)) for pattern in args.tests for path in sorted(REPO.glob(pattern))]
    survived = []
    with package_copy() as folder:
        for number, mutant in enumerate(sorted(chosen, key=str), 1):
            began = time.monotonic()
            near = near_tests(mutant.module)
            by = noticed(mutant, folder, near if args.near else [*near, *(one for one in tests if one not in near)])
            survived += [mutant] if by is None else []
            print(
                f"{number}/{len(chosen)} {time.monotonic() - began:4.0f} s  {mutant}\n    {by or 'NOTICED BY NONE'}",
                flush=True,
            )
    print(f"\n{len(chosen) - len(survived)} of {len(chosen)} faults noticed ({len(every)} possible). Not noticed:")
    for mutant in survived:
        print(f"  {mutant}")


if __name__ == "__main__":
    main()
