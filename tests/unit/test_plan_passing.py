"""The grid of a search: where plates pass by closed form, symmetries of a straight round log, worth of slabs by HiGHS."""

from dataclasses import replace

import numpy as np
import pytest

from pithline.mill.products import Limits
from pithline.plan.pricing.fills import GridFills, fill_all
from pithline.plan.pricing.log_grid import log_grid
from pithline.plan.pricing.log_oracle import price_log
from pithline.plan.pricing.price_search import worth_at
from pithline.plan.problem.effort import COARSE, FULL, rolls_for, thickness_max
from pithline.plan.problem.layout import Locks
from pithline.plan.programmes.fan_runs import slab_worth
from pithline.plan.programmes.grid import LAYERS, cells_of, make_grid, thicknesses
from unit.closed_slabs import PITH_RADIUS, SHOP, passes, worth_by_milp
from unit.small_logs import BACK, RULE, STRAIGHT, context_of, log_of, products_of, shop_of

SMALL = replace(COARSE, rolls=6, along_step=50.0)
CONTEXT = context_of(SHOP, effort=SMALL)


def grid_of(log, context=CONTEXT):
    return log_grid(log, context, 6, lambda part: None)


def values_of(log, context=CONTEXT):
    market = context.economics.market
    worth = worth_at(market, market.loose, context.economics.costs)
    return price_log(grid_of(log, context), worth, 2.0, 1.2).mill.values


@pytest.fixture(scope="module")
def grid():
    return grid_of(log_of(pith_radius=PITH_RADIUS))


@pytest.fixture(scope="module")
def values():
    return values_of(log_of(pith_radius=PITH_RADIUS))


def test_a_grid_lies_even_about_the_pith_and_reaches_past_every_plate():
    stated = make_grid(log_of(), CONTEXT, 6)
    np.testing.assert_allclose(stated.depths, -stated.depths[::-1])
    np.testing.assert_allclose(stated.across, -stated.across[::-1])
    assert stated.across[-1] >= STRAIGHT.radius
    # the farthest mid-plane on which a plate as narrow as any still keeps 70° at its inner edge
    h = np.linspace(0, STRAIGHT.radius, 3000)
    fits = np.sqrt(STRAIGHT.radius**2 - h**2) - h * np.tan(np.radians(70)) > RULE.width
    assert stated.depths[-1] > h[fits].max()
    assert max(stated.thicknesses) <= thickness_max(SHOP.machines)
    assert stated.roll(0) == 0.0 and stated.roll(6) == pytest.approx(np.pi)


def test_what_is_locked_stands_on_the_grid():
    stated = make_grid(log_of(), context_of(SHOP, locks=Locks(roll=0.7, first_slab=41.0)), 6)
    assert stated.roll(0) == pytest.approx(0.7) and 41.0 in stated.thicknesses


def test_parts_are_rounded_up_to_the_grid(grid):
    kerf = SHOP.machines.crosscut.kerf
    along, across = cells_of(SHOP.parts, grid.grid, kerf)
    for part, long, wide in zip(SHOP.parts, along, across, strict=True):
        assert 0 <= long * 50.0 - (part.length + kerf) < 50.0
        assert 0 <= wide * 5.0 - part.width < 5.0


def test_the_menu_holds_whole_stacks_of_what_fills_most_of_a_set_and_blocks():
    """Backs of 5 mm and rules of 8 mm, 1.2 mm kerf, 2 mm of slack; a neck of 70 mm has a slab of its own."""
    neck = type(RULE)("neck", 1, 700.0, 80.0, 70.0, False)
    shop = shop_of(products_of(BACK, RULE, neck), spring=2.0)
    menu = thicknesses(context_of(shop))
    kerf = shop.machines.resaw.kerf
    stacks = {round(k * (t + kerf) - kerf + 2.0, 1) for t in (5.0, 8.0) for k in LAYERS}
    assert set(menu) <= stacks | {72.0} and 72.0 in menu
    assert all(any(0 <= kept - one < 0.61 for kept in menu) for one in stacks)  # or one a hair thicker
    assert list(menu) == sorted(menu)


@pytest.mark.parametrize(
    ("cradles", "rolls"), [((), 12), ((22.5, 45.0), 24), ((30.0,), 12), ((20.0,), 36), ((11.0,), 72)]
)
def test_rolls_are_such_that_every_cradle_has_one(cradles, rolls):
    machines = replace(SHOP.machines, resaw=replace(SHOP.machines.resaw, cradles_deg=cradles))
    found = rolls_for(COARSE, machines, False)
    assert found == rolls and rolls_for(COARSE, machines, True) == 12
    step = 180.0 / found
    assert all(abs(angle / step - round(angle / step)) * step < 1.3 for angle in cradles)
    assert rolls_for(FULL, machines, False) % FULL.rolls == 0 or rolls in (36, 72)


