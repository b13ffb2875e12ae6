"""Bad input through the command: one line that says what, where and what to do; status 2; nothing written."""

import re
from dataclasses import replace

import numpy as np
import pytest

from pithline.cli.main import main
from pithline.plan import api
from refusals import CARD, Case, mill_with, products_with, refused
from truth.logs import Stub, TrueLog
from truth.scans import card_text, girth, simulate_scan

LOG = TrueLog("w", 1000.0, 150.0)
STUBBED = TrueLog("w", 1000.0, 150.0, stubs=(Stub(480.0, 0.6, 45.0, 60.0),))


@pytest.fixture(scope="module")
def scan():
    return simulate_scan(LOG, 1, points=15_000)


@pytest.fixture(scope="module")
def stubbed():
    return simulate_scan(STUBBED, 2, points=30_000)


QUICK = {
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
        "w.ply: no log was found in the scan: the likeliest thing in it is ",
    ),
    "bare ground is no log": (
        Case(files={"w.ply": np.random.default_rng(3).uniform(-1, 1, (6000, 3)) * [2, 2, 0.004]}),
        "w.ply: ",
    ),
    "the unit is wrong": (
        Case(
            CARD + 'scan_units = "ft"\n',
            {"w.ply": np.random.default_rng(4).uniform(0, 1, (4000, 3)) * [2500.0, 400, 400]},
        ),
        'w.ply: the scan spans 745 m, which is no log: the scan is likely in mm; put scan_units = "mm" on the card',
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
    assert message in refused(case, tmp_path, capsys)


def test_no_card(tmp_path, capsys):
    card = tmp_path / "none.toml"
    assert main(["plan", str(card), "--out", str(tmp_path / "plan")]) == 2
    assert capsys.readouterr().err == f"error: {card}: there is no such file; check the name and the folder.\n"
    assert list(tmp_path.iterdir()) == []


def placed(scan, **more):
    """A card whose pith is marked in the scan, with more lines by table."""
    return card_text(LOG, scan, "w.ply", **more)


def mark(point):
    return "{ xyz = [" + ", ".join(f"{v:.6f}" for v in point) + "] }"


def test_two_logs(scan, tmp_path, capsys):
    bare = simulate_scan(LOG, 3, points=8_000, ground=False, clutter=False, bearers=False).points
    line = refused(Case(files={"w.ply": np.concatenate([bare, bare + np.array([1.2, 1.2, 0.0])])}), tmp_path, capsys)
    assert re.match(r"w\.ply: the scan shows 2 logs \(.* mm thick, .* mm thick\); choose one with --pick N", line)


def test_pith_outside_the_wood(scan, tmp_path, capsys):
    out = scan.pith_butt + scan.truth_to_scan[:3, :3] @ [0.0, 0.0, 165.0]
    card = placed(scan).replace(mark(scan.pith_butt), mark(out))
    assert mark(out) in card
    line = refused(Case(card, {"w.ply": scan.points}), tmp_path, capsys)
    found = re.fullmatch(r"w\.toml: pith\.butt lies (\d+) mm outside the wood of the butt end; mark it again\.", line)
    assert found and abs(int(found[1]) - 11) <= 6  # 165 mm off the middle, and 154 mm of wood at the butt


def test_bark_thicker_than_the_log(scan, tmp_path, capsys):
    card = placed(scan).replace(f'thickness = "{LOG.bark:.1f} mm"', 'thickness = "20 cm"')
    line = refused(Case(card, {"w.ply": scan.points}), tmp_path, capsys)
    assert re.match(r"w\.toml: bark\.thickness is 200 mm but the log's radius only 1[56]\d mm; correct it\.", line)


@pytest.mark.parametrize(
    ("key", "taped", "fitted"), [("length", 1080.0, 1000.0), ("girth_butt", 950.0, girth(LOG, 100.0))]
)
def test_tape_contradicts_the_scan(scan, tmp_path, capsys, key, taped, fitted):
    card = placed(scan, tape=f'{key} = "{taped:g} mm"')
    line = refused(Case(card, {"w.ply": scan.points}), tmp_path, capsys)
    found = re.fullmatch(
        rf"w\.toml: tape\.{key} is {taped:.0f} mm but the scan gives (\d+) mm \(([+-][\d.]+) %\); measure again, or "
        r"check scan_units and the scan's scale\.",
        line,
    )
    assert found and abs(float(found[1]) - fitted) < 12.0
    assert float(found[2]) == pytest.approx(100 * (fitted / taped - 1), abs=1.5)


def test_a_defect_beyond_the_log(scan, tmp_path, capsys):
    card = placed(scan) + '\n[[defect]]\nkind = "knot"\nx = "1.4 m"\nclock_deg = 90\ndiameter = "40 mm"\n'
    line = refused(Case(card, {"w.ply": scan.points}), tmp_path, capsys)
    assert re.fullmatch(
        r"w\.toml: defect 1 \(knot\) has x 1400 mm but the log is (99\d|100\d) mm long; measure it again from the butt\.",
        line,
    )


def test_parts_longer_than_the_log(scan, tmp_path, capsys):
    products = products_with(length='"1200 mm"')
    case = Case(placed(scan), {"w.ply": scan.points, "p.toml": products}, ("--products", "HERE/p.toml"))
    line = refused(case, tmp_path, capsys)
    found = re.fullmatch(
        r"w: no part fits: the longest clear length is (\d+) mm, the shortest part \(dreadnought guitar back\) needs "
        r"1200 mm; choose a shorter part or lessen the trims\.",
        line,
    )
    assert found and abs(int(found[1]) - (LOG.length - LOG.trim_butt - LOG.trim_top)) < 8


def test_a_pith_wider_than_the_log(scan, tmp_path, capsys):
    card = placed(scan).replace('radius = "15 mm"', 'radius = "15 in"')
    line = refused(Case(card, {"w.ply": scan.points}), tmp_path, capsys)
    assert re.fullmatch(
        r"w: the pith's radius on the card, 381 mm, leaves nothing of a log whose wood reaches 1[56]\d mm from the pith; "
        r"correct it\.",
        line,
    )


def test_trims_that_leave_nothing(scan, tmp_path, capsys):
    card = placed(scan).replace('trim_butt = "25 mm"', 'trim_butt = "2 m"')
    line = refused(Case(card, {"w.ply": scan.points}), tmp_path, capsys)
    assert re.fullmatch(
        r"w: the trims \(2000 and 25 mm\) leave nothing of a log (99\d|100\d) mm long; lessen them\.", line
    )


ONE_PRODUCT = """[limits.trade]
ring_angle_min_deg = 70
ring_angle_mean_deg = 78
runout_max_deg = 3
[[product]]
name = "ruler"
price = 0
demand = 3
[[product.part]]
name = "blank"
count = 1
length = "400 mm"
width = "60 mm"
thickness = "8 mm"
"""


@pytest.mark.parametrize(
    ("products", "arguments", "words"),
    [
        (
            ONE_PRODUCT.replace("demand = 3", "demand = 0"),
            (),
            "w: nothing is wanted of it, since every product has demand = 0; raise a demand.",
        ),
        (
            ONE_PRODUCT,
            ("--objective", "value"),
            "w: nothing wanted has a price, so no plan is of more value than another; add prices.",
        ),
    ],
)
def test_nothing_wanted(scan, tmp_path, capsys, products, arguments, words):
    case = Case(placed(scan), {"w.ply": scan.points, "p.toml": products}, ("--products", "HERE/p.toml", *arguments))
    assert refused(case, tmp_path, capsys) == words


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (
            {"log_length_max": '"0.9 m"'},
            r"w: it is (\d+) mm long, the longest log the mill takes is 900 mm; crosscut (\d+) mm off or name",
        ),
        (
            {"log_length_min": '"1.2 m"'},
            r"w: it is (\d+) mm long, the shortest log the mill takes is 1200 mm, (\d+) mm more; name another mill",
        ),
        (
            {"log_diameter_max": '"300 mm"'},
            r"w: it is (\d+) mm across with its bark, \d+ mm from the butt; the largest log the mill takes is 300 mm, "
            r"(\d+) mm less; name a larger mill",
        ),
    ],
)
def test_a_log_the_mill_cannot_hold(scan, tmp_path, capsys, changes, words):
    files = {"w.ply": scan.points, "m.toml": mill_with(**changes)}
    line = refused(Case(placed(scan), files, ("--mill", "HERE/m.toml")), tmp_path, capsys)
    found = re.match(words, line)
    limit = {"log_length_max": 900, "log_length_min": 1200, "log_diameter_max": 300}[next(iter(changes))]
    truth = 2 * (LOG.radius + LOG.bark) + 4 if "log_diameter_max" in changes else LOG.length
    assert found and abs(int(found[1]) - truth) < 12
    assert abs(abs(int(found[1]) - limit) - int(found[2])) <= 1


