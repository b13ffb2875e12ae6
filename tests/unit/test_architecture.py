"""The import arrows: a package imports only packages further in, and a few rules of their own."""

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

import pithline

ROOT = Path(pithline.__file__).resolve().parent
INNER_TO_OUTER = (
    "errors",
    "units",
    "keys",
    "geometry",
    "trade",
    "pith",
    "scan",
    "logmodel",
    "wood",
    "mill",
    "plan",
    "script",
    "outputs",
    "files",
    "yard",
    "library",
    "shed",
    "cli",
)
MODULES = sorted(path for path in ROOT.rglob("*.py") if path != ROOT / "__init__.py")


def owner(path: Path) -> str:
    """The package (or top module) a file belongs to."""
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


@cache
def nodes_of(path: Path) -> tuple[ast.AST, ...]:
    """Everything in a file, read once for all tests."""
    return tuple(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))


@cache
def imported(path: Path) -> frozenset[str]:
    """Every module of pithline that a file imports, wherever in the file it does so."""
    found = set()
    for node in nodes_of(path):
        if isinstance(node, ast.ImportFrom) and node.module and not node.level:
            found |= {node.module, *(f"{node.module}.{one.name}" for one in node.names)}
        elif isinstance(node, ast.Import):
            found |= {one.name for one in node.names}
        else:
            assert not (isinstance(node, ast.ImportFrom) and node.level), f"{path}: imports are written in full"
    return frozenset(name for name in found if name.split(".")[0] == "pithline" and "." in name)


def packages(path: Path) -> set[str]:
    return {name.split(".")[1] for name in imported(path)} & set(INNER_TO_OUTER)


def test_every_package_has_its_place():
    assert {owner(path) for path in MODULES} <= set(INNER_TO_OUTER)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_imports_point_inwards(path):
    place = INNER_TO_OUTER.index(owner(path))
    outward = {name for name in packages(path) if INNER_TO_OUTER.index(name) > place}
    assert not outward, f"{path.relative_to(ROOT)} imports {sorted(outward)}, which lie further out"


def test_the_planner_has_one_face():
    """Outside `plan/` nothing of it is imported but `plan.api`, and that lists what it gives."""
    from pithline.plan import api

    for path in MODULES:
        if owner(path) != "plan":
            behind = {name for name in imported(path) if name.startswith("pithline.plan.")}
            names = {name for name in behind if not name.startswith("pithline.plan.api")}
            assert not names, f"{path.relative_to(ROOT)} imports {sorted(names)} from behind plan/api.py"
    assert all(hasattr(api, name) for name in api.__all__)


PLAN_ROOMS = (
    "problem",
    "programmes",
    "pricing",
    "columns",
    "execute",
    "crosscut_search",
    "class_choice",
    "class_answers",
    "looked_layouts",
    "search_stated",
    "search",
    "priced_logs",
    "evaluate",
    "what_if",
    "replan",
    "api",
)
"""Inner to outer; each imports only rooms before it."""


@pytest.mark.parametrize("path", sorted((ROOT / "plan").rglob("*.py")), ids=lambda path: str(path.relative_to(ROOT)))
def test_the_planners_rooms_import_inwards(path):
    if path.name == "__init__.py":
        return
    place = PLAN_ROOMS.index(path.relative_to(ROOT / "plan").parts[0].removesuffix(".py"))
    rooms = {name.split(".")[2] for name in imported(path) if name.startswith("pithline.plan.")}
    outward = {room for room in rooms & set(PLAN_ROOMS) if PLAN_ROOMS.index(room) > place}
    assert not outward, f"{path.relative_to(ROOT)} imports {sorted(outward)}, which lie further out"


def test_outputs_read_the_script_never_the_plan():
    for path in (ROOT / "outputs").rglob("*.py"):
        assert "plan" not in packages(path), path


def test_only_yard_library_and_cli_read_files():
    for path in MODULES:
        assert "files" not in packages(path) or owner(path) in {"files", "yard", "library", "shed", "cli"}, path


def test_replay_proves_the_plan_without_it():
    """Neither the replay nor anything of pithline it imports, however far down, is the planner."""
    seen, waiting = set(), sorted((ROOT / "script").glob("replay*.py"))
    while waiting:
        path = waiting.pop()
        if path in seen:
            continue
        seen.add(path)
        assert owner(path) != "plan", f"the replay reaches {path.relative_to(ROOT)}"
        for name in imported(path):
            inner = ROOT.joinpath(*name.split(".")[1:])
            waiting += [one for one in (inner.with_suffix(".py"), inner / "__init__.py") if one.is_file()]


