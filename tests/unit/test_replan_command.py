"""pithline replan and plan --keep on the command line: files, words, the sheet of an opened log, and what is refused."""

import csv
import io
import json
import re
from dataclasses import replace

import pdfplumber
import pytest

from pithline.cli.main import main
from pithline.errors import InputError
from pithline.files.found import FOUND, found_as_read
from pithline.outputs.cut_script.document import Saw
from pithline.outputs.labels.rows import labels_csv
from pithline.outputs.plan_folder import PRINTED
from pithline.outputs.print_job import print_job
from pithline.plan.problem.operations import Tool
from pithline.plan.replan.script_history import split_script
from pithline.script.document import dumps
from pithline.yard.replan_log import still_to_crosscut
from replan_work import earlier_script, operations_until, planned_anew
from unit.pdf_reading import faults
from unit.test_outputs_sheet import sheet_of

TEXT = """
[[defect]]
kind = "knot"
x = "400 mm"
clock_deg = 60
diameter = "60 mm"
margin = "10 mm"

[[pith.seen]]
x = "50 cm"
up = "5 mm"
right = "-3 mm"

[[cut]]
id = 2
blade_height = "144 mm"

[[piece]]
id = "S2"
spoilt = true
"""


def test_the_command_writes_the_whole_folder(tmp_path, capsys):
    (tmp_path / "old.json").write_bytes(dumps(earlier_script()))
    (tmp_path / "found.toml").write_text(TEXT, encoding="utf-8")
    arguments = ["replan", str(tmp_path / "old.json"), "--after", "16", "--found", str(tmp_path / "found.toml")]
    assert main([*arguments, "--out", str(tmp_path / "new"), "--effort", "coarse"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "earlier plan, when made" in told
    assert "Knot found 400 mm from the butt end" in told and "S2 (slab-1) is spoilt." in told
    assert re.search(r"Next: (mill|resaw|rip) \w+ \(\w+-\d+\).*; still to come: \d set-ups?, \d\.\d h\.", told)
    looked_at = {"plan.glb", "preview.html", "preview.png"}
    assert {one.name for one in (tmp_path / "new").iterdir()} == {"cut-script.json", *PRINTED, *looked_at}
    assert main(["check", str(tmp_path / "new" / "cut-script.json")]) == 0
    capsys.readouterr()
    assert main([*arguments, "--out", str(tmp_path / "again"), "--effort", "coarse", "--json"]) == 0
    summary = json.loads(capsys.readouterr().out)
    assert summary["replan"]["after"] == "cut-16"
    assert summary["totals_before"]["plates"] == earlier_script()["totals"]["plates"]
    for name in ("cut-script.json", "labels.csv", "set-up-sheet.pdf"):
        assert (tmp_path / "new" / name).read_bytes() == (tmp_path / "again" / name).read_bytes()


def test_the_sheet_starts_at_the_next_setting():
    new = planned_anew("cut-4", {"pith": {"seen": [{"x": 400.0, "up": 6.0, "right": 2.0}]}})
    assert faults(sheet_of(new, "in", "Letter")) == []
    pages = sheet_of(new)
    assert faults(pages) == []
    front, text = pages[0][3], "\n".join(page[3] for page in pages)
    assert "planned anew after cut 4" in front and "Measure before you saw" not in text
    assert "The pith at 400 mm lies 6 mm over and 2 mm to the right" in " ".join(front.split())
    log = print_job(new).log
    panels = re.findall(r"(\d+) of (\d+) at the mill", text)
    on_mill = [one for one in log.settings if one.tool is Saw.MILL]
    assert [int(number) for number, _ in panels] == list(range(3, len(on_mill) + 1))
    assert {int(of) for _, of in panels} <= {len(on_mill)}
    for mark in [log.mark(one) for one in log.in_hand if log.kind(one) in ("half", "slab", "bolt")]:
        assert re.search(rf"\b{mark}\b", front)


def test_settings_of_one_cradle_count_as_one_set_up_of_those_still_to_come():
    new = planned_anew("cut-4")
    ahead = [one for one in new["operations"] if one["op"] == "setting" and one["id"] not in new["replan"]["kept"]]
    charged = [one for one in ahead if one["charged"]]
    assert len(charged) > 2
    for one in charged[-2:]:
        one["set_up"] = "set-up-9"
    front = " ".join(sheet_of(new)[0][3].split())
    assert f"Still to come: {len(charged) - 1} set-ups," in front


def test_numbers_go_on_and_marks_keep_their_meaning():
    scripts = earlier_script(), planned_anew("cut-4", {"bark": {"thickness": 12.0}})
    old, new = (print_job(one).log.cut_numbers for one in scripts)
    assert max(old.values()) == len(old)
    for cut, number in new.items():
        assert number == old[cut] if cut in old else number > len(old)


def test_labels_of_what_is_to_come():
    old, new = earlier_script(), planned_anew("cut-66", {"piece": [{"id": "plate-4", "spoilt": True}]})
    existing = {
        one[side] for one in operations_until(old, "cut-66") if one["op"] == "cut" for side in ("above", "below")
    }
    rows = list(csv.DictReader(io.StringIO(labels_csv(print_job(new)).decode())))
    assert {one["id"] for one in rows} & existing == set(new["replan"]["relabelled"])
    assert {one["id"] for one in rows} > {one["id"] for one in new["plates"]} - existing


def test_end_templates_where_nothing_goes_on_the_mill(tmp_path):
    from pithline.outputs.templates.end_templates import end_templates

    new = planned_anew("cut-66")
    with pdfplumber.open(io.BytesIO(end_templates(print_job(new)))) as pdf:
        assert len(pdf.pages) >= 1


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[[knot]]\n", 'the file has no table "knot"'),
        ("[[cut]]\nid = 2\n", "[cut 1] needs one of blade_height and from_mark"),
        ("[[cut]]\nid = 2\nblade_height = 140\n", "[cut 1] blade_height is 140 without a unit"),
        ('[[cut]]\nblade_height = "140 mm"\n', '[cut 1] needs the key "id"'),
        ('[[cut]]\nid = 2\nblade_height = "1 mm"\nfrom_mark = "1 mm"\n', "and not both"),
        ("[[piece]]\nid = true\nspoilt = true\n", "[piece 1] id must be an id, a crayon mark or a number of the sheet"),
        ('[[piece]]\nid = "S2"\nspoilt = false\n', "leave the table out where a piece is sound"),
        (
            '[[piece]]\nid = "S2"\nspoilt = true\n[[piece]]\nid = "S2"\nspoilt = true\n',
            "[piece 2] names S2 a second time",
        ),
        ('[[piece]]\nid = "S2"\nthickness = "-3 mm"\n', 'thickness is "-3 mm"; it must be more than 0 mm'),
        ('[[defect]]\nkind = "knot"\nx = "1 m"\n', "[defect 1] a knot needs clock_deg"),
        ('[[figure]]\nkind = "curl"\n', '[figure 1] needs the key "factor"'),
        (
            '[[figure]]\nkind = "curl"\nfactor = 2\nfrom = "1 m"\nto = "30 cm"\n',
            "[figure 1] goes from 1000 mm to 300 mm; write the station nearer the butt end under from",
        ),
        ('[[defect]]\nkind = "shake"\n', 'kind is "shake"'),
        ('[pith]\nbutt = { up = "3 in" }\n', "butt has one arm only"),
        ('[[pith.seen]]\nx = "1 m"\nup = "1 mm"\n', '[pith.seen 1] needs the key "right"'),
        ('[[pith.seen]]\nx = "1 m"\nup = "1 mm"\nright = "0 mm"\n' * 2, "[pith.seen] has x = 1000 mm twice"),
        ("[bark]\n", '[bark] needs the key "thickness"'),
        ("[sapwood]\nthickness = 3\n", "thickness is 3 without a unit"),
        ("nonsense", "not readable as TOML"),
    ],
)
def test_what_the_file_may_not_say(tmp_path, text, message):
    path = tmp_path / "found.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        found_as_read(path)
    assert message in str(caught.value) and str(caught.value).startswith(f"{path}: ")


