"""Log cards: what they may say, and the message for everything they may not."""

import math

import pytest

from pithline.errors import InputError
from pithline.files.cards import card_as_read, card_from, read_card, scan_path
from pithline.logmodel.card import ArmsMark, Defect, LengthInScan, ScanPoint, TapeMark

LOG = '[log]\nid = "w"\nspecies = "black walnut"\nscan = "w.ply"\n'


def written(folder, text):
    path = folder / "w.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_whole_card(tmp_path):
    card = read_card(
        written(
            tmp_path,
            """
[log]
id = "walnut-07"
species = "black walnut"
scan = "walnut-07.ply"
scan_units = "cm"
up = "-y"
butt = "max"
felled = 2026-03-01
cost = 450
reference = { length = "1 m", in_scan = 0.412 }
[ends]
trim_butt = "2 in"
trim_top = "50 mm"
twelve_butt = { xyz = [0.1, 0.2, 0.3] }
twelve_top = { xyz = [1, 2, 3] }
[bark]
thickness = "15 mm"
[sapwood]
thickness = "35 mm"
[grain]
spiral_deg = -2
[tape]
length = "8 ft 3 in"
girth_butt = "2.1 m"
[pith]
radius = "15 mm"
error = "3 mm"
butt = { up = "12 in", left = "300 mm" }
top = { from_left = "30 cm", from_top = "28 cm" }
[[defect]]
kind = "knot"
x = "0.8 m"
clock_deg = 90
diameter = "2 in"
margin = "10 mm"
[[defect]]
kind = "check"
end = "butt"
clock_deg = 200
length = "80 mm"
depth = "40 mm"
""",
        )
    )
    assert card.scan_units == "cm" and card.up == "-y" and card.butt == "max" and card.felled == "2026-03-01"
    assert card.reference == LengthInScan(1000.0, 0.412) and card.cost == 450.0
    assert card.trim_butt == 50.8 and card.twelve_top == ScanPoint((1.0, 2.0, 3.0))
    assert card.spiral == pytest.approx(math.radians(-2)) and card.tape_length == pytest.approx(2514.6)
    assert card.pith_butt == ArmsMark(up=304.8, left=300.0)
    assert card.pith_top == TapeMark(from_left=300.0, from_top=280.0)
    assert card.defects[0] == Defect("knot", x=800.0, clock=math.pi / 2, diameter=50.8, margin=10.0)
    assert card.defects[1].end == "butt" and card.defects[1].depth == 40.0


def test_what_was_read_makes_the_same_card_again(tmp_path):
    path = written(tmp_path, LOG + "[pith]\nbutt = { xyz = [0.1, 0.2, 0.3] }\n[grain]\nspiral_deg = 3.0\n")
    values = card_as_read(path)
    assert values["pith"]["butt"] == {"xyz": [0.1, 0.2, 0.3]}
    assert card_from(values) == read_card(path)


def test_scan_beside_the_card(tmp_path):
    path = written(tmp_path, LOG)
    with pytest.raises(InputError, match=r'scan is "w\.ply", and there is no file'):
        scan_path(path, read_card(path))
    (tmp_path / "w.ply").write_text("ply")
    assert scan_path(path, read_card(path)) == tmp_path / "w.ply"
    bare = written(tmp_path, '[log]\nid = "w"\nspecies = "black walnut"\n')
    with pytest.raises(InputError, match="names no scan"):
        scan_path(bare, read_card(bare))


