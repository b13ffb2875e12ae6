"""The whole replay on a script written by hand: it holds, and every breach is found by its kind."""

import copy

import pytest

from pithline.script.grades import wood_of
from pithline.script.pieces import saw
from pithline.script.plates import plate_findings
from pithline.script.replay import piece_volumes, replay, sawing_of, volume_findings
from pithline.script.solid import vertices
from pithline.script.structure import structure_findings
from pithline.script.sums import sum_findings
from unit.scripts_by_hand import whole_script

SCRIPT = whole_script()


def changed(*changes):
    """The script with the values at these paths replaced."""
    document = copy.deepcopy(SCRIPT)
    for path, value in changes:
        at = document
        for key in path[:-1]:
            at = at[key]
        at[path[-1]] = value
    return document


CORNERS = {}
SAWN = saw(SCRIPT, lambda name, solid: CORNERS.__setitem__(name, vertices(solid)))


def named(findings):
    """The kinds among some findings, each of which says in a sentence what is wrong where."""
    for one in findings:
        assert one.place and len(one.sentence.split()) > 3 and "\n" not in one.sentence
    return {one.kind for one in findings}


def built_wrong(document):
    sawn = saw(document)
    return named([*sawn.findings, *structure_findings(document, sawn), *volume_findings(document, sawn)])


def plates_wrong(document):
    structure = [*structure_findings(document, SAWN), *plate_findings(document, SAWN, CORNERS, wood_of(document))]
    return named([*structure, *sum_findings(document, SAWN)])


def test_the_script_holds():
    report = replay(SCRIPT)
    assert report.holds and report.findings == ()
    assert report.volumes["p1"] == pytest.approx(800.0 * 200.0 * 5.0, rel=1e-4)
    used = {one.get("piece") for one in SCRIPT["operations"]}
    leaves = [one["id"] for one in SCRIPT["pieces"] if one["id"] not in used]
    wood = sum(report.volumes[name] for name in leaves)
    assert wood + report.kerf_volume == pytest.approx(report.log_volume, rel=1e-5)


def test_the_report_joins_what_every_part_finds():
    document = changed(
        (("pieces", 1, "volume"), 1.0e6), (("plates", 0, "runout"), 0.2), (("totals", "plates"), 7),
        (("operations", 0, "roll"), 2.5), (("inputs", "mill", "rip", "kerf"), 3.0), (("log", "length"), 1210.0),
    )  # fmt: skip
    report = replay(document)
    assert not report.holds
    assert named(report.findings) == {"piece-volume", "runout", "totals", "roll", "kerf", "log-model"}


def test_volumes_do_not_need_stated_ones():
    bare = {key: SCRIPT[key] for key in ("model", "operations")}
    assert piece_volumes(bare) == replay(SCRIPT).volumes


def test_a_sawing_that_is_at_hand_changes_nothing_of_what_is_found():
    bare = {key: copy.deepcopy(SCRIPT[key]) for key in ("model", "operations")}
    sawing = sawing_of(bare)
    assert sawing.is_of(SCRIPT) and replay(SCRIPT, sawing) == replay(SCRIPT)
    wrong = changed((("pieces", 1, "volume"), 1.0e6), (("plates", 0, "runout"), 0.2), (("operations", 0, "roll"), 2.5))
    assert sawing.is_of(wrong) and replay(wrong, sawing) == replay(wrong) and not replay(wrong, sawing).holds


def test_a_sawing_by_other_cuts_is_not_looked_at():
    sawing = sawing_of(SCRIPT)
    cut = next(i for i, one in enumerate(SCRIPT["operations"]) if one["op"] == "cut")
    posed = next(i for i, one in enumerate(SCRIPT["operations"]) if one["op"] == "setting")
    offset, kerf, x = (
        SCRIPT["operations"][cut]["offset"],
        SCRIPT["operations"][cut]["kerf"],
        SCRIPT["model"]["stations"][3]["x"],
    )
    for path, value in (
        (("operations", cut, "offset"), offset + 1e-5),
        (("operations", cut, "kerf"), kerf + 0.1),
        (("operations", cut, "normal"), [0.0, 0.6, 0.8]),
        (("operations", cut, "above"), "another"),
        (("operations", cut, "piece"), "another"),
        (("operations", posed, "piece"), "another"),
        (("model", "stations", 3, "x"), x + 0.01),
    ):
        other = changed((path, value))
        assert not sawing.is_of(other), path
    moved = changed((("operations", cut, "offset"), offset + 20.0))
    assert replay(moved, sawing) == replay(moved) and not replay(moved, sawing).holds