def test_the_file_as_read(tmp_path):
    path = tmp_path / "found.toml"
    path.write_text(TEXT, encoding="utf-8")
    read = found_as_read(path)
    assert read["pith"]["seen"] == [{"x": 500.0, "up": 5.0, "right": -3.0}]
    assert read["cut"] == [{"id": "2", "blade_height": 144.0}]
    assert set(read) <= set(FOUND.keys)
    path.write_text("", encoding="utf-8")
    assert found_as_read(path) == {}


@pytest.mark.parametrize(
    ("after", "text", "message"),
    [
        ("900", "", "--after names the cut 900, which the script does not have"),
        ("4", '[[piece]]\nid = "S77"\nspoilt = true\n', "found.toml: [[piece]] id names the piece S77"),
        ("4", "[[piece]\n", "not readable as TOML"),
        (None, "", "the following arguments are required: --after"),
    ],
)
def test_refusals(tmp_path, capsys, after, text, message):
    (tmp_path / "old.json").write_bytes(dumps(earlier_script()))
    (tmp_path / "found.toml").write_text(text, encoding="utf-8")
    arguments = ["replan", str(tmp_path / "old.json"), "--found", str(tmp_path / "found.toml")]
    arguments += ["--out", str(tmp_path / "new"), *(["--after", after] if after else [])]
    assert main(arguments) == 2
    told = capsys.readouterr()
    errors = [line for line in told.err.splitlines() if "%" not in line[:4]]  # how far it is, where that takes a while
    assert told.out == "" and len(errors) == 1 and errors[0].startswith("error: ") and message in errors[0]
    assert not (tmp_path / "new").exists()


def test_a_script_that_is_none(tmp_path, capsys):
    (tmp_path / "found.toml").write_text("", encoding="utf-8")
    for content, message in (("{}", "is no cut script of version 1"), ("[", "the document is not JSON")):
        (tmp_path / "old.json").write_text(content, encoding="utf-8")
        arguments = ["replan", str(tmp_path / "old.json"), "--after", "2", "--found", str(tmp_path / "found.toml")]
        assert main([*arguments, "--out", str(tmp_path / "new")]) == 2
        assert message in capsys.readouterr().err


def test_crosscuts_of_the_log_that_were_not_made_yet_are_told_of():
    """They count as made, so that the sheet of the new plan would be silent on them."""
    history = split_script(earlier_script(), "cut-2")
    assert still_to_crosscut(history) == []
    later = [
        replace(one, tool=Tool.BUCK) if one.id in ("cut-3", "cut-5") else one
        for one in history.later
        if one.id != "set-3"
    ]
    assert still_to_crosscut(replace(history, later=tuple(later))) == [
        "first make crosscuts 3, 5 of the log as they stand on the earlier sheet: this plan counts on it"
    ]
