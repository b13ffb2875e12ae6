"""Appraisal and season in the yard: files that the commands write and read, changed and shown without touching anything else."""

import json
import time
from types import SimpleNamespace

import pytest
from markupsafe import Markup

from pithline.errors import InputError
from pithline.files.cards import read_card
from pithline.outputs.reports.appraisal_document import appraisal_json
from pithline.outputs.reports.appraisal_pictures import Pictures
from pithline.shed import worker
from pithline.shed.folder import YardFolder
from pithline.shed.jobs import Jobs, JobState
from pithline.shed.lots import (
    add_taped_log,
    day_as_typed,
    keep_pictures,
    lot_picture,
    margin_as_typed,
    read_appraisal,
)
from pithline.shed.seasons import LOGS, ORDERS, open_sheet, products_of, read_season, save_logs, save_orders
from pithline.yard.season.whole import WorkedSeason, write_season
from shed_yard import SCRIPT, make_yard
from unit.test_appraisal_lot import whole
from unit.test_season_outputs import DOCUMENT as SEASON

TAPED = {"species": "black walnut", "length": "2.3 m", "girth_butt": "84 in", "girth_top": "2080 mm", "cost": "420"}
ORDER = {"product": "small guitar", "quantity": "4", "due": "2027-03-30"}


def appraisal_by_hand():
    return json.loads(appraisal_json(whole()[0]))


@pytest.fixture
def yard(tmp_path):
    return YardFolder(make_yard(tmp_path))


def only(folder, *names):
    """Nothing else lies in the folder, hidden or not."""
    return {path.name for path in folder.iterdir()} == {"small", "small.toml", *names}


# -- orders and logs --------------------------------------------------------------------------------------------------


def test_orders_are_written_once_their_reader_has_read_them(yard):
    empty = open_sheet(yard, ORDERS)
    assert (empty.rows, empty.stamp) == ([], "")
    save_orders(yard, [ORDER, {}], "", products_of(yard, ["guitar"]))
    kept = open_sheet(yard, ORDERS)
    assert kept.rows == [{**ORDER, "price": "", "priority": "", "matched": ""}] and kept.stamp
    assert only(yard.root, ORDERS)


@pytest.mark.parametrize(
    ("order", "words"),
    [
        ({**ORDER, "quantity": "four"}, 'orders.csv: line 2: quantity is "four"; it must be a whole number'),
        ({**ORDER, "due": "soon"}, 'due is "soon", which is no day'),
        ({**ORDER, "product": "<img src=x>"}, 'no product "<img src=x>"'),
        ({**ORDER, "price": "=1+1"}, "it must be an amount of money"),
    ],
)
def test_an_order_that_the_command_would_refuse_is_not_written(yard, order, words):
    with pytest.raises(InputError) as told:
        save_orders(yard, [order], "", products_of(yard, ["guitar"]))
    assert words in str(told.value) and str(yard.root) not in str(told.value)
    assert only(yard.root)


def test_two_pages_on_the_orders_do_not_overwrite_each_other(yard):
    known = products_of(yard, ["guitar"])
    save_orders(yard, [ORDER], "", known)
    seen = open_sheet(yard, ORDERS).stamp
    save_orders(yard, [ORDER, ORDER], seen, known)
    with pytest.raises(InputError, match="changed elsewhere meanwhile"):
        save_orders(yard, [], seen, known)
    assert len(open_sheet(yard, ORDERS).rows) == 2


def test_logs_of_a_season_are_cards_of_the_yard(yard):
    save_logs(yard, [{"card": "small.toml", "cost": "12.50"}], "")
    assert open_sheet(yard, LOGS).rows[0]["cost"] == "12.50"
    with pytest.raises(InputError, match=r'logs\.csv: line 2: there is no card "gone.toml" in the yard'):
        save_logs(yard, [{"card": "gone.toml"}], open_sheet(yard, LOGS).stamp)
    assert only(yard.root, LOGS)


def test_lists_of_products_are_those_that_the_yard_offers(yard):
    assert "small guitar" in {one.name for one in products_of(yard, ["guitar"]).products}
    with pytest.raises(InputError, match="none of this yard's products"):
        products_of(yard, ["../secret"])


# -- a log by tape ----------------------------------------------------------------------------------------------------


def test_a_log_is_begun_by_tape_alone(yard):
    assert add_taped_log(yard, "row 21 <b>", TAPED) == "row-21-b"
    card = read_card(yard.root / "row-21-b.toml")
    assert (card.id, card.scan, card.cost, card.tape_length) == ("row-21-b", None, 420, pytest.approx(2300.0))
    assert card.tape_girth_butt == pytest.approx(84 * 25.4)
    with pytest.raises(InputError, match="lies in this yard already"):
        add_taped_log(yard, "row 21 <b>", TAPED)


@pytest.mark.parametrize(
    ("name", "changed", "words"),
    [
        ("", {}, "no name yet"),
        ("../..", {}, "no name of letters or figures"),
        ("row-1", {"girth_top": ""}, "lacks girth_top"),
        ("row-1", {"length": "2300"}, "without a unit"),
        ("row-1", {"species": "[x]\nscan = 'y'"}, "species"),
        ("row-1", {"felled": "May"}, "year-month-day"),
    ],
)
def test_a_card_by_tape_that_cannot_be_used_is_not_written(yard, name, changed, words):
    with pytest.raises(InputError) as told:
        add_taped_log(yard, name, {**TAPED, **changed})
    assert words in str(told.value) and "\n" not in str(told.value).strip()
    assert only(yard.root)