BAD = [
    ("", 'the file needs the table "log"; add it.'),
    ('[log]\nid = "w"', '[log] needs the key "species"; add it.'),
    (
        LOG + "scn = 1",
        '[log] has no key "scn"; did you mean "scan"? Known keys: id, species, scan, scan_units, up, '
        "butt, felled, cost, grown, reference.",
    ),
    (LOG + "[pith]\nbott = 1", '[pith] has no key "bott"; did you mean "butt"? Known keys: radius, butt, top, error.'),
    (
        LOG + "[pth]\nbutt = 1",
        'the file has no table "pth"; did you mean "pith"? Known tables: log, ends, bark, '
        "sapwood, grain, tape, pith, defect, figure.",
    ),
    (
        LOG + "[bark]\nthickness = 12",
        '[bark] thickness is 12 without a unit; write it as text, such as thickness = "12 mm".',
    ),
    (LOG + '[bark]\nthickness = "-2 mm"', '[bark] thickness is "-2 mm"; it must be at least 0 mm.'),
    (LOG + 'up = "z"', '[log] up is "z"; known values: +x, -x, +y, -y, +z, -z.'),
    (LOG + 'scan_units = "yd"', '[log] scan_units is "yd"; known values: m, cm, mm, in, ft, tape.'),
    (LOG + 'scan_units = "tape"', '[log] scan_units is "tape", so [tape] needs length;'),
    (LOG + "cost = -3", "[log] cost is -3; it must be at least 0."),
    (LOG + 'cost = "3 EUR"', "[log] cost must be a bare amount of money, without quotation marks or unit."),
    (LOG + "cost = nan", "[log] cost is nan; it must be finite."),
    (LOG + 'felled = "spring"', '[log] felled is "spring", which is no day; write year-month-day, such as 2026-11-05.'),
    (
        LOG + 'reference = { length = "1 m" }',
        '[log] reference must have both parts, such as reference = { length = "1 m", in_scan = 0.412 }.',
    ),
    (LOG + 'bark = "10 mm"', '[log] has no key "bark"; known keys: id, species,'),
    ("bark = 3\n" + LOG, "bark must be a table; write [bark] above its keys."),
    (
        LOG + "[ends]\ntwelve_butt = { xyz = [1, 2, 3] }",
        "[ends] has twelve_butt but not twelve_top; the 12 o'clock line needs a point on each end.",
    ),
    (LOG + "[pith]\nbutt = { xyz = [1, 2] }", "[pith] butt xyz has 2 values; it needs at least 3."),
    (LOG + "[pith]\nbutt = { xyz = [1, 2, inf] }", "[pith] butt xyz is inf; it must be finite."),
    (
        LOG + '[pith]\nbutt = { up = "10 mm" }',
        "[pith] butt has one arm only; measure two or more of up, right, down and left.",
    ),
    (
        LOG + '[pith]\nbutt = { from_left = "10 mm" }',
        "[pith] butt lacks from_top; a mark by tape has both from_left and from_top.",
    ),
    (LOG + '[pith]\nbutt = { from_left = "10 mm", up = "10 mm" }', '[pith] butt cannot have "from_left" here'),
    (LOG + "[pith]\nbutt = 3", "[pith] butt must be a mark:"),
    (LOG + "[grain]\nspiral_deg = 60", "[grain] spiral_deg is 60; it must be at most 45."),
    (
        LOG + '[grain]\nspiral_deg = "2 deg"',
        "[grain] spiral_deg must be a bare angle in degrees, without quotation marks or unit.",
    ),
    (LOG + '[defect]\nkind = "knot"', "[defect] must be written [[defect]], once for each."),
    (
        LOG + '[[defect]]\nkind = "not"',
        '[defect 1] kind is "not"; did you mean "knot"? Known values: knot, check, metal, rot.',
    ),
    (LOG + '[[defect]]\nkind = "knot"\nx = "1 m"\nclock_deg = 0', "[defect 1] a knot needs diameter; add it."),
    (
        LOG + '[[defect]]\nkind = "rot"\nend = "top"\ndiameter = "1 cm"\nlength = "1 m"\nx = "1 m"',
        "[defect 1] a rot has no x; it is told by end, diameter, length.",
    ),
    ("[log\n", "not readable as TOML:"),
]


@pytest.mark.parametrize(("text", "message"), BAD)
def test_bad_cards(tmp_path, text, message):
    path = written(tmp_path, text)
    with pytest.raises(InputError) as caught:
        read_card(path)
    assert str(caught.value).startswith(f"{path}: {message}")


def test_first_fault_in_file_order_and_how_many_follow(tmp_path):
    path = written(tmp_path, LOG + '[pith]\nradius = 3\n[ends]\ntrim_butt = "x"\ntrim_tip = "2 mm"\n')
    with pytest.raises(InputError, match=r"\[pith\] radius is 3 .* \(2 more faults in this file\.\)"):
        read_card(path)


def test_files_that_cannot_be_read(tmp_path):
    with pytest.raises(InputError, match="there is no such file"):
        read_card(tmp_path / "none.toml")
    with pytest.raises(InputError, match="is a folder"):
        read_card(tmp_path)
    (tmp_path / "latin.toml").write_bytes(b'[log]\nid = "\xe4"\n')
    with pytest.raises(InputError, match="not UTF-8"):
        read_card(tmp_path / "latin.toml")
