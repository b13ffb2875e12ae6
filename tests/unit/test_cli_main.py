"""The command line: what it loads, lists and says when misused."""

import json
import subprocess
import sys

import pytest

from pithline.cli import main as command_line
from pithline.cli.main import COMMANDS, build_parser, installed, main

HEAVY = ("numpy", "scipy", "numba", "open3d", "ortools", "trimesh", "matplotlib", "reportlab", "rich", "jsonschema_rs")


def test_the_command_line_loads_nothing_heavy():
    program = (
        "import json, sys, pithline.cli.main as m; m.build_parser(['--help']); print(json.dumps(sorted(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    loaded = {name.split(".")[0] for name in json.loads(done.stdout)}
    assert not loaded & set(HEAVY)


def test_every_listed_command_can_be_asked_for_help(capsys):
    names = [one.name for one in installed()]
    assert "check" in names
    for name in names:
        with pytest.raises(SystemExit) as caught:
            build_parser([name]).parse_args([name, "--help"])
        assert caught.value.code == 0
        assert f"pithline {name}" in capsys.readouterr().out


def test_commands_that_are_not_there_are_not_listed(monkeypatch):
    monkeypatch.setattr(command_line, "COMMANDS", (*COMMANDS, command_line.Command("whittle", "Not there.")))
    assert "whittle" not in [one.name for one in installed()]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ([], "error: no command given; see: pithline --help\n"),
        (["whittle"], "error: argument COMMAND: invalid choice: 'whittle'"),
        (["check"], "error: the following arguments are required: CUT_SCRIPT; see: pithline check --help\n"),
        (["check", "none.json"], "error: none.json: there is no such file; check the name and the folder.\n"),
        (["check", "."], "error: . is a folder; name a file in it.\n"),
    ],
)
def test_misuse_is_one_line_and_status_2(capsys, tmp_path, monkeypatch, arguments, message):
    monkeypatch.chdir(tmp_path)
    assert main(arguments) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.startswith(message) and told.err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_a_defect_keeps_its_traceback_and_is_status_1(capsys, monkeypatch):
    def broken(arguments, console):
        raise RuntimeError("a saw without teeth")

    monkeypatch.setattr(command_line, "_run", broken)
    assert main(["plan"]) == 1
    told = capsys.readouterr().err
    assert "Traceback" in told and "a saw without teeth" in told and "fault in pithline itself" in told


def test_version(capsys):
    assert main(["--version"]) == 0
    assert capsys.readouterr().out.startswith("pithline ")
