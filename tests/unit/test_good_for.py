"""What a log is good for: the rows of a script, what console and sheet make of them, and the command that prints lists."""

import json
from dataclasses import replace

import pytest

from pithline.cli.console import Console
from pithline.cli.good_for import show_good_for
from pithline.cli.main import main
from pithline.files.bundled import bundled_names
from pithline.files.product_lists import put_together, read_lists
from pithline.files.products import products_from
from pithline.outputs.cut_script.document import ProductFacts
from pithline.outputs.formatting import Formatter
from pithline.outputs.good_for import better_alone, list_results, misfits_in_words, sets_of
from pithline.outputs.print_job import print_job
from pithline.outputs.sheet.set_up_sheet import set_up_sheet
from pithline.plan.api import SILENT, Monitor
from pithline.yard.good_for import MOST_PARTS, TOLD, all_together, contending, misfits_told, weigh_lists
from pithline.yard.prepared_log import prepare_log
from pithline.yard.request import Request
from pithline.yard.watch import PlanWatch
from small_plan import TRUTH, inputs_of
from truth.models import to_model
from unit.outputs_fixture import small_script
from unit.pdf_reading import faults, pages_of, text_of

SCRIPT = {"totals": {**dict.fromkeys(TOLD, 0), "sets": {}}, "plates": []}


@pytest.fixture(scope="module")
def own():
    """The small log, 160 mm in radius and 820 mm long, with two lists: one of things that fit it, and one of guitars."""
    lists = read_lists(["ukulele", "steel-string-guitar"])
    together = put_together(lists)
    inputs = replace(inputs_of(), products=products_from(together), products_read=together, lists=lists)
    return prepare_log(to_model(TRUTH), inputs)


@pytest.fixture(scope="module")
def rows(own):
    return [*weigh_lists(own, Request(), PlanWatch(SILENT, "L")), all_together(SCRIPT["totals"], own)]


def test_a_row_for_each_list_and_one_for_all(rows):
    assert [row["list"] for row in rows] == ["ukulele", "steel-string-guitar", "all together"]
    assert [row["searched"] for row in rows] == ["quickly", "quickly", "plan"]
    assert all(set(TOLD) <= set(row) for row in rows)


def test_what_fits_gives_sets(rows):
    ukes = rows[0]
    assert sum(ukes["sets"].values()) >= 4
    assert ukes["set_volume"] + ukes["loose_volume"] == pytest.approx(ukes["instrument_volume"])
    assert ukes["earnings"] == pytest.approx(ukes["value"] + ukes["loose_value"] - ukes["labour"])


def test_what_does_not_fit_says_by_how_much(rows):
    guitars = rows[1]
    assert not any(guitars["sets"].values())
    told = {one["part"]: one for one in guitars["misfits"]}
    assert told["side"]["why"] == "length" and "clear length is 770 mm" in told["side"]["sentence"]
    backs = [one for one in guitars["misfits"] if one["sentence"].startswith("227 mm backs")]
    assert len(backs) == 1 and backs[0]["products"] == ["dreadnought guitar"]
    assert backs[0]["needs"] == pytest.approx(15 + 227 + 1.5, abs=0.2)
    json.dumps(rows)


def test_once_time_is_up_misfits_are_still_told(own):
    rows = weigh_lists(own, Request(), PlanWatch(Monitor(stopped=lambda: True), "L"))
    assert [row["searched"] for row in rows] == ["no", "no"]
    assert rows[1]["misfits"] and "sets" not in rows[0]


def test_of_one_list_only_what_does_not_fit(own):
    guitars = replace(own, inputs=replace(own.inputs, lists=own.inputs.lists[1:]))
    told = misfits_told(guitars, (), SCRIPT)
    assert set(told) == {"misfits"} and any(one["sentence"].startswith("227 mm backs") for one in told["misfits"])
    plates = [{"product": part.product, "part": part.part.name, "passes": True} for part in own.parts]
    longest = {one["why"] for one in misfits_told(guitars, (), SCRIPT | {"plates": plates})["misfits"]}
    assert longest == {"length"}  # whatever is said of plates, no log is longer than it is


def test_of_many_lists_what_some_list_sells_competes(own):
    lists = read_lists(["all"])
    together = put_together(lists)
    many = prepare_log(
        to_model(TRUTH), replace(own.inputs, products=products_from(together), products_read=together, lists=lists)
    )
    rows = [{"list": one.name, "earnings": 0.0, "set_volume": 0.0, "sets": {}} for one in lists]
    ukes = next(k for k, one in enumerate(lists) if one.name == "ukulele")
    sold = lists[ukes].read["product"][0]["name"]
    rows[ukes] |= {"earnings": 100.0, "sets": {sold: 3}}
    narrowed = contending(many, rows)
    assert [product.name for product in narrowed.inputs.products.products] == [sold]
    assert narrowed.inputs.lists == lists  # what each gives alone is told of all of them
    everything = [
        row | {"sets": {product["name"]: 1 for product in one.read["product"]}}
        for row, one in zip(rows, lists, strict=True)
    ]
    assert MOST_PARTS - 4 <= len(contending(many, everything).parts) <= MOST_PARTS
    assert contending(many, rows[:1] * len(lists)) is many  # nothing is sold by any: all compete
    assert contending(own, rows[:2]) is own  # few lists compete with all that they hold