OP = {one["id"]: i for i, one in enumerate(SCRIPT["operations"])}
PIECE = {one["id"]: i for i, one in enumerate(SCRIPT["pieces"])}


def op(name, key):
    return ("operations", OP[name], key)


STRUCTURE = [
    ("id-twice", [(op("c8", "id"), "c7")]),
    ("id-twice", [(("pieces", 1, "mark"), "L2")]),
    ("piece-unknown", [(op("c5", "piece"), "b9")]),
    ("piece-used", [(op("c5", "piece"), "log")]),
    ("piece-twice", [(op("c5", "above"), "h1")]),
    ("piece-missing", [(op("c5", "above"), "o9")]),
    ("piece-never-made", [(op("c5", "above"), "o9")]),
    ("made-by", [(("pieces", PIECE["o3"], "made_by"), "c6")]),
    ("piece-kind", [(("pieces", PIECE["p1"], "kind"), "offcut")]),
    ("piece-kind", [(("pieces", PIECE["q1"], "kind"), "offcut")]),
    ("piece-kind", [(("pieces", PIECE["r1"], "kind"), "half")]),
    ("piece-volume", [(("pieces", PIECE["h1"], "volume"), 1.0e6)]),
    ("balance", [(("totals", "log_volume"), 2.0e8)]),
    ("cut-setting", [(op("c3", "setting"), "s1")]),
    ("cut-setting", [(op("c3", "tool"), "resaw")]),
    ("cut-normal", [(op("c3", "normal"), [0.0, 1.01, 0.0])]),
    ("cut-piece", [(op("c3", "piece"), "h1")]),
    ("stage", [(op("s2", "stage"), "dried")]),
    ("charged", [(op("s1", "charged"), False)]),
    ("charged", [(op("s4", "charged"), True)]),
    ("against", [(op("s3", "against"), None)]),
    ("against", [(op("s3", "against"), {"face": "c8", "angle_deg": 90.0})]),
    ("fence-angle", [(op("s3", "against"), {"face": "c1", "angle_deg": 89.0})]),
    ("log-model", [(("log", "length"), 1210.0)]),
    ("log-model", [(("log", "scan_to_log", 0, 3), 5.0)]),
]


@pytest.mark.parametrize(("kind", "changes"), STRUCTURE)
def test_a_breach_of_structure_is_found(kind, changes):
    assert kind in built_wrong(changed(*changes))


PRODUCT = ("inputs", "products")
CARD = ("inputs", "card")


def defect(**values):
    return [((*CARD, "defect"), [values])]


def plate(n, *key):
    return ("plates", n, *key)


