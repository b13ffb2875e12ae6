"""Manifest, order book and yard: what is read, and the one line told where it cannot be."""

from __future__ import annotations

import datetime
from dataclasses import replace
from pathlib import Path

import pytest

from pithline.cli.main import main
from pithline.errors import InputError
from pithline.files.csv_rows import csv_bytes, read_cells
from pithline.files.manifest import MANIFEST, read_manifest
from pithline.files.orders import check_due, read_orders
from pithline.files.products import read_products
from pithline.files.yard import read_yard
from pithline.plan.api import COARSE
from pithline.trade.drying import AIR_DRYING
from pithline.yard.season.asks import Ask
from pithline.yard.season.work import Job, key_of

PRODUCTS = read_products()
CARD = '[log]\nid = "{}"\nspecies = "black walnut"\nscan = "none.ply"\n'


@pytest.fixture
def yard(tmp_path):
    for name in ("a", "b"):
        (tmp_path / f"{name}.toml").write_text(CARD.format(name), encoding="utf-8")
    return tmp_path


def write(folder, name, text):
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_a_manifest_is_read_whole(yard):
    path = write(yard, "logs.csv", "card,cost,priority,not_before\na.toml,419.50,2,2026-12-01\n\nb.toml,,,\n")
    first, second = read_manifest(path)
    assert (first.card, first.cost, first.priority, first.not_before) == (
        yard / "a.toml",
        41950,
        2,
        datetime.date(2026, 12, 1),
    )
    assert (second.cost, second.priority, second.not_before, second.line) == (None, 0, None, 4)


def test_rows_are_taken_out_as_written_and_put_back(yard):
    path = write(yard, "logs.csv", 'cost;card\n12,5;"a;b.toml"\n;\n')
    rows = read_cells(path, MANIFEST)
    assert rows == [{"card": "a;b.toml", "cost": "12,5", "priority": "", "not_before": ""}]
    path.write_bytes(csv_bytes([*rows, {"cost": " "}], MANIFEST))
    assert path.read_text() == 'card,cost,priority,not_before\na;b.toml,"12,5",,\n'
    assert read_cells(path, MANIFEST) == rows


def test_columns_may_stand_in_any_order_and_be_parted_by_semicolons(yard):
    path = write(yard, "logs.csv", "\ufeffcost;card\n12;a.toml\n")
    assert [(one.card.name, one.cost) for one in read_manifest(path)] == [("a.toml", 1200)]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is empty; its first row names the columns: card, cost"),
        ("card\n", "has no row below its header"),
        ("cost\n5\n", 'line 1 lacks the column "card"'),
        ("card,costs\na.toml,5\n", 'names the column "costs", which is not known; did you mean "cost"?'),
        ("card,card\na.toml,b.toml\n", 'names the column "card" twice'),
        ("card\na.toml\na.toml\n", 'line 3: the card "a.toml" stands in line 2 already'),
        ("card\nc.toml\n", 'line 2: there is no card "c.toml"'),
        ("card,cost\na.toml,many\n", 'line 2: cost is "many"; it must be an amount of money'),
        ("card,cost\na.toml,1.005\n", "at most two decimals"),
        ("card,cost\na.toml,-1\n", "cost is -1; it must be from 0"),
        ("card,cost\na.toml,nan\n", "cost is nan"),
        ("card,cost\na.toml,inf\n", "cost is inf"),
        ("card,priority\na.toml,11\n", "priority is 11; it must be from 0 to 9"),
        ("card,not_before\na.toml,soon\n", 'line 2: not_before is "soon", which is no day'),
        ("card,cost\na.toml,5,6\n", "line 2 has 3 cells, the header 2"),
        ("card,cost\n,5\nc.toml,6\n", "line 2: card is empty; fill it in. (1 more fault in this file.)"),
    ],
)
def test_a_manifest_that_cannot_be_used_says_why(yard, text, words):
    with pytest.raises(InputError) as caught:
        read_manifest(write(yard, "logs.csv", text))
    assert words in str(caught.value) and "logs.csv" in str(caught.value)


def test_orders_take_their_price_from_the_products(tmp_path):
    path = write(
        tmp_path,
        "o.csv",
        "product,quantity,price,due,priority,matched\nsmall guitar,2,,,,\nbridge,9,6.5,2027-01-31,3,log\n",
    )
    first, second = read_orders(path, PRODUCTS)
    assert (first.price, first.due, first.matched) == (15000, None, False)
    assert (second.price, second.due, second.priority, second.matched) == (650, datetime.date(2027, 1, 31), 3, True)


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("small gitar,2,,", 'line 2: no product "small gitar"; did you mean "small guitar"?'),
        ("small guitar,0,,", "quantity is 0; it must be from 1"),
        ("small guitar,2.5,,", 'quantity is "2.5"; it must be a whole number'),
        ("small guitar,2,2027-02-30,", 'due is "2027-02-30", which is no day'),
        ("small guitar,2,,yes", 'matched is "yes"; known values: log.'),
        ("small guitar,,,", "line 2: quantity is empty"),
    ],
)
def test_orders_that_cannot_be_used_say_why(tmp_path, row, words):
    path = write(tmp_path, "o.csv", f"product,quantity,due,matched\n{row}\n")
    with pytest.raises(InputError) as caught:
        read_orders(path, PRODUCTS)
    assert words in str(caught.value)


