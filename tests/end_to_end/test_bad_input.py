"""Bad input through the command: one line that says what, where and what to do; status 2; nothing written."""

import re
from dataclasses import dataclass, field

import numpy as np
import pytest

from pithline.cli.main import main
from pithline.files.bundled import bundled
from truth.logs import Stub, TrueLog
from truth.scans import card_text, simulate_scan, write_binary_ply

LOG = TrueLog("w", 1000.0, 150.0)
STUBBED = TrueLog("w", 1000.0, 150.0, stubs=(Stub(480.0, 0.6, 45.0, 60.0),))
CARD = '[log]\nid = "w"\nspecies = "black walnut"\nscan = "w.ply"\nup = "+z"\n'


@pytest.fixture(scope="module")
def scan():
    return simulate_scan(LOG, 1, points=15_000)


@pytest.fixture(scope="module")
def stubbed():
    return simulate_scan(STUBBED, 2, points=30_000)


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
    lines = [line for line in told.err.splitlines() if not line.startswith("preparing, once")]
    assert len(lines) == 1 and lines[0].startswith("error: ") and len(lines[0]) < 1000
    assert lines[0].endswith((".", ".)", "--help")) and "Traceback" not in lines[0]
    assert {path: path.read_bytes() for path in folder.iterdir()} == before
    return lines[0].removeprefix("error: ").replace(f"{folder}/", "")