PLATES = [
    ("plate-whole", [(plate(0, "edges", 0), [810.0, 0.0, 0.0]), (plate(0, "corner", 0), 195.0)]),
    ("plate-face", [(plate(0, "edges", 0), [810.0, 0.0, 0.0]), (plate(0, "corner", 0), 195.0)]),
    ("plate-face", [(plate(0, "edges", 2), [0.0, 0.0, 3.5])]),
    ("plate-box", [(plate(0, "edges", 2), [0.0, 0.0, 3.5])]),
    ("plate-box", [(plate(0, "edges", 1), [0.0, 200.0, 3.0])]),
    ("plate-box", [(plate(0, "edges", 1), [0.0, 0.0, 0.0])]),
    ("plate-unknown", [(plate(0, "id"), "p9")]),
    ("plate-part", [(plate(0, "part"), "plank")]),
    ("plate-limits", [(plate(0, "limits"), "fine")]),
    ("plate-size", [((*PRODUCT, "product", 0, "part", 0, "thickness"), 5.5)]),
    ("plate-volume", [(plate(0, "volume"), 8.1e5)]),
    ("plate-overlap", [(plate(0, "corner"), SCRIPT["plates"][1]["corner"])]),
    ("ring-angle", [(plate(0, "ring_angle", "min"), SCRIPT["plates"][0]["ring_angle"]["min"] + 0.4)]),
    ("ring-angle", [(plate(1, "ring_angle", "mean"), SCRIPT["plates"][1]["ring_angle"]["mean"] - 0.4)]),
    ("runout", [(plate(0, "runout"), 0.2)]),
    ("passes", [((*PRODUCT, "limits", "any", "ring_angle_min_deg"), 40.0)]),
    ("passes", [((*PRODUCT, "limits", "any", "ring_angle_mean_deg"), 75.0)]),
    ("passes", [(plate(0, "passes"), False)]),
    ("plate-pith", [((*CARD, "pith", "radius"), 60.0)]),
    ("plate-ends", [((*CARD, "ends", "trim_butt"), 210.0)]),
    ("plate-ends", [((*CARD, "ends", "trim_top"), 210.0)]),
    ("plate-defect", defect(kind="knot", x=600.0, clock_deg=290.0, diameter=40.0, margin=5.0)),
    ("plate-defect", defect(kind="metal", x=600.0, clock_deg=290.0, diameter=150.0, margin=20.0)),
    ("plate-defect", defect(kind="rot", end="butt", diameter=200.0, length=300.0)),
    ("plate-defect", defect(kind="check", end="top", clock_deg=290.0, length=400.0, depth=300.0)),
    ("sapwood", [((*PRODUCT, "limits", "any", "sapwood"), "none"), ((*CARD, "sapwood", "thickness"), 100.0)]),
    ("sapwood", [((*PRODUCT, "limits", "any", "sapwood"), "none"), ((*CARD, "sapwood"), {})]),
    ("sapwood", [((*PRODUCT, "limits", "any", "sapwood"), "edge"), ((*PRODUCT, "limits", "any", "sapwood_edge"), 20.0),
                 ((*CARD, "sapwood", "thickness"), 100.0)]),
    ("mate", [(plate(0, "mate"), "p1")]),
    ("mate", [(plate(0, "mate"), "p9")]),
    ("mate", [(plate(0, "set_id"), "tray-2")]),
    ("mate", [(plate(0, "corner", 2), 60.0)]),
]  # fmt: skip
SOUND = [
    defect(kind="knot", x=600.0, clock_deg=110.0, diameter=40.0, margin=5.0),
    defect(kind="metal", x=600.0, clock_deg=290.0, diameter=30.0, margin=20.0),
    defect(kind="rot", end="butt", diameter=200.0, length=190.0),
    defect(kind="check", end="top", clock_deg=290.0, length=190.0, depth=300.0),
    defect(kind="check", end="top", clock_deg=290.0, length=400.0, depth=40.0),
    [((*PRODUCT, "limits", "any", "sapwood"), "none"), ((*CARD, "sapwood", "thickness"), 60.0)],
    [((*PRODUCT, "limits", "any", "sapwood"), "edge"), ((*PRODUCT, "limits", "any", "sapwood_edge"), 60.0),
     ((*CARD, "sapwood", "thickness"), 100.0)],
    [((*CARD, "pith", "radius"), 49.0)],
]  # fmt: skip
TOTALS = [
    ("totals", [(("totals", key), SCRIPT["totals"][key] * 2 + 1)])
    for key in ("instrument_volume", "plates", "value", "kerf_volume", "offcut_volume", "minutes", "settings")
] + [
    ("totals", [(("totals", "sets"), {})]),
    ("totals", [(("totals", "sets", "tray"), 2)]),
    ("totals", [(plate(0, "mate"), None)]),
    ("totals", [(("practice", "ratio"), 1.2)]),
    ("totals", [(("practice", "ratio"), None)]),
    ("proof", [(("proof", "bound"), 0.9)]),
    ("proof", [(("proof", "gap"), 0.1)]),
]


@pytest.mark.parametrize(("kind", "changes"), PLATES)
def test_a_breach_of_a_plate_is_found(kind, changes):
    assert kind in plates_wrong(changed(*changes))


@pytest.mark.parametrize("changes", SOUND)
def test_what_a_plate_just_keeps_clear_of_is_no_breach(changes):
    assert not plates_wrong(changed(*changes))


@pytest.mark.parametrize(("kind", "changes"), TOTALS)
def test_a_wrong_sum_is_found(kind, changes):
    assert kind in plates_wrong(changed(*changes))
