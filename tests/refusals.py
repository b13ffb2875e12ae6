"""Input that a command must refuse: what stands in the folder, and the one line it answers with."""

import re
from dataclasses import dataclass, field

import numpy as np

from pithline.cli.main import main
from pithline.files.bundled import bundled
from truth.scans import write_binary_ply

CARD = '[log]\nid = "w"\nspecies = "black walnut"\nscan = "w.ply"\nup = "+z"\n'


@dataclass
class Case:
    """One mistake: the card's text, files beside it, and further arguments of `plan`."""

    card: str = CARD
    files: dict = field(default_factory=dict)
    arguments: tuple = ()


def mill_with(**changes):
    text = bundled("mills/portable.toml").read_text(encoding="utf-8")
    for key, value in changes.items():
        text, found = re.subn(rf"(?m)^{key} = [^\n#]*", f"{key} = {value} ", text, count=1)
        assert found
    return text


def products_with(**changes):
    text = bundled("products/guitar.toml").read_text(encoding="utf-8")
    for key, value in changes.items():
        text, found = re.subn(rf"(?m)^{key} = [^\n#]*", f"{key} = {value} ", text)
        assert found
    return text


def said_last(err):
    """The lines of stderr without those that tell how far the work is."""
    return [line for line in err.splitlines() if not re.match(r"preparing, once| *\d+%  ", line)]


def refused(case, folder, capsys, command="plan"):
    """The one line that `plan` answers a case with; all else about a refusal is asserted here."""
    (folder / "w.toml").write_text(case.card, encoding="utf-8")
    for name, content in case.files.items():
        if isinstance(content, np.ndarray):
            write_binary_ply(folder / name, content)
        else:
            (folder / name).write_bytes(content if isinstance(content, bytes) else content.encode())
    before = {path: path.read_bytes() for path in folder.iterdir()}
    arguments = [one.replace("HERE", str(folder)) for one in case.arguments]
    effort = ["--effort", "coarse"] if command == "plan" else []
    status = main([command, str(folder / "w.toml"), "--out", str(folder / "plan"), *effort, *arguments])
    told = capsys.readouterr()
    assert status == 2
    assert told.out == ""
    lines = said_last(told.err)
    assert len(lines) == 1 and lines[0].startswith("error: ") and len(lines[0]) < 1000
    assert lines[0].endswith((".", ".)", "--help")) and "Traceback" not in lines[0]
    assert {path: path.read_bytes() for path in folder.iterdir()} == before
    return lines[0].removeprefix("error: ").replace(f"{folder}/", "")
