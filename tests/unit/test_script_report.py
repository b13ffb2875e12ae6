"""The whole replay on a script written by hand: it holds, and every breach is found by its kind."""

import copy

import pytest

from pithline.script.replay import piece_volumes, replay
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


def kinds(document):
    return {one.kind for one in replay(document).findings}


def test_the_script_holds():
    report = replay(SCRIPT)
    assert report.holds and report.findings == ()
    assert report.volumes["p1"] == pytest.approx(800.0 * 200.0 * 5.0, rel=1e-4)
    used = {one.get("piece") for one in SCRIPT["operations"]}
    leaves = [one["id"] for one in SCRIPT["pieces"] if one["id"] not in used]
    wood = sum(report.volumes[name] for name in leaves)
    assert wood + report.kerf_volume == pytest.approx(report.log_volume, rel=1e-5)


def test_volumes_do_not_need_stated_ones():
    bare = {key: SCRIPT[key] for key in ("model", "operations")}
    assert piece_volumes(bare) == replay(SCRIPT).volumes


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
    assert kind in kinds(changed(*changes))


def test_every_finding_is_a_sentence_about_its_place():
    for _, changes in STRUCTURE:
        for one in replay(changed(*changes)).findings:
            assert one.place and len(one.sentence.split()) > 3 and "\n" not in one.sentence
