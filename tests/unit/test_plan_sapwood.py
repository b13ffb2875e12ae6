"""Sapwood along one edge: what is sawn keeps the rule, and more is sawn than where none is allowed."""

from dataclasses import replace

import pytest

from pithline.plan.problem.layout import LayoutSetting, LayoutSlab
from pithline.plan.problem.log_frame import plan_log
from pithline.plan.problem.parts import sapwood_kept_out
from truth.models import to_model
from unit.small_logs import BACK, STRAIGHT, TRADE, carried_out, products_of, shop_of


def passing(width: float, **limits) -> tuple[int, int]:
    """Plates sawn, and those that pass, of a slab through the pith of a log with 40 mm of sapwood."""
    log = plan_log(to_model(replace(STRAIGHT, sapwood=40.0)), 10.0, 25.0, 25.0, ())
    shop = shop_of(products_of(replace(BACK, width=width), limits=replace(TRADE, **limits)))
    ledger = carried_out(log, LayoutSetting(0.0, (LayoutSlab(-12.0, 24.0),)), shop, reserve=False)
    return len(ledger.plates), sum(plate.passes for plate in ledger.plates)


@pytest.mark.parametrize(("width", "edge"), [(60.0, 10.0), (95.0, 10.0), (95.0, 25.0)])
def test_plates_with_sapwood_along_one_edge(width, edge):
    sawn, good = passing(width, sapwood="edge", sapwood_edge=edge)
    assert sawn == good > 0
    assert good >= passing(width, sapwood="none")[1]


def test_how_deep_plates_begin():
    edge = replace(TRADE, sapwood="edge", sapwood_edge=15.0)
    assert sapwood_kept_out(edge, 40.0) == 25.0
    assert sapwood_kept_out(edge, 10.0) == 0.0
    assert sapwood_kept_out(replace(TRADE, sapwood="none"), 40.0) == 40.0
    assert sapwood_kept_out(replace(TRADE, sapwood="any"), 40.0) == 0.0
