"""The season's report, CSV and schema, from a document written by hand."""

from __future__ import annotations

import copy
import csv
import io
import json
import re

import pytest

from pithline.errors import ScriptError
from pithline.outputs.reports.season_document import season_csv, season_json
from pithline.outputs.reports.season_page import season_html, season_proof
from pithline.outputs.reports.season_plots import season_plots
from pithline.outputs.reports.season_weeks import season_weeks
from pithline.script.schema import validate

DOCUMENT = {
    "format": "pithline-season",
    "version": 1,
    "currency": "USD",
    "start": "2026-11-30",
    "hours_per_week": 30.0,
    "objective": 1150.5,
    "bound": 1160.0,
    "gap": 9.5 / 1160.0,
    "status": "within the limit",
    "columns": {"asked": 6, "kept": 5, "stopped": "no more plans were asked for"},
    "logs": [
        {
            "id": "af-07",
            "state": "planned",
            "why": None,
            "script": "logs/af-07/cut-script.json",
            "plan": "all orders",
            "cost": 449.5,
            "value": 1600.0,
            "minutes": 355,
            "week": 0,
            "sets": {"small guitar": 10},
        },
        {
            "id": "<b>",
            "state": "left",
            "why": "no use & no need",
            "script": None,
            "cost": 0.0,
            "value": 0.0,
            "minutes": 0,
            "week": None,
        },
    ],
    "orders": [
        {
            "product": "small guitar",
            "quantity": 12,
            "price": 160.0,
            "priority": 0,
            "matched": True,
            "filled": 10,
            "due": "2027-03-01",
            "ready": "2027-01-04",
            "from": {"af-07": 10},
        }
    ],
    "weeks": [{"week": 0, "begins": "2026-11-30", "minutes": 355}, {"week": 1, "begins": "2026-12-07", "minutes": 0}],
    "totals": {"value": 1600.0, "cost": 449.5, "profit": 1150.5, "minutes": 355, "sets": {"small guitar": 10}},
}


def test_the_page_tells_what_scripts_spare_apart_from_what_priorities_add():
    """The plans were compared at 1150.50; the scripts cost 30.00 less."""
    total = DOCUMENT["totals"] | {"cost": 419.5, "profit": 1180.5, "minutes": 325}
    spared = DOCUMENT | {"spared": {"minutes": 30, "cost": 30.0}, "totals": total}
    validate(spared, "season")
    words = season_proof(spared)
    assert "30 minutes and 30.00 USD less" in words and "Priorities" not in words
    more = season_proof(spared | {"objective": 1170.5})
    assert "Priorities put 20.00 USD on top" in more and "30 minutes and 30.00 USD less" in more
    assert "leave out" not in season_proof(DOCUMENT)


def test_the_json_is_the_document():
    validate(DOCUMENT, "season")
    assert json.loads(season_json(DOCUMENT)) == DOCUMENT


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        (("logs", 0, "state"), "sold", '"sold" at logs[0].state (af-07)'),
        (("totals", "profit"), None, 'lacks "profit"'),
        (("orders", 0, "filled"), -1, "orders[0].filled"),
        (("odd",), 1, 'unknown key "odd"'),
    ],
)
def test_the_schema_refuses_what_is_none(path, value, words):
    document = copy.deepcopy(DOCUMENT)
    at = document
    for key in path[:-1]:
        at = at[key]
    if value is None:
        del at[path[-1]]
    else:
        at[path[-1]] = value
    with pytest.raises(ScriptError) as caught:
        validate(document, "season")
    assert words in str(caught.value) and "pithline season" in str(caught.value)


def test_the_csv_has_a_row_a_log():
    rows = list(csv.DictReader(io.StringIO(season_csv(DOCUMENT).decode())))
    assert [row["log"] for row in rows] == ["af-07", "<b>"]
    assert (rows[0]["profit"], rows[0]["week begins"], rows[0]["for orders"]) == (
        "1150.50",
        "2026-11-30",
        "10 small guitar (order 1)",
    )
    assert (rows[1]["week"], rows[1]["why"]) == ("", "no use & no need")


def test_the_report_stands_alone_and_escapes_names():
    page = season_html(DOCUMENT).decode()
    fetched = re.findall(r"""(?:src|href)=["'](?!#)[^"']+|url\((?!#)[^)]+|@import|<script""", page)
    assert not fetched
    assert "&lt;b&gt;" in page and "<b></b>" not in page and "no use &amp; no need" in page
    assert "1,150.50" in page and "10 of 12" in page and "0.82%" in page
    assert page.count("<svg") == 3


def test_the_same_document_gives_the_same_bytes():
    assert season_html(DOCUMENT) == season_html(copy.deepcopy(DOCUMENT))


def test_plots_hold_every_log_and_the_hours():
    plots = season_plots(DOCUMENT)
    assert set(plots) == {"value", "orders", "hours"}
    assert "af-07" in plots["value"] and "30 h a week" in plots["hours"] and "asked for" in plots["orders"]


def test_a_season_without_a_sawn_log_is_drawn_too():
    document = copy.deepcopy(DOCUMENT)
    document["logs"] = document["logs"][1:]
    document["orders"][0] |= {"filled": 0, "ready": None, "from": {}}
    document["weeks"][0]["minutes"] = 0
    assert "no log is sawn" in season_plots(document)["value"]
    assert season_html(document)


# -- by week ----------------------------------------------------------------------------------------------------------


def test_weeks_tell_what_is_sawn_ready_and_due_and_the_others_are_left_out():
    first, ready, due = season_weeks(DOCUMENT)
    assert (first.begins.isoformat(), first.done, first.most) == ("2026-11-30", ("af-07",), 30.0)
    assert first.hours == pytest.approx(355 / 60) and first.ready == first.due == ()
    assert (ready.begins.isoformat(), ready.ready, ready.hours) == ("2027-01-04", ("10 small guitar",), 0.0)
    assert (due.begins.isoformat(), due.due) == ("2027-03-01", ("12 small guitar",))
