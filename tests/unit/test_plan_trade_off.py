"""What fewer settings give, as carried out: each row within its cap, no row worse than one of fewer settings."""

from types import SimpleNamespace

from pithline.plan.evaluate.trade_off import trade_off
from pithline.plan.execute.bucked_log import LogLayout
from pithline.plan.execute.ledger import Ledger
from pithline.plan.problem.operations import Setting, Tool


def ledger(settings, litres):
    """What a layout came to: charged settings, one passing plate of so many litres."""
    plate = SimpleNamespace(volume=litres * 1e6, passes=True)
    return Ledger(operations=[Setting(Tool.MILL, "log", True, 6.0)] * settings, plates=[plate])


def rows(monkeypatch, carried, chosen):
    """The table of layouts that were searched under these caps and came to this."""
    nothing = SimpleNamespace(sets={})
    monkeypatch.setattr("pithline.plan.evaluate.trade_off.gather_sets", lambda plates, parts, products: nothing)
    answers = tuple((most, SimpleNamespace(layouts=(most,))) for most in carried)
    way = SimpleNamespace(log_layout=LogLayout(None, (), (), ()), found=SimpleNamespace(trade_off=answers))
    table = trade_off(way, SimpleNamespace(ledger=chosen, sets={}), lambda one: carried[one.layouts[0]], (), None)
    return [(row["max_settings"], row["settings"], row["instrument_volume"] / 1e6) for row in table]


def test_each_cap_with_its_layout(monkeypatch):
    found = rows(monkeypatch, {3: ledger(3, 30.0), 5: ledger(5, 50.0)}, ledger(9, 80.0))
    assert found == [(3, 3, 30.0), (5, 5, 50.0), (None, 9, 80.0)]


def test_a_layout_that_takes_one_more_answers_the_next_cap(monkeypatch):
    found = rows(monkeypatch, {3: ledger(3, 30.0), 5: ledger(6, 50.0), 8: ledger(9, 70.0)}, ledger(12, 80.0))
    assert found == [(3, 3, 30.0), (5, 3, 30.0), (8, 6, 50.0), (None, 12, 80.0)]


def test_a_cap_that_nothing_keeps_has_no_row(monkeypatch):
    assert rows(monkeypatch, {3: ledger(4, 30.0)}, ledger(9, 80.0)) == [(None, 9, 80.0)]