def test_an_order_due_before_the_start_is_told(tmp_path):
    path = write(tmp_path, "o.csv", "product,quantity,due\nbridge,1,2026-01-01\n")
    with pytest.raises(InputError, match="line 2: due 2026-01-01 lies before the start 2026-02-02"):
        check_due(path, read_orders(path, PRODUCTS), datetime.date(2026, 2, 2))


def test_a_product_that_no_limits_allow_is_told(tmp_path):
    text = (
        '[limits.none]\nring_angle_min_deg = 90\nring_angle_mean_deg = 90\nrunout_max_deg = 3\n[[product]]\nname = "x"\nprice = 1\n'
        'limits = "none"\n[[product.part]]\nname = "p"\ncount = 1\nlength = "100 mm"\nwidth = "50 mm"\nthickness = "5 mm"\n'
    )
    products = read_products(write(tmp_path, "p.toml", text))
    with pytest.raises(InputError, match='line 2: "x" cannot be sawn: its limits "none" ask for a ring angle of 90°'):
        read_orders(write(tmp_path, "o.csv", "product,quantity\nx,1\n"), products)


def test_the_bundled_yard_is_read():
    yard = read_yard()
    # FPL Report 2086 (1957): 4/4 sugar maple, 90 days on average; 25.4 mm
    assert yard.drying.inch_weeks == pytest.approx(90 / 7, abs=0.2)
    assert yard.drying == AIR_DRYING  # what a sheet tells without a yard file
    assert yard.hours_per_week > 0 and yard.weeks > 0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("hours_per_week = 30", "hours_per_week = 0"), "hours_per_week is 0"),
        (("hours_per_week", "hours_a_week"), 'no key "hours_a_week"'),
        (("inch_weeks = 13", "inch_weeks = -1"), "inch_weeks is -1"),
        (("power = 1.5", "power = 0.5"), "power is 0.5"),
    ],
)
def test_a_yard_that_cannot_be_used_says_why(tmp_path, change, words):
    from pithline.files.bundled import bundled

    text = bundled("yard.toml").read_text(encoding="utf-8").replace(*change)
    with pytest.raises(InputError, match=words):
        read_yard(write(tmp_path, "yard.toml", text))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"orders": "product,quantity\nbanjo,1\n"}, 'no product "banjo"'),
        ({"manifest": "card\na.toml\nsame.toml\n"}, "is the log a, and so is line 2"),
        ({"options": ["--start", "someday"]}, '"someday" is no day'),
        ({"options": ["--scheduler", "tcp://127.0.0.1:9"]}, "no dask scheduler answers there"),
    ],
)
def test_the_command_tells_one_line_and_writes_nothing(yard, capsys, monkeypatch, change, words):
    monkeypatch.setattr("pithline.yard.season.cluster.ANSWER_SECONDS", 2)
    write(yard, "same.toml", CARD.format("a"))
    (yard / "none.ply").write_bytes(b"no scan")
    manifest = write(yard, "logs.csv", change.get("manifest", "card\na.toml\nb.toml\n"))
    orders = write(yard, "orders.csv", change.get("orders", "product,quantity\nbridge,4\n"))
    out = yard / "out"
    status = main(["season", str(manifest), "--orders", str(orders), "--out", str(out), *change.get("options", [])])
    told = capsys.readouterr().err
    assert status == 2 and told.count("error:") == 1 and words in told
    assert not (out / "season.json").exists()


def test_finished_work_is_kept_by_all_that_it_depends_on():
    """Another card, mill, question, earlier plan or effort is other work; where a log is crosscut follows from the question."""
    card = Path(__file__).resolve().parents[2] / "sample_scans/af-15.toml"
    ask = Ask("all", (("ukulele", 60.0),), (("ukulele", 4),))
    job = Job("af-15", str(card), None, (), (ask,), "full")
    others = [
        replace(job, card=str(card.with_name("af-12.toml"))),
        replace(job, asks=(replace(ask, hour_rate=20.0),)),
        replace(job, what="plans"),
        replace(job, plan="{}"),
        replace(job, keep=b"earlier"),
        replace(job, effort=COARSE),
        replace(job, trims=(0.0, 12.0)),
    ]
    keys = [key_of(one, ({"mill": 1},)) for one in (job, *others)] + [key_of(job, ({"mill": 2},))]
    assert len(set(keys)) == len(keys)
    assert key_of(replace(job, places=(900.0,)), ({"mill": 1},)) == keys[0]