def test_plates_pass_where_closed_forms_say(grid):
    """Every place of some planes: none that surely fails passes, and none that surely passes fails."""
    depths, across = grid.grid.depths, grid.grid.across
    seen = np.zeros(2, int)
    for roll in (0, 2):
        passing, some = grid.passing(roll)
        np.testing.assert_array_equal(some, passing.any(axis=-1))
        for p, part in enumerate(SHOP.parts):
            wide, long = grid.rules.cells_across[p] * 5.0, int(grid.rules.cells_along[p])
            for d in range(0, len(depths), 3):
                for u, place in enumerate(across):
                    found = passing[p, d, u].any()
                    seen[int(found)] += 1
                    if found:
                        assert passes(part, depths[d], place, part.width, np.radians(0.2), 0.5)
                        starts = np.flatnonzero(passing[p, d, u])
                        assert starts.min() * 50.0 >= 25.0 and (starts.max() + long) * 50.0 <= 575.0 + 50.0
                    else:
                        assert not passes(part, depths[d], place, wide, np.radians(0.7), 4.0)
    assert seen.min() > 200


def test_rift_sawn_parts_pass_where_rings_lean():
    """From 30° to 60°, mean 40° and more: never on a plane through the pith, and nowhere where quartered ones do."""
    rift = Limits("rift", np.radians(30), np.radians(40), np.radians(3), ring_angle_max=np.radians(60))
    context = context_of(shop_of(products_of(RULE, limits=rift)), effort=SMALL)
    leaning, quartered = (
        grid_of(log_of(), one) for one in (context, context_of(shop_of(products_of(RULE)), effort=SMALL))
    )
    ours, theirs = leaning.passing(0)[1][0], quartered.passing(0)[1][0]
    middles = np.abs(leaning.grid.depths)
    assert ours[middles > 40.0].any() and not ours[middles < 15.0].any()
    assert theirs.any() and leaning.grid.depths[-1] >= quartered.grid.depths[-1]


def test_every_roll_of_a_round_log_is_worth_the_same(values):
    assert values.max() > 0.5
    for roll in values[1:]:
        np.testing.assert_allclose(roll, values[0], atol=1e-5)


def test_left_and_right_of_a_round_log_are_worth_the_same(values):
    places = values.shape[-1] - 1
    np.testing.assert_allclose(values[:, 0, :, :, :places], values[:, 1, :, :, places - 1 :: -1], atol=1e-5)


def test_more_room_is_never_worth_less(values):
    assert (np.diff(values[:, 0], axis=-1) <= 1e-6).all()
    assert (np.diff(values[:, 1], axis=-1) >= -1e-6).all()


def test_an_eccentric_pith_makes_rolls_differ():
    truth = replace(STRAIGHT, pith_butt=(30.0, 10.0), pith_top=(30.0, 10.0))
    assert values_of(log_of(truth))[:, 0, :, :, 0].max(axis=(1, 2)).std() > 0.02


def test_slabs_are_worth_what_highs_finds(grid, values):
    """Between the best with every doubt against it and for it, and mostly the same as with the grid's own."""
    stated = grid.grid
    same = total = 0
    for at in range(0, len(stated.depths), 4):
        for t in (0, 3):
            low, thickness = float(stated.depths[at]), stated.thicknesses[t]
            if low + thickness > stated.depths[-1]:
                continue
            found = float(values[0, 0, at, t, 0])
            least, own, most = (worth_by_milp(low, thickness, kind) for kind in (-1, 0, 1))
            assert least - 1e-5 <= found <= most + 1e-5, (low, thickness)
            total += most > 0
            same += most > 0 and abs(own - found) < 1e-5
    assert total >= 10 and same >= 0.8 * total


def test_a_slab_is_looked_up_as_it_was_valued(grid, values):
    """The slab that `slab` names holds the plates that its value counts, seen from the front and from behind."""
    market = SHOP.economics.market
    worth = worth_at(market, market.loose, SHOP.economics.costs)
    g = price_log(grid, worth, 2.0, 1.2).mill
    fills = GridFills([grid])
    rng = np.random.default_rng(2)
    some = 0
    for _ in range(60):
        turn, low = int(rng.integers(0, 12)), int(rng.integers(-g.half_depth, g.half_depth))
        t, side, place = int(rng.integers(0, 3)), int(rng.integers(0, 2)), int(rng.integers(-30, 30))
        [(value, fill)] = fill_all([fills.slab(0, grid.slab(turn, low, t, side, place))], worth)
        assert value == pytest.approx(slab_worth(g, turn, low, t, side, place), abs=1e-5)
        assert value == pytest.approx(fill.counts.sum(axis=1) @ market.loose, abs=1e-9)
        some += value > 0
    assert some > 15
