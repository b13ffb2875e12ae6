"""Mates and instrument sets, by hand."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pithline.mill.products import Part, Product, Products
from pithline.plan.columns.market_model import MarketModel, solve_model
from pithline.plan.evaluate.totals import loose_value
from pithline.plan.execute.ledger import Plate
from pithline.plan.execute.sets import gather_sets, match_mates
from pithline.plan.problem.kinds import plate_kinds
from pithline.plan.problem.market import market_of
from pithline.plan.problem.parts import first_alike, price_of, sawn_parts
from unit.small_logs import TRADE

BACK = Part("back", 2, 600.0, 200.0, 5.0, True)
SIDE = Part("side", 2, 800.0, 120.0, 4.0, True)
NECK = Part("neck", 1, 700.0, 80.0, 70.0, False)
GUITAR = Products("green", (TRADE,), (Product("guitar", 100.0, "trade", (BACK, SIDE, NECK)),))


def plate(number, part, billet, layer, passes=True):
    return Plate(f"plate-{number}", part, np.zeros(3), (), SimpleNamespace(passes=passes), billet, layer, 1.0)


def plates_of(*rows):
    return [plate(number, *row) for number, row in enumerate(rows)]


def mates(plates):
    return {one.id: one.mate for one in plates if one.mate}


def test_neighbours_of_one_billet_are_mates_in_pairs():
    parts = sawn_parts(GUITAR, "black walnut")
    plates = plates_of(*((0, "billet-1", layer) for layer in (2, 0, 1, 4, 3)))
    by_layer = {one.layer: one for one in match_mates(plates, parts)}
    assert by_layer[0].mate == by_layer[1].id and by_layer[1].mate == by_layer[0].id
    assert by_layer[2].mate == by_layer[3].id and by_layer[4].mate is None


def test_a_failed_or_missing_layer_parts_mates():
    parts = sawn_parts(GUITAR, "black walnut")
    plates = plates_of((0, "b", 0), (0, "b", 1, False), (0, "b", 2), (0, "b", 4), (0, "b", 5))
    assert mates(match_mates(plates, parts)) == {"plate-3": "plate-4", "plate-4": "plate-3"}


def test_other_billets_and_parts_that_are_not_matched_have_no_mates():
    parts = sawn_parts(GUITAR, "black walnut")
    plates = plates_of((0, "a", 0), (0, "b", 1), (2, "c", 0), (2, "c", 1))
    assert mates(match_mates(plates, parts)) == {}


def test_a_set_wants_pairs_and_every_part():
    parts = sawn_parts(GUITAR, "black walnut")
    rows = [(0, "a", 0), (0, "a", 1), (0, "b", 0), (1, "c", 0), (1, "c", 1), (1, "d", 3), (1, "d", 4), (2, "e", 0)]
    gathered = gather_sets(plates_of(*rows), parts, GUITAR)
    assert gathered.sets == {"guitar": 1}
    named = [one for one in gathered.plates if one.set_id == "guitar 1"]
    assert sorted(one.part for one in named) == [0, 0, 1, 1, 2]
    assert all(one.mate in {other.id for other in named} for one in named if one.part != 2)


@pytest.mark.parametrize(("demand", "made"), [(None, 3), (2, 2), (0, 0)])
def test_sets_go_up_to_the_demand(demand, made):
    products = Products("green", (TRADE,), (Product("neck", 10.0, "trade", (NECK,), demand),))
    parts = sawn_parts(products, "black walnut")
    plates = plates_of(*((0, f"b{k}", 0) for k in range(3)), (0, "b9", 0, False))
    gathered = gather_sets(plates, parts, products)
    assert gathered.sets == {"neck": made}
    assert sum(one.set_id is not None for one in gathered.plates) == made


@settings(max_examples=50)
@given(st.lists(st.tuples(st.integers(0, 2), st.integers(0, 3), st.booleans()), max_size=24))
def test_sets_are_whole_and_share_no_plate(rows):
    parts = sawn_parts(GUITAR, "black walnut")
    plates = plates_of(*((part, f"b{part}{billet}", layer, good) for layer, (part, billet, good) in enumerate(rows)))
    gathered = gather_sets(plates, parts, GUITAR)
    plates = gathered.plates
    by_id = {one.id: one for one in plates}
    for one in plates:
        if one.mate:
            other = by_id[one.mate]
            assert other.mate == one.id and other.billet == one.billet and abs(other.layer - one.layer) == 1
            assert one.passes and other.passes
    made = gathered.sets["guitar"]
    for n in range(made):
        own = [one for one in plates if one.set_id == f"guitar {n + 1}"]
        assert sorted(one.part for one in own) == [0, 0, 1, 1, 2] and all(one.passes for one in own)
    assert sum(one.set_id is not None for one in plates) == 5 * made


TOP = replace(BACK, name="top")
DULCIMER = Products("green", (TRADE,), (Product("dulcimer", 100.0, "trade", (TOP, SIDE, BACK)),))


def test_parts_that_differ_in_name_alone_are_alike():
    parts = sawn_parts(DULCIMER, "black walnut")
    assert first_alike(parts) == (0, 1, 0)
    assert first_alike(sawn_parts(GUITAR, "black walnut")) == (0, 1, 2)
    for other in (replace(BACK, thickness=5.5), replace(BACK, loose_price=3.0), replace(BACK, resaw="dried")):
        apart = Products("green", (TRADE,), (Product("dulcimer", 100.0, "trade", (TOP, SIDE, other)),))
        assert first_alike(sawn_parts(apart, "black walnut")) == (0, 1, 2)


def test_what_was_sawn_for_tops_serves_as_backs():
    parts = sawn_parts(DULCIMER, "black walnut")
    rows = [*((0, "a", layer) for layer in range(6)), *((1, "c", layer) for layer in range(6)), (0, "b", 0)]
    gathered = gather_sets(plates_of(*rows), parts, DULCIMER)
    assert gathered.sets == {"dulcimer": 1}
    own = [one for one in gathered.plates if one.set_id == "dulcimer 1"]
    assert sorted(one.part for one in own) == [0, 0, 1, 1, 2, 2]
    by_id = {one.id: one for one in gathered.plates}
    assert all(by_id[one.mate].part == one.part for one in gathered.plates if one.mate)
    assert [one.part for one in gathered.plates if one.billet == "b"] == [0]  # without a mate it stays what it was


def test_plates_of_alike_parts_make_up_sets_and_demand_together():
    """Ten backs, ten sides: two dulcimers want four plates of tops and backs each; of three wanted, two backs are left to sell."""
    products = replace(DULCIMER, products=(replace(DULCIMER.products[0], demand=3),))
    parts = sawn_parts(products, "black walnut")
    ones = np.ones(3)
    market = market_of(plate_kinds(parts), {"dulcimer": 100.0}, ones, 0.0 * ones, 0.0 * ones)
    assert market.need.tolist() == [[4, 2, 0]] and market.wanted.tolist() == [12.0, 6.0, 0.0]
    worth, sets = market.worth(np.array([0, 10, 10]), np.zeros(3, np.int64))
    assert sets.tolist() == [2] and worth == pytest.approx(200.0 + 2.0 + 2.0)
    model = MarketModel(market)
    model.maximise(np.array([[0, 0], [10, 0], [10, 0]]))
    solved = solve_model(model, 1.0, 1)
    assert solved is not None and model.worth(solved[0].objective_value) == pytest.approx(204.0)
    mated, _ = market.plate_prices(np.array([3.0, 2.0, 50.0]))
    assert mated.tolist() == [3.0, 2.0, 3.0]  # the last pool holds nothing


def test_a_sets_price_is_shared_by_volume():
    product = GUITAR.products[0]
    whole = sum(part.count * price_of(product, part) for part in product.parts)
    assert whole == pytest.approx(product.price)
    assert price_of(product, BACK) / price_of(product, SIDE) == pytest.approx(BACK.volume / SIDE.volume)


def test_parts_are_sawn_so_large_that_no_ring_angle_leaves_them_small():
    """Finished sizes: quartered wood shrinks most across its thickness, leaning wood more across its width."""
    finished = Products("finished", (TRADE,), GUITAR.products, dry_to_percent=8.0, surfacing=1.0)
    radial, tangential = 0.055 * 22 / 30, 0.078 * 22 / 30  # black walnut from the fibre saturation point to 8 %
    for part in sawn_parts(finished, "black walnut"):
        assert 1.0 <= part.length / part.part.length < 1.003
        for angle in np.linspace(TRADE.ring_angle_mean, np.pi / 2, 7):
            across = tangential * np.cos(angle) ** 2 + radial * np.sin(angle) ** 2
            through = tangential * np.sin(angle) ** 2 + radial * np.cos(angle) ** 2
            assert part.width * (1 - across) > part.part.width - 1e-6
            assert part.thickness * (1 - through) > part.part.thickness + 2.0 - 0.15
    green = sawn_parts(GUITAR, "black walnut")
    assert [(p.length, p.width, p.thickness) for p in green] == [
        (p.part.length, p.part.width, p.part.thickness) for p in green
    ]


def test_what_no_set_takes_is_sold_at_its_parts_price_backs_in_pairs():
    """Two backs of a pair bring 30 together, a lone back nothing, a neck 8 each; no more than what is wanted, sets counted."""
    parts = (replace(BACK, loose_price=30.0), SIDE, replace(NECK, loose_price=8.0))
    products = replace(GUITAR, products=(replace(GUITAR.products[0], parts=parts),))
    sawn = sawn_parts(products, "black walnut")
    rows = [(0, "a", 0), (0, "a", 1), (0, "b", 0), (2, "c", 0), (2, "c", 2)]
    plates = match_mates(plates_of(*rows), sawn)
    assert loose_value(plates, sawn, products) == pytest.approx(30.0 + 2 * 8.0)
    # one set is wanted: of its one neck a set has taken none, or one
    wanted = replace(products, products=(replace(products.products[0], demand=1),))
    assert loose_value(plates, sawn, wanted) == pytest.approx(30.0 + 8.0)
    taken = [replace(one, set_id="guitar 1") if one.part == 2 and one.layer == 0 else one for one in plates]
    assert loose_value(taken, sawn, wanted) == pytest.approx(30.0)
    # the best figure is sold first
    figured = [replace(one, figure=2.0) if one.part == 2 and one.layer == 2 else one for one in plates]
    assert loose_value(figured, sawn, wanted) == pytest.approx(30.0 + 2 * 8.0)
