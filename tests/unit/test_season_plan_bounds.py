"""The bound on what more plans of a log could add, against every mix of plates that small invented logs allow."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from pithline.yard.season.model import Prices, SeasonTerms, YardLog
from pithline.yard.season.plan_bounds import ProvenBound, ProvenLog, most_a_plan_adds, most_earned

PARTS = (("guitar", 2), ("guitar", 1), ("bridge", 1))


ORDERED = {"bridge": 100}


def mixes(rng: np.random.Generator) -> list[tuple[tuple[int, ...], int]]:
    """Plates of each part and minutes of all plans that an invented log allows."""
    room, hungry = rng.uniform(6.0, 14.0), rng.uniform(0.5, 2.0, 3)
    ways = itertools.product(range(8), range(6), range(8), range(1, 5))
    return [(n[:3], n[3]) for n in ways if float(hungry @ n[:3]) <= room * (1.0 - 0.5 ** n[3])]


def proof(plans, worth, minute: float) -> ProvenBound:
    most = max(float(np.dot(worth, n)) - minute * s for n, s in plans)
    return ProvenBound(tuple(worth), minute, max(most, 0.0))


def earned(plans, sets: dict[str, float], minute: float) -> float:
    """The best plan by complete sets less its minutes."""
    best = 0.0
    for n, s in plans:
        have = {"guitar": min(n[0] // 2, n[1]), "bridge": n[2]}
        best = max(best, sum(sets.get(k, 0.0) * v for k, v in have.items()) - minute * s)
    return best


@pytest.mark.parametrize("seed", range(12))
def test_no_plan_earns_more_than_the_bound(seed):
    rng = np.random.default_rng(seed)
    plans = mixes(rng)
    views = tuple(proof(plans, rng.uniform(2.0, 40.0, 3), rng.uniform(0.2, 2.0)) for _ in range(4))
    proven = ProvenLog(PARTS, views)
    for _ in range(10):
        sets = {"guitar": rng.uniform(0.0, 150.0), "bridge": rng.uniform(0.0, 20.0)}
        minute = rng.uniform(0.0, 2.0)
        assert most_earned(proven, sets, minute) >= earned(plans, sets, minute) - 1e-6


def test_a_view_at_the_very_prices_is_the_bound():
    """One part a set, no charge: the bound is the view's own."""
    proven = ProvenLog((("bridge", 1),), (ProvenBound((5.0,), 0.0, 60.0),))
    assert most_earned(proven, {"bridge": 5.0}, 0.0) == pytest.approx(60.0)
    assert most_earned(proven, {"bridge": 2.5}, 0.0) == pytest.approx(30.0)
    assert most_earned(proven, {"bridge": 0.0}, 0.0) == 0.0


def test_a_product_that_no_view_counts_is_not_bounded():
    proven = ProvenLog((("bridge", 1), ("comb", 1)), (ProvenBound((5.0, 0.0), 0.0, 60.0),))
    assert most_earned(proven, {"comb": 1.0}, 0.0) == np.inf


def test_a_log_that_earns_its_bound_adds_nothing():
    proven = ProvenLog((("bridge", 1),), (ProvenBound((5.0,), 0.0, 60.0),))
    log = YardLog("a", 2000, ())
    terms = SeasonTerms(100, 10, overhead=500)
    at = Prices({"bridge": 500.0}, {"a": 1000.0}, 0.0)
    # 60.00 by the view, less 20.00 for the log and 5.00 overhead, less the 10.00 that its best plan earns already
    assert most_a_plan_adds(log, proven, at, terms, ORDERED) == pytest.approx(2500.0)
    assert most_a_plan_adds(log, proven, Prices({"bridge": 500.0}, {"a": 3500.0}, 0.0), terms, ORDERED) == 0.0
    assert most_a_plan_adds(log, None, at, terms, ORDERED) == 0.0


def test_no_more_counts_than_is_ordered():
    proven = ProvenLog((("bridge", 1),), (ProvenBound((5.0,), 0.0, 60.0),))
    assert most_earned(proven, {"bridge": 5.0}, 0.0, {"bridge": 4}) == pytest.approx(20.0)
    assert most_earned(proven, {"bridge": 5.0}, 0.0, {"bridge": 40}) == pytest.approx(60.0)


def test_the_best_period_counts():
    proven = ProvenLog((("bridge", 1),), (ProvenBound((5.0,), 0.0, 60.0),))
    log, terms = YardLog("a", 2000, ()), SeasonTerms(100, 10)
    periods = (({"bridge": 250.0}, 0.0), ({"bridge": 400.0}, 0.0))
    at = Prices({"bridge": 500.0}, {"a": 0.0}, 0.0, periods)
    # 12 bridges at 4.00 in the later period, less 20.00 for the log
    assert most_a_plan_adds(log, proven, at, terms, ORDERED) == pytest.approx(2800.0)
