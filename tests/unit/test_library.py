"""The face that `import pithline` gives: loaded late, documented, and without a trace on the environment."""

import ast
import inspect
import os
import subprocess
import sys
from pathlib import Path

import pytest

import pithline
from pithline import library
from pithline.cli.main import ENVIRONMENT, main

FUNCTIONS = [name for name in pithline.__all__ if inspect.isfunction(getattr(pithline, name))]


def test_importing_loads_no_heavy_library_and_leaves_the_environment_alone():
    heavy = ["numpy", "scipy", "numba", "ortools", "manifold3d", "matplotlib", "rich"]
    code = (
        "import os, sys; before = dict(os.environ); import pithline; dir(pithline); pithline.PithlineError; "
        f"assert dict(os.environ) == before; print([name for name in {heavy} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"


def test_commands_hold_the_numerical_libraries_to_what_serves(monkeypatch, capsys):
    monkeypatch.setattr(os, "environ", {"OPENBLAS_NUM_THREADS": "3"})
    assert main(["--version"]) == 0
    assert os.environ == {**ENVIRONMENT, "OPENBLAS_NUM_THREADS": "3"}


def test_every_name_is_there_and_no_other():
    assert len(pithline.__all__) == len(set(pithline.__all__))
    assert set(pithline.__all__) <= set(dir(pithline))
    with pytest.raises(AttributeError, match="no attribute 'plan_everything'"):
        _ = pithline.plan_everything


def test_what_type_checkers_see_is_what_is_given():
    tree = ast.parse(Path(pithline.__file__).read_text(encoding="utf-8"))
    seen = {alias.name for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) for alias in node.names}
    assert seen - {"import_module", "TYPE_CHECKING", "Any"} == set(pithline.__all__)
    functions = {name for name, value in vars(library).items() if inspect.isfunction(value)}
    assert functions - {"dataclass"} == set(FUNCTIONS)


@pytest.mark.parametrize("name", FUNCTIONS)
def test_every_function_tells_its_parameters(name):
    function = getattr(pithline, name)
    names = list(inspect.signature(function).parameters)
    words = inspect.getdoc(function)
    assert words is not None
    assert len(names) < 3 or all(parameter in words.partition("Parameters")[2] for parameter in names), names


def test_the_page_names_every_function():
    page = (Path(__file__).resolve().parents[2] / "docs/library.md").read_text(encoding="utf-8")
    assert not [name for name in FUNCTIONS if name not in page]