# -- as told -----------------------------------------------------------------------------------------------------------


def told_rows():
    sums = {
        **dict.fromkeys(TOLD, 0),
        "plates": 6,
        "instrument_volume": 2.0e6,
        "set_volume": 1.5e6,
        "loose_volume": 0.5e6,
        "minutes": 90.0,
    }
    misfit = "227 mm backs need 242 mm from pith to bark; this log has 229 mm on average, 251 mm at 4 o'clock."
    return [
        {
            "list": "guitar",
            "searched": "quickly",
            **sums,
            "sets": {"guitar": 2, "rosette": 1},
            "earnings": 400.0,
            "misfits": [],
        },
        {
            "list": "big",
            "searched": "quickly",
            **dict.fromkeys(TOLD, 0),
            "sets": {},
            "misfits": [{"sentence": misfit}] * 6,
        },
        {"list": "late", "searched": "no", "misfits": []},
        {"list": "all together", "searched": "plan", **sums, "sets": {"guitar": 1}, "earnings": 350.0, "misfits": []},
    ]


FACTS = ProductFacts({"guitar": 4, "rosette": 1}, "thalers")


def test_rows_in_words():
    guitar, big, late, together = list_results({"good_for": told_rows()}, FACTS, 60.0)
    assert sets_of(guitar) == "2 guitar sets, 1 rosette"
    assert (sets_of(big), sets_of(late)) == ("nothing", "–")
    assert misfits_in_words(big.misfits, 2, Formatter())[2:] == ["4 more parts do not fit."]
    assert misfits_in_words(big.misfits, 1, Formatter("in"))[0].startswith(
        "8 15/16 in backs need 9 17/32 in from pith to bark"
    )
    alone = better_alone((guitar, big, late, together), "sets")
    assert alone.startswith("The list guitar alone earns more than all together")
    assert better_alone((guitar, big, late, together), "value") == ""
    assert list_results({}, FACTS, 60.0) == ()


def script_with_rows():
    script = small_script()
    script["proof"]["good_for"] = told_rows()
    return script


@pytest.mark.parametrize(("units", "paper"), [("mm", "A4"), ("in", "Letter")])
def test_the_sheet_has_a_page_of_its_own_only_where_there_are_rows(units, paper):
    before = pages_of(set_up_sheet(print_job(small_script(), units, paper)))
    data = set_up_sheet(print_job(script_with_rows(), units, paper))
    pages = pages_of(data)
    assert len(pages) == len(before) + 1 and not faults(pages)
    assert "What the log is good for" in text_of(data) and "1 more part does not fit" in text_of(data)


def test_the_console_tells_nothing_of_one_list(capsys):
    show_good_for(Console(), small_script())
    assert capsys.readouterr().out == ""
    show_good_for(Console(), script_with_rows())
    shown = " ".join(capsys.readouterr().out.split())
    assert (
        "What the log is good for" in shown
        and "big: 227 mm backs need 242 mm" in shown
        and "3 more parts do not fit." in shown
    )


def test_one_list_tells_what_does_not_fit_on_page_1(capsys):
    script = small_script()
    script["proof"]["misfits"] = told_rows()[1]["misfits"]
    pages = pages_of(set_up_sheet(print_job(script)))
    assert not faults(pages) and "backs need 242 mm" in pages[0][3].replace("\N{NO-BREAK SPACE}", " ")
    show_good_for(Console(), script)
    assert capsys.readouterr().out.startswith("227 mm backs need 242 mm")


# -- pithline lists ----------------------------------------------------------------------------------------------------


def test_all_bundled_lists_are_printed(capsys):
    assert main(["lists"]) == 0
    shown = capsys.readouterr().out
    assert all(name in shown for name in bundled_names("products"))
    assert (
        "610 × 227 × 5.8" in shown
        and "trade-sides: ring angle 70° at least, mean 78°; runout 3°, slope 6°; sapwood none" in shown
    )
    assert main(["lists", "ukulele", "--json"]) == 0
    assert [one["list"] for one in json.loads(capsys.readouterr().out)] == ["ukulele"]


def test_a_list_that_is_not_there(capsys):
    assert main(["lists", "ukelele"]) == 2
    assert 'none of that name is bundled; did you mean "ukulele"?' in capsys.readouterr().err
