"""Laws of a season: more logs or orders never earn less; books balance; nothing is sold twice or beyond what is asked."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from pithline.yard.season.accounts import account
from pithline.yard.season.master import choose
from season_columns import random_season

seasons = st.builds(
    random_season,
    seed=st.integers(0, 10_000),
    logs=st.integers(1, 5),
    plans=st.integers(1, 3),
    orders=st.integers(1, 6),
    weeks=st.integers(1, 6),
    hours=st.sampled_from([6.0, 30.0]),
    matched=st.sampled_from([0.0, 0.4]),
    drying=st.just((0, 3)),
    quantity=st.integers(1, 6),
    cost=st.sampled_from([0, 4000, 20000]),
)
few = settings(max_examples=30)


@few
@given(seasons)
def test_books_balance_to_the_cent_and_rules_hold(season):
    found = choose(season)
    books = account(season, found)  # raises where a set is sold twice or late, an order overfilled, hours exceeded
    assert books.counted == found.objective <= found.bound + 1e-6
    assert books.profit == sum(line.value - line.cost for line in books.lines)
    sold = sum(n * o.price for o, f in zip(season.orders, found.filled, strict=True) for n in f.values())
    assert books.value == sold
    assert found.status == "optimal" or found.gap > 0


@few
@given(seasons)
def test_another_log_never_lowers_the_proven_optimum(season):
    whole = choose(season)
    less = choose(replace(season, logs=season.logs[:-1]))
    assert less.objective <= whole.bound + 1e-6
    if whole.status == less.status == "optimal":
        assert less.objective <= whole.objective


@few
@given(seasons)
def test_another_order_never_lowers_the_proven_optimum(season):
    whole = choose(season)
    if len(season.orders) > 1:
        less = choose(replace(season, orders=season.orders[:-1]))
        assert less.objective <= whole.bound + 1e-6
        if whole.status == less.status == "optimal":
            assert less.objective <= whole.objective


@few
@given(seasons, st.integers(1, 3))
def test_more_hours_never_lower_the_proven_optimum(season, more):
    whole = choose(
        replace(season, terms=replace(season.terms, minutes_per_week=season.terms.minutes_per_week * (1 + more)))
    )
    assert choose(season).objective <= whole.bound + 1e-6
