"""The card as a form: keys put in one at a time, comments kept, nothing of another page overwritten."""

import datetime

import pytest

from pithline.errors import InputError
from pithline.files.cards import read_card
from pithline.shed.card_edit import (
    CardText,
    as_typed,
    open_card,
    point_of_touch,
    save,
    with_defect,
    with_keys,
    without_defect,
)
from pithline.shed.card_form import ALL, DEFECTS
from shed_yard import CARD


@pytest.fixture
def card(tmp_path):
    path = tmp_path / "small.toml"
    path.write_text(CARD, encoding="utf-8")
    return open_card(path)


def comments(text):
    return [line.partition("#")[2] for line in text.splitlines() if "#" in line]


def test_a_key_goes_beside_its_example_and_every_comment_stays(card):
    made = with_keys(card, {"bark.thickness": "7/16 in", "log.cost": 420})
    assert comments(made.text) == comments(card.text)
    lines = made.text.splitlines()
    assert lines[lines.index("[bark]") + 1] == 'thickness = "7/16 in"'
    save(made, {})
    assert read_card(card.path).bark_thickness == pytest.approx(25.4 * 7 / 16) and read_card(card.path).cost == 420


def test_a_key_is_changed_where_it_stands_and_taken_out_again(card):
    made = with_keys(card, {"pith.radius": "20 mm", "log.species": "black cherry"})
    assert 'species = "black cherry"   # as the bark says' in made.text and 'radius = "20 mm"' in made.text
    assert with_keys(made, {"pith.radius": None}).value("pith.radius") is None


def test_a_table_that_is_not_there_yet_is_begun(card):
    made = with_keys(card, {"sapwood.thickness": "24 mm"})
    assert made.tables()["sapwood"] == {"thickness": "24 mm"}


def test_what_the_reader_of_cards_refuses_is_never_saved(card):
    with pytest.raises(InputError, match="at least 0"):
        with_keys(card, {"bark.thickness": "-3 mm"})
    assert open_card(card.path).text == card.text


def test_two_pages_on_one_card_do_not_overwrite_each_other(card):
    first = with_keys(card, {"bark.thickness": "11 mm"})
    save(first, {"bark.thickness": None})
    second = with_keys(open_card(card.path), {"bark.thickness": "15 mm"})
    with pytest.raises(InputError, match="changed elsewhere"):
        save(second, {"bark.thickness": None})
    assert open_card(card.path).value("bark.thickness") == "11 mm"
    save(with_keys(open_card(card.path), {"pith.radius": "18 mm"}), {"pith.radius": "15 mm"})
    assert open_card(card.path).value("bark.thickness") == "11 mm"


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("18  mm", "length", "18 mm"),
        ("3/4 in", "length", "3/4 in"),
        ("6 ft 3 in", "length", "6 ft 3 in"),
        ("2,5 cm", "length", "2.5 cm"),
        ("", "length", None),
        ("12.5", "number", 12.5),
        ("420", "number", 420),
        ("2026-02-11", "date", datetime.date(2026, 2, 11)),
    ],
)
def test_people_write_lengths_as_they_say_them(text, kind, value):
    assert as_typed("bark.thickness", text, kind) == value


@pytest.mark.parametrize(
    ("text", "kind", "says"),
    [
        ("18", "length", "without a unit"),
        ("thick", "length", "no length"),
        ("x", "number", "write a number"),
        ("11.2.26", "date", "year-month-day"),
    ],
)
def test_what_cannot_be_read_is_told_in_a_sentence(text, kind, says):
    with pytest.raises(InputError, match=says):
        as_typed("bark.thickness", text, kind)


def test_defects_are_put_on_and_taken_off(card):
    made = with_defect(card, {"kind": "knot", "x": "80 cm", "clock_deg": 40, "diameter": "6 cm"})
    made = with_defect(made, {"kind": "rot", "end": "butt", "diameter": "10 cm", "length": "40 cm"})
    assert [one["kind"] for one in made.value("defect")] == ["knot", "rot"]
    left = without_defect(made, 0)
    assert [one["kind"] for one in left.value("defect")] == ["rot"] and comments(left.text) == comments(card.text)
    assert "defect" not in without_defect(left, 0).tables()
    with pytest.raises(InputError, match="not on the card"):
        without_defect(left, 5)


def test_a_defect_without_its_measures_is_refused(card):
    with pytest.raises(InputError, match="needs"):
        with_defect(card, {"kind": "knot", "x": "80 cm"})


def test_every_field_of_the_form_is_a_key_that_cards_have(card):
    values = {
        "length": "10 mm",
        "number": 1,
        "date": datetime.date(2026, 1, 2),
        "species": "black cherry",
        "choice": "yard",
    }
    for fact in ALL.values():
        with_keys(card, {fact.path: values[fact.kind]})
    assert set(DEFECTS) == {"knot", "check", "metal", "rot"}


def test_a_touch_becomes_a_point_of_the_scan():
    face = {"corner": [1.0, 2.0, 3.0], "right": [0.0, -0.001, 0.0], "under": [0.0, 0.0, -0.001]}
    assert point_of_touch(face, 100.0, 50.0) == {"xyz": [1.0, 1.9, 2.95]}


def test_hostile_text_stays_text(card):
    made = with_keys(card, {"log.id": '"]\n[evil]\nx = "1'})
    assert set(made.tables()) == {"log", "bark", "pith"} and isinstance(made, CardText)


def test_what_a_search_is_held_to_is_read_as_the_command_reads_it():
    from pithline.shed.pages.plan_desk import held_as_typed

    assert held_as_typed({}, False) == {}
    held = held_as_typed({"roll_deg": "390", "first_slab": "4 in", "max_settings": "6"}, True)
    assert held == {"leave_bolts": True, "roll_deg": 30.0, "first_slab": pytest.approx(101.6), "max_settings": 6}
    for typed in ({"first_slab": "4"}, {"first_slab": "2 mm"}, {"max_settings": "many"}, {"roll_deg": "north"}):
        with pytest.raises(InputError):
            held_as_typed(typed, False)