def test_margin_and_day_are_read_as_typed():
    assert margin_as_typed("12,5 %".replace(" ", "")) == pytest.approx(0.125)
    for wrong in ("", "120", "-1", "much"):
        with pytest.raises(InputError):
            margin_as_typed(wrong)
    assert day_as_typed("the day", "2026-04-01") == "2026-04-01"
    with pytest.raises(InputError, match="the day is empty"):
        day_as_typed("the day", " ")


# -- what is shown ----------------------------------------------------------------------------------------------------


def put(folder, name, document):
    folder.mkdir(parents=True)
    (folder / name).write_text(json.dumps(document))


def test_an_appraisal_of_the_command_is_shown_and_one_that_is_none_is_not(yard):
    put(yard.root / "appraisal-1", "appraisal.json", appraisal_by_hand())
    put(yard.root / "appraisal-2", "appraisal.json", {"logs": "<script>"})
    assert yard.next_report("appraisal") == "appraisal-3"
    first, second = (yard.report("appraisal", f"appraisal-{number}") for number in (1, 2))
    shown = read_appraisal(yard, first)
    assert shown is not None and shown.logs[0].bid and not any(shown.pictured)
    assert read_appraisal(yard, second) is None
    for other in ("..", "", "small", "appraisal-1/.."):
        with pytest.raises(InputError, match="no appraisal"):
            yard.report("appraisal", other)


def test_pictures_are_given_by_their_place(yard):
    put(yard.root / "lot", "appraisal.json", appraisal_by_hand())
    entry = yard.report("appraisal", "lot")
    drawn = Pictures(*(Markup('<svg class="flank"><path class="wood"/></svg>') for _ in range(4)))
    keep_pictures(yard, "lot", [drawn, None])
    svg = lot_picture(yard, entry, 0, "side")
    assert svg is not None and svg.startswith('<svg xmlns="http://www.w3.org/2000/svg" class="flank"><style>')
    assert [lot_picture(yard, entry, *at) for at in ((1, "side"), (0, "top"), (-1, "side"), (9, "butt"))] == [None] * 4


def test_a_season_of_the_command_is_shown_and_its_scripts_are_plans(yard, tmp_path):
    script = json.loads(SCRIPT.read_text())
    document = {**SEASON, "logs": [{**SEASON["logs"][0], "id": "small"}, SEASON["logs"][1]]}
    (yard.root / "season" / "logs" / "<b>").mkdir(parents=True)
    left = yard.root / "season" / "logs" / "<b>" / "cut-script.json"
    left.write_text("{}")
    write_season(WorkedSeason(document, {"small": script}, full=False), yard.root / "season")
    assert not left.exists()  # nobody should saw by a plan that this season leaves
    view = read_season(yard.report("season", "season"))
    assert view is not None and view.weeks and view.sawn == ("small",)
    assert "season/logs/small" in {plan.name for plan in yard.log("small").plans}


# -- the work ---------------------------------------------------------------------------------------------------------


def telling(yard, kind, asked, out):
    state = JobState(kind, "", asked=asked, out=out, started=time.time())
    return state, worker.Telling(Jobs(yard).path(kind, ""), state)


def test_a_lot_is_appraised_by_what_the_page_asks(yard, monkeypatch):
    add_taped_log(yard, "row-21", TAPED)
    seen = {}

    def appraise_lot(lot, terms, workers, progress):
        seen.update(ids=[one.card.id for one in lot], margin=terms.margin, today=str(terms.today))
        progress("row-21: fitting", 0.5)
        document = appraisal_by_hand()
        return document, [SimpleNamespace(pictures=None) for _ in document["logs"]]

    monkeypatch.setattr("pithline.yard.appraisal.lot.appraise_lot", appraise_lot)
    asked = {
        "logs": ["row-21"], "mill": "portable", "products": ["guitar"], "objective": "sets", "margin": 0.2, "on": "2026-04-01",
    }  # fmt: skip
    worker.appraise(yard, *telling(yard, "appraise", asked, "appraisal-1"))
    assert seen == {"ids": ["row-21"], "margin": 0.2, "today": "2026-04-01"}
    assert {path.name for path in (yard.root / "appraisal-1").iterdir()} >= {"appraisal.json", "appraisal.html"}
    assert read_appraisal(yard, yard.report("appraisal", "appraisal-1")) is not None


def test_work_that_is_stopped_says_so_and_keeps_nothing(yard):
    _, told = telling(yard, "appraise", {}, "appraisal-1")
    heard = worker._until_stopped(told)
    heard("fitting", 0.1)
    Jobs(yard).stop("appraise", "")
    with pytest.raises(InputError, match="it was stopped"):
        heard("planning", 0.2)


def test_a_season_is_worked_out_by_what_the_page_asks(yard, monkeypatch):
    seen = {}

    def work_out(question, cluster, full, monitor):
        seen.update(orders=question.orders, start=str(question.start), full=full)
        monitor.report("plans: 0 of 1 logs", 0.1)
        return WorkedSeason(SEASON, {}, full)

    monkeypatch.setattr("pithline.yard.season.whole.work_out", work_out)
    asked = {"mill": "portable", "products": ["guitar"], "start": "2026-11-30", "finish": True}
    worker.season(yard, *telling(yard, "season", asked, "season"))
    assert seen == {"orders": str(yard.root / ORDERS), "start": "2026-11-30", "full": True}
    assert read_season(yard.report("season", "season")) is not None