QUICK = {
    "no card": (Case(arguments=()), "none.toml: there is no such file; check the name and the folder."),
    "no scan": (Case(), 'w.toml: [log] scan is "w.ply", and there is no file w.ply; mend the path.'),
    "a name no file can have": (
        Case(CARD.replace("w.ply", "w" * 300 + ".ply")),
        'w.toml: [log] scan is "www',
    ),
    "no scan named": (Case(CARD.replace('scan = "w.ply"\n', "")), "w.toml: [log] names no scan; add scan ="),
    "unknown format": (
        Case(CARD.replace("w.ply", "w.abc"), {"w.abc": b"points"}),
        'w.abc: "abc" is no known scan format; known: asc, csv,',
    ),
    "empty scan": (Case(files={"w.ply": b""}), "w.ply is empty; export the scan again."),
    "not what its name says": (Case(files={"w.ply": b"\x00\x01\x02" * 50}), "w.ply cannot be read as PLY: "),
    "cut short": (
        Case(files={"w.ply": b"ply\nformat binary_little_endian 1.0\nelement vertex 9\nproperty float x\n"}),
        "w.ply cannot be read as PLY: ",
    ),
    "broken mesh": (
        Case(CARD.replace("w.ply", "w.glb"), {"w.glb": b"glTF nothing more"}),
        "w.glb cannot be read as GLB: ",
    ),
    "broken LAS": (Case(CARD.replace("w.ply", "w.las"), {"w.las": b"LASF"}), "w.las cannot be read as LAS: "),
    "text without numbers": (
        Case(CARD.replace("w.ply", "w.xyz"), {"w.xyz": "a walnut\n"}),
        "w.xyz cannot be read as XYZ: no line of it holds three numbers; export the scan again.",
    ),
    "two scans in a zip": (
        Case(CARD.replace("w.ply", "w.zip"), {"w.zip": b"PK nothing"}),
        "w.zip cannot be read as ZIP: ",
    ),
    "too few points": (
        Case(files={"w.ply": np.random.default_rng(1).uniform(0, 1, (200, 3))}),
        "w.ply: the scan holds only 200 points; a log needs some thousands: scan it again.",
    ),
    "points not finite": (
        Case(files={"w.ply": np.array([[0.0, 0, 0], [np.nan, 0, 0], [1, np.inf, 0], [1, 1, 1]])}),
        "w.ply: 2 of 4 points are not finite, first at row 2; delete them or export the scan again.",
    ),
    "a box is no log": (
        Case(files={"w.ply": np.random.default_rng(2).uniform(-1, 1, (6000, 3))}),
        "w.ply: no log was found in the scan: nothing in it is long and round enough.",
    ),
    "bare ground is no log": (
        Case(files={"w.ply": np.random.default_rng(3).uniform(-1, 1, (6000, 3)) * [2, 2, 0.004]}),
        "w.ply: ",
    ),
    "the unit is wrong": (
        Case(
            CARD + 'scan_units = "ft"\n',
            {"w.ply": np.random.default_rng(4).uniform(0, 1, (4000, 3)) * [1000.0, 150, 150]},
        ),
        'w.ply: the scan spans 299 m, which is no log: the scan is likely in mm; put scan_units = "mm" on the card',
    ),
    "misspelt key": (
        Case(CARD.replace("species", "spieces")),
        'w.toml: [log] has no key "spieces"; did you mean "species"? Known keys: id, species, scan, scan_units,',
    ),
    "misspelt table": (
        Case(CARD + '[bakr]\nthickness = "9 mm"\n'),
        'w.toml: the file has no table "bakr"; did you mean "bark"? Known tables: log, ends, bark,',
    ),
    "misspelt species": (
        Case(CARD.replace("black walnut", "black wallnut"), {"w.ply": np.zeros((1, 3))}),
        'w.toml: [log] species "black wallnut" is not known; did you mean "black walnut"? Known are: ',
    ),
    "bare number": (
        Case(CARD + "[bark]\nthickness = 9\n"),
        'w.toml: [bark] thickness is 9 without a unit; write it as text, such as thickness = "9 mm".',
    ),
    "a unit of nothing": (
        Case(CARD + '[bark]\nthickness = "9 barleycorns"\n'),
        'w.toml: [bark] thickness is "9 barleycorns": "barleycorns" is no unit of length; known: mm, cm, m,',
    ),
    "endless length": (
        Case(CARD + '[bark]\nthickness = "1e999 mm"\n'),
        'w.toml: [bark] thickness is "1e999 mm", which is not finite; write it as',
    ),
    "a number of 400 digits": (Case(CARD + f"cost = 1{'0' * 400}\n"), "w.toml: [log] cost is a number of 401 digits"),
    "a number of 5000 digits": (Case(CARD + f"cost = 1{'0' * 5000}\n"), "w.toml: a number has thousands of digits"),
    "a length of 400 digits": (
        Case(CARD + f"[bark]\nthickness = 1{'0' * 400}\n"),
        "w.toml: [bark] thickness is 1e+12 without a unit",
    ),
    "a fraction of 400 digits": (
        Case(CARD + f'[bark]\nthickness = "1{"0" * 400}/3 in"\n'),
        'w.toml: [bark] thickness is "1000',
    ),
    "brackets without end": (Case(CARD + f"cost = {'[' * 20_000}\n"), "w.toml: not readable as TOML: "),
    "not TOML": (Case("[log\n"), "w.toml: not readable as TOML: "),
    "misspelt key of the mill": (
        Case(files={"m.toml": mill_with().replace("throat", "throta")}, arguments=("--mill", "HERE/m.toml")),
        'm.toml: [mill] has no key "throta"; did you mean "throat"? Known keys: name, kerf,',
    ),
    "bare number of the mill": (
        Case(files={"m.toml": mill_with(kerf="2")}, arguments=("--mill", "HERE/m.toml")),
        'm.toml: [mill] kerf is 2 without a unit; write it as text, such as kerf = "2 mm".',
    ),
    "misspelt key of the products": (
        Case(files={"p.toml": products_with().replace("width", "witdh")}, arguments=("--products", "HERE/p.toml")),
        'p.toml: [product 1.part 1] has no key "witdh"; did you mean "width"? Known keys: name, count,',
    ),
    "bare number of the products": (
        Case(files={"p.toml": products_with(length="610")}, arguments=("--products", "HERE/p.toml")),
        'p.toml: [product 1.part 1] length is 610 without a unit; write it as text, such as length = "610 mm".',
    ),
    "more sets than anyone saws": (
        Case(files={"p.toml": products_with(demand=f"1{'0' * 30}")}, arguments=("--products", "HERE/p.toml")),
        "p.toml: [product 3] demand is more than a million; write a number that can be meant.",
    ),
    "no such mill file": (
        Case(arguments=("--mill", "HERE/none.toml")),
        "none.toml: there is no such file; check the name and the folder.",
    ),
    "no such products file": (
        Case(arguments=("--products", "HERE")),
        "is a folder; name a file in it.",
    ),
    "out is a file": (
        Case(arguments=("--out", "HERE/w.toml")),
        "w.toml is a file, so nothing can be written into w.toml; choose another --out folder.",
    ),
    "out lies in a file": (
        Case(arguments=("--out", "HERE/w.toml/plan")),
        "w.toml is a file, so nothing can be written into w.toml/plan; choose another --out folder.",
    ),
    "out is a name no folder can have": (
        Case(arguments=("--out", "HERE/" + "w" * 300)),
        "choose another --out folder.",
    ),
    "unknown objective": (Case(arguments=("--objective", "beauty")), "argument --objective: invalid choice: 'beauty'"),
    "unknown effort": (Case(arguments=("--effort", "much")), "argument --effort: invalid choice: 'much'"),
    "time limit no number": (
        Case(arguments=("--time-limit", "soon")),
        "argument --time-limit: soon must be a number of seconds more than 0, such as 60; see: pithline plan --help",
    ),
    "time limit of nothing": (Case(arguments=("--time-limit", "0")), "argument --time-limit: 0 must be a number of"),
    "time limit not a number": (Case(arguments=("--time-limit", "nan")), "argument --time-limit: "),
    "seed below nought": (
        Case(arguments=("--seed", "-1")),
        "argument --seed: ",
    ),
    "seed beyond every generator": (
        Case(arguments=("--seed", "99999999999")),
        "argument --seed: 99999999999 must be a whole number from 0 to 2147483647; see: pithline plan --help",
    ),
    "unknown option": (Case(arguments=("--mil", "HERE/m.toml", "--sede", "3")), "unrecognized arguments: --sede 3"),
}


@pytest.mark.parametrize("name", QUICK)
def test_refused_before_the_fit(name, tmp_path, capsys):
    case, message = QUICK[name]
    if name == "no card":
        assert main(["plan", str(tmp_path / "none.toml"), "--out", str(tmp_path / "plan")]) == 2
        told = capsys.readouterr()
        assert told.err == f"error: {tmp_path / 'none.toml'}: there is no such file; check the name and the folder.\n"
        assert list(tmp_path.iterdir()) == []
        return
    line = refused(case, tmp_path, capsys)
    assert message in line if message[0] not in "wmp" else line.startswith(message)