def test_a_mill_that_can_make_no_cut_says_which_limit(scan, tmp_path, capsys, monkeypatch):
    coarser = replace(api.COARSE, rolls=4, along_step=50.0, firsts=1)
    monkeypatch.setattr(api, "EFFORTS", {"coarse": coarser})
    files = {
        "w.ply": scan.points,
        "m.toml": mill_with(guide_opening='"100 mm"'),
        "p.toml": ONE_PRODUCT.replace("demand = 3\n", ""),
    }
    arguments = ("--mill", "HERE/m.toml", "--products", "HERE/p.toml")
    line = refused(Case(placed(scan), files, arguments), tmp_path, capsys)
    assert re.fullmatch(
        r"w: no layout that this mill can hold gives a passing plate \(a log is left whole, since on the mill guide opening "
        r"would be 3\d\d mm where the limit is 100 mm\); name another mill or looser limits\.",
        line,
    )


def test_a_stub_is_to_blame(stubbed, tmp_path, capsys):
    files = {"w.ply": stubbed.points, "m.toml": mill_with(log_diameter_max='"350 mm"')}
    line = refused(Case(placed(stubbed), files, ("--mill", "HERE/m.toml")), tmp_path, capsys)
    found = re.match(
        r"w: it is (\d+) mm across with its bark, (\d+) mm from the butt; the largest log the mill takes is 350 mm, "
        r"(\d+) mm less; a stub or swelling near clock angle (\d+)° is to blame: trim it flush",
        line,
    )
    stub = STUBBED.stubs[0]
    assert found and abs(int(found[1]) - (2 * (LOG.radius + LOG.bark) + stub.height)) < 20
    assert abs(int(found[2]) - stub.x) < stub.base
    assert abs(int(found[4]) - np.degrees(stub.clock)) < 10
