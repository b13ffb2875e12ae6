"""Drying, end checks and metal: one relation each, whoever asks."""

import math
from dataclasses import replace

import pytest

from appraisal_by_hand import card, known, terms
from pithline.files.priors import read_priors
from pithline.files.products import products_as_read, products_from
from pithline.files.yard import read_yard
from pithline.trade.drying import AIR_DRYING, WEEKS_A_MONTH
from pithline.trade.waiting_log import EndChecks, MetalChances
from pithline.yard.drying_times import drying_weeks
from pithline.yard.log_history import metal_chance
from pithline.yard.season.asks import column_of
from pithline.yard.season.model import NEVER
from pithline.yard.season.waiting import Waiting


def test_an_inch_dries_as_the_laboratory_found_and_thick_wood_slower_than_in_proportion():
    """FPL Report 2086 (1957): 4/4 sugar maple in about 90 days, 40 to 205 by pile; the weeks indoors come on top."""
    air = AIR_DRYING.weeks(25.4) - AIR_DRYING.indoor_weeks
    assert 40 / 7 < air < 205 / 7 and air == pytest.approx(90 / 7, abs=0.2)
    assert AIR_DRYING.weeks(0.0) == AIR_DRYING.indoor_weeks
    assert AIR_DRYING.weeks(50.8) - AIR_DRYING.indoor_weeks == pytest.approx(air * 2**1.5)
    assert AIR_DRYING.months(25.4) == pytest.approx(AIR_DRYING.weeks(25.4) / WEEKS_A_MONTH)


@pytest.mark.parametrize("resaw", ["green", "dried"])
def test_a_neck_block_is_ready_in_the_same_week_by_either_route(resaw):
    """Resawn green it dries by its own thickness; as the billet it is, it dries by the billet's, which is the same."""
    read = products_as_read("guitar")
    [neck] = [one for one in read["product"] if one["name"] == "guitar neck"]
    neck["part"][0]["resaw"] = resaw
    products = products_from(read)
    thickness = neck["part"][0]["thickness"]
    weeks = drying_weeks(products, "guitar neck", AIR_DRYING, {("guitar neck", neck["part"][0]["name"]): thickness})
    assert weeks == math.ceil(AIR_DRYING.weeks(thickness) - 1e-9)


def test_checks_run_in_fast_and_slower_later():
    checks = EndChecks(20.0, 17.0, 0.3)
    lengths = [checks.length(month, False) for month in (0, 1, 4, 9)]
    assert lengths == pytest.approx([20.0, 37.0, 54.0, 71.0])  # the square root of time
    assert checks.length(4, True) == pytest.approx(0.3 * 54.0)
    # makers allow 50 to 75 mm of length for end checks (common practice): two months to a year, ends uncoated
    bundled = read_priors().end_checks
    assert 40.0 < bundled.length(2.0, False) < bundled.length(12.0, False) < 85.0


def test_metal_is_as_likely_by_whichever_way_it_is_asked():
    priors = read_priors()
    for grown, stain in (("forest", False), ("yard", False), ("fence line", True), ("forest", True)):
        stated = card(grown=grown, stain=stain)
        read = {"log": {"id": "r", "species": "black walnut", "grown": grown}, "ends": {"stain": stain}}
        assert known(priors, stated, read).metal_share(priors) == metal_chance(stated, priors)
    chances = MetalChances(0.1, 0.7, 0.6)
    assert chances.of(True, True) == 0.7 and chances.of(False, True) == 0.6


def test_a_log_that_waits_is_trimmed_as_its_checks_grow():
    waiting = Waiting(EndChecks(20.0, 17.0, 0.3), 0.0, False)
    assert waiting.grown(51) == pytest.approx(17.0 * math.sqrt(52 / WEEKS_A_MONTH))
    trims = waiting.trims(52)
    assert list(trims) == sorted(trims) and len(trims) == 3 and trims[-1] >= waiting.grown(51)
    lasts = [waiting.last_week(trim, 52) for trim in trims]
    assert lasts[0] >= 3 and lasts[1] >= 15 and lasts[2] == 51 and lasts == sorted(lasts)
    sealed = replace(waiting, coated=True)
    assert sealed.grown(20) == pytest.approx(0.3 * waiting.grown(20))
    assert Waiting(EndChecks(20.0, 0.0, 0.3), 0.0, False).trims(52) == (0.0,)
    assert waiting.trims(3) == trims[:1] or len(waiting.trims(3)) == 1


def test_a_plan_may_be_sawn_until_the_checks_reach_beyond_its_trim():
    waiting = Waiting(EndChecks(20.0, 17.0, 0.3), 2.0, False)
    plan = {"name": "all", "sets": {"bridge": 3}, "minutes": 50.2, "billets": [], "trim": 9.5}
    products, yard = products_from(products_as_read()), read_yard()
    column = column_of(plan, products, yard, waiting)
    assert column.last_week == waiting.last_week(9.5, yard.weeks) and 0 < column.last_week < yard.weeks - 1
    assert column_of(plan, products, yard).last_week == NEVER


def test_terms_take_drying_times_from_the_yards_file():
    assert terms().drying == read_yard().drying
