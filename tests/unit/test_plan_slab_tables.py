"""Slab tables: symmetries of a straight round log, and worth against HiGHS (`scipy.optimize.milp`, a peer) on closed forms."""

from dataclasses import replace

import numpy as np
import pytest

from pithline.plan.problem.effort import COARSE, thickness_max
from pithline.plan.programmes.grid import make_grid, part_rows
from pithline.plan.programmes.tables import build_tables, find_passing_places
from unit.closed_slabs import PITH_RADIUS, SHOP, worth_by_milp
from unit.small_logs import RULE, STRAIGHT, context_of, log_of

SMALL = replace(COARSE, rolls=6, along_step=50.0)


def tables_of(log, shop=SHOP, effort=SMALL):
    context = context_of(shop, effort=effort)
    return build_tables(log, shop.parts, context.weights(log.reach), context, find_passing_places(log, context))


@pytest.fixture(scope="module")
def tables():
    return tables_of(log_of(pith_radius=PITH_RADIUS))


def test_a_grid_lies_even_about_the_pith_and_reaches_past_every_plate():
    log = log_of()
    grid = make_grid(log, SHOP.parts, context_of(SHOP, effort=SMALL))
    np.testing.assert_allclose(grid.depths, -grid.depths[::-1])
    np.testing.assert_allclose(grid.across, -grid.across[::-1])
    assert grid.across[-1] >= STRAIGHT.radius
    # the farthest mid-plane on which a plate as narrow as any still keeps 70° at its inner edge
    h = np.linspace(0, STRAIGHT.radius, 3000)
    fits = np.sqrt(STRAIGHT.radius**2 - h**2) - h * np.tan(np.radians(70)) > RULE.width
    assert grid.depths[-1] > h[fits].max()
    assert max(grid.thicknesses) <= thickness_max(SHOP.machines)
    assert grid.roll(0) == 0.0 and grid.roll(6) == pytest.approx(np.pi)


def test_parts_are_rounded_up_to_the_grid():
    grid = make_grid(log_of(), SHOP.parts, context_of(SHOP, effort=SMALL))
    table = part_rows(SHOP.parts, grid, SHOP.worth)
    for i, part in enumerate(SHOP.parts):
        assert 0 <= table.cells_along[i] * grid.along_step - part.length < grid.along_step
        assert 0 <= table.cells_across[i] * grid.across_step - part.width < grid.across_step
    np.testing.assert_allclose(table.worth, [0.22, 0.096])


def test_every_roll_of_a_round_log_is_worth_the_same(tables):
    assert tables.slabs.values.max() > 0.5
    for roll in tables.slabs.values[1:]:
        np.testing.assert_allclose(roll, tables.slabs.values[0], atol=1e-5)


def test_left_and_right_of_a_round_log_are_worth_the_same(tables):
    places = len(tables.grid.across)
    np.testing.assert_allclose(
        tables.slabs.values[:, 0, :, :, :places], tables.slabs.values[:, 1, :, :, places - 1 :: -1], atol=1e-5
    )


def test_more_room_is_never_worth_less(tables):
    assert (np.diff(tables.slabs.values[:, 0], axis=-1) <= 1e-6).all()
    assert (np.diff(tables.slabs.values[:, 1], axis=-1) >= -1e-6).all()


def test_an_eccentric_pith_makes_rolls_differ():
    truth = replace(STRAIGHT, pith_butt=(30.0, 10.0), pith_top=(30.0, 10.0))
    values = tables_of(log_of(truth)).slabs.values[:, 0, :, :, 0]
    assert values.max(axis=(1, 2)).std() > 0.02


def test_slabs_are_worth_what_highs_finds(tables):
    """Between the best with every doubt against it and for it, and mostly the same as with the grid's own."""
    grid = tables.grid
    same = total = 0
    for at in range(0, len(grid.depths), 4):
        for t in (0, 3):
            low, thickness = float(grid.depths[at]), grid.thicknesses[t]
            if low + thickness > grid.depths[-1]:
                continue
            found = float(tables.slabs.values[0, 0, at, t, 0])
            least, own, most = (worth_by_milp(low, thickness, kind) for kind in (-1, 0, 1))
            assert least - 1e-5 <= found <= most + 1e-5, (low, thickness)
            total += most > 0
            same += most > 0 and abs(own - found) < 1e-5
    assert total >= 10 and same >= 0.8 * total
