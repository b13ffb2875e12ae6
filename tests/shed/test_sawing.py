"""How far a log is sawn: events that count once, finds that the replan command reads."""

import pytest

from pithline.errors import InputError
from pithline.files.found import found_as_read
from pithline.shed.sawing import FOUND, FOUND_FORMS, last_cut, read_state, with_events, write_found, write_sawing

STEPS = [
    {"id": "before", "cuts": []},
    {"id": "set-1", "cuts": []},
    {"id": "cut-1", "cuts": ["cut-1"]},
    {"id": "cut-2", "cuts": ["cut-2"]},
    {"id": "S2-1", "cuts": ["cut-3", "cut-4"]},
]
NAMES = frozenset(step["id"] for step in STEPS)
CUTS = ["cut-1", "cut-2", "cut-3", "cut-4"]
FILLED = {
    "id": "S2",
    "from_mark": "36 mm",
    "thickness": "26 mm",
    "end": "butt",
    "from_left": "240 mm",
    "from_top": "238 mm",
    "x": "600 mm",
    "clock_deg": "40",
    "diameter": "60 mm",
    "length": "120 mm",
    "depth": "80 mm",
    "margin": "50 mm",
    "up": "-8 mm",
    "right": "3 mm",
    "words": "curl",
    "factor": "2.5",
    "from": "400 mm",
    "to": "900 mm",
}


def done(*steps):
    return [{"name": f"e-{step}", "what": "done", "step": step} for step in steps]


def test_ticks_outlive_the_page_and_the_server(tmp_path):
    state = with_events(read_state(tmp_path, "abc"), done("before", "set-1", "cut-1"), NAMES)
    write_sawing(tmp_path, state)
    assert read_state(tmp_path, "abc")["done"] == ["before", "set-1", "cut-1"]
    assert read_state(tmp_path, "another script")["done"] == []


def test_an_event_sent_twice_counts_once(tmp_path):
    events = [*done("cut-1"), {"name": "u", "what": "undone", "step": "cut-1"}]
    state = with_events(read_state(tmp_path, "abc"), events, NAMES)
    assert with_events(state, done("cut-1"), NAMES)["done"] == []


def test_two_pages_that_tell_in_turn_keep_what_the_other_told(tmp_path):
    state = with_events(read_state(tmp_path, "abc"), done("before"), NAMES)
    state = with_events(state, [{"name": "h", "what": "heights", "step": "set-1", "values": [244, 243.5]}], NAMES)
    assert state["done"] == ["before"] and state["heights"] == {"set-1": [244.0, 243.5]}


@pytest.mark.parametrize(
    "event",
    [
        {},
        {"name": "a"},
        {"name": "a", "what": "done", "step": "no such"},
        {"name": "a", "what": "heights", "step": "set-1", "values": ["x", 1]},
        {"name": "a", "what": "found", "find": {"kind": "gold"}},
        {"name": "a" * 100, "what": "done", "step": "before"},
        "text",
        {"name": "a", "what": "heights", "step": "set-1", "values": [float("nan"), 1]},
    ],
)
def test_what_is_no_event_is_refused(tmp_path, event):
    with pytest.raises(InputError):
        with_events(read_state(tmp_path, "abc"), [event], NAMES)


@pytest.mark.parametrize("kind", FOUND_FORMS)
def test_every_find_makes_a_file_that_replan_reads(tmp_path, kind):
    find = {"kind": kind, **{key: FILLED[key] for key, _, _ in FOUND_FORMS[kind][1]}}
    state = with_events(read_state(tmp_path, "abc"), [{"name": "f", "what": "found", "find": find}], NAMES)
    write_found(tmp_path, state)
    read = found_as_read(tmp_path / FOUND)
    assert any(read.get(table) for table in ("defect", "figure", "pith", "cut", "piece", "bark", "sapwood"))


def test_pith_on_faces_and_figure_are_told_as_they_were_found(tmp_path):
    end = {"kind": "pith", "end": "top", "from_left": "240 mm", "from_top": "238 mm"}
    seen = [{"kind": "seen", "x": f"{x} mm", "up": "-8 mm", "right": "1/8 in"} for x in (300, 900)]
    figure = {"kind": "figure", "words": "curl", "factor": "2.5", "from": "400 mm", "to": ""}
    events = [{"name": f"f{n}", "what": "found", "find": find} for n, find in enumerate([end, *seen, figure])]
    write_found(tmp_path, with_events(read_state(tmp_path, "abc"), events, NAMES))
    read = found_as_read(tmp_path / FOUND)
    assert (
        read["pith"]["seen"] == [{"x": x, "up": -8.0, "right": 3.175} for x in (300.0, 900.0)] and "top" in read["pith"]
    )
    assert read["figure"] == [{"kind": "curl", "factor": 2.5, "from": 400.0}]
    backwards = {**figure, "to": "100 mm"}
    with pytest.raises(InputError, match="nearer the butt end"):
        with_events(read_state(tmp_path, "abc"), [{"name": "b", "what": "found", "find": backwards}], NAMES)


def test_finds_are_taken_off_again_and_unread_ones_refused(tmp_path):
    state = with_events(
        read_state(tmp_path, "abc"), [{"name": "f", "what": "found", "find": {"kind": "spoilt", "id": "S2"}}], NAMES
    )
    assert with_events(state, [{"name": "g", "what": "unfound", "of": "f"}], NAMES)["found"] == []
    with pytest.raises(InputError, match="without a unit"):
        with_events(state, [{"name": "h", "what": "found", "find": {"kind": "bark", "thickness": "18"}}], NAMES)
    with pytest.raises(InputError, match="is empty"):
        with_events(state, [{"name": "i", "what": "found", "find": {"kind": "thickness", "id": "S2"}}], NAMES)


def test_the_rest_is_planned_from_the_last_cut_before_a_gap(tmp_path):
    state = read_state(tmp_path, "abc")
    assert last_cut(state, STEPS, CUTS) == (None, 0)
    assert last_cut(with_events(state, done("cut-1", "cut-2"), NAMES), STEPS, CUTS) == ("cut-2", 0)
    assert last_cut(with_events(state, done("cut-1", "S2-1"), NAMES), STEPS, CUTS) == ("cut-1", 2)