def test_only_the_console_prints():
    for path in MODULES:
        if path.relative_to(ROOT).as_posix() == "cli/console.py":
            continue
        names = {node.id for node in nodes_of(path) if isinstance(node, ast.Name)}
        assert "print" not in names, path


def test_only_one_place_imports_open3d():
    for path in MODULES:
        lines = path.read_text(encoding="utf-8").splitlines()
        found = [line for line in lines if line.strip().startswith(("import open3d", "from open3d"))]
        assert len(found) == (1 if path.name == "_open3d.py" else 0), path


LET_OFF = {
    "_kept_shares": "PLR0913",
    "run_slabs": "PLR0913",
    "places_ahead": "PLR0913",
    "begin_cell": "PLR0913",
    "stack_up": "PLR0913",
    "stack_down": "PLR0913",
    "_cuts_ahead": "PLR0913",
    "best_fan": "C901, PLR0913",
    "_stack_values": "PLR0913",
    "_most_of_fan": "C901, PLR0913",
    "_add_layer": "PLR0913",
    "_longest_rows": "PLR0913",
    "_slabs_at": "C901",
    "best_fill": "C901, PLR0913",
    "best_fills": "PLR0913",
    "read_point": "PLR0913",
    "_read_run": "PLR0913",
}
"""Kernels, compiled by numba, that are more branched (15) or take more arguments (6) than any other function may."""


def test_only_kernels_are_let_off_the_limits_of_a_function():
    found = {}
    for path in MODULES:
        lines = path.read_text(encoding="utf-8").splitlines()
        for node in nodes_of(path):
            if isinstance(node, ast.FunctionDef) and "noqa" in lines[node.lineno - 1]:
                compiled = any("njit" in ast.unparse(one) for one in node.decorator_list)
                assert compiled, f"{path.relative_to(ROOT)}: {node.name} is no kernel"
                found[node.name] = lines[node.lineno - 1].partition("# noqa: ")[2].partition(" - ")[0]
    assert found == LET_OFF


MANY = 5
"""A public function with so many parameters describes every one of them."""


def public_functions(body: list[ast.stmt], within: str = "") -> Iterator[tuple[str, ast.FunctionDef]]:
    """Functions and methods that others may call, kernels apart: what those take is described once, at their tables."""
    for node in body:
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            yield from public_functions(node.body, f"{node.name}.")
        elif (
            isinstance(node, ast.FunctionDef)
            and not node.name.startswith("_")
            and not any("njit" in ast.unparse(one) for one in node.decorator_list)
        ):
            yield within + node.name, node


def parameters_of(node: ast.FunctionDef) -> list[str]:
    """Names of a function's parameters, its object's apart."""
    every = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
    return [one.arg for one in every if one.arg not in ("self", "cls")]


def described(node: ast.FunctionDef) -> set[str]:
    """Names under "Parameters" in a function's docstring, each with a type or shape."""
    section = re.search(r"\nParameters\n-+\n(.*?)(\n\n\w+\n-+\n|$)", ast.get_docstring(node) or "", re.S)
    rows = re.findall(r"^(\w[\w*, ]*?) : \S.*$", section[1], re.M) if section else []
    return {name.strip() for row in rows for name in row.split(",")}


def test_functions_of_many_parameters_describe_each():
    wanting, many = set(), 0
    for path in MODULES:
        tree = next(node for node in nodes_of(path) if isinstance(node, ast.Module))
        for name, node in public_functions(tree.body):
            names = parameters_of(node)
            if len(names) >= MANY:
                many += 1
                if not set(names) <= described(node):
                    wanting.add(f"{path.relative_to(ROOT).as_posix()}: {name}")
    assert many > 50
    assert not wanting


def test_no_two_classes_have_one_name():
    """Whoever looks a name up finds the one thing that it means."""
    where: dict[str, list[str]] = {}
    for path in MODULES:
        tree = next(node for node in nodes_of(path) if isinstance(node, ast.Module))
        for node in tree.body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                where.setdefault(node.name, []).append(path.relative_to(ROOT).as_posix())
    assert len(where) > 200
    assert {name: paths for name, paths in where.items() if len(paths) > 1} == {}
