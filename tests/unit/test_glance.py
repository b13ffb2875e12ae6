"""A quick look shared by several product lists tells each what a look for it alone would."""

from dataclasses import replace

import numpy as np
import pytest

from pithline.mill.products import Part
from pithline.plan.evaluate.glance import GLANCE, glance
from pithline.plan.pricing.log_grid import log_grid, narrowed
from unit.small_logs import BACK, RULE, TRADE, context_of, log_of, products_of, shop_of

LOG = log_of()
NONE = replace(TRADE, name="none", ring_angle_min=0.0, ring_angle_mean=0.0)
WIDE = products_of(BACK, Part("beam", 1, 300.0, 90.0, 40.0, False))
SMALL = products_of(RULE, limits=NONE)


def contexts():
    return [context_of(shop_of(products), effort=GLANCE) for products in (WIDE, SMALL)]


@pytest.fixture(scope="module")
def seen():
    wide, small = contexts()
    return glance(LOG, wide, (*wide.parts, *small.parts), ())


@pytest.mark.parametrize("which", [0, 1])
def test_a_list_sees_what_it_would_alone(seen, which):
    asked = contexts()[which]
    (whole,) = seen.grids
    alone = log_grid(LOG, asked, whole.grid.rolls, lambda share: None)
    kinds = [seen.kinds.index((part.length, part.width, part.thickness, part.limits)) for part in asked.parts]
    own = narrowed(whole, asked, kinds)
    assert own.grid == alone.grid
    np.testing.assert_array_equal(own.cells, alone.cells)
    half = max(int(np.ceil(part.thickness / 2 / own.grid.depth_step)) for part in asked.parts)
    for roll in range(own.grid.rolls):
        mine, theirs = own.passing(roll)[0], alone.passing(roll)[0]
        # alone, a plate whose box would reach beyond the outermost plane is not looked at; with a deeper grid it is
        np.testing.assert_array_equal(mine[:, half:-half], theirs[:, half:-half])
        assert (mine >= theirs).all()
    assert alone.places.some[0].any()


def test_parts_alike_in_size_and_limits_are_looked_at_once():
    wide, _ = contexts()
    twice = glance(LOG, wide, (*wide.parts, *wide.parts), ())
    assert len(twice.kinds) == len(wide.parts)


def test_what_passes_nowhere_is_told(seen):
    wide, small = contexts()
    assert seen.passing(small.parts) == (True,)
    broad = context_of(shop_of(products_of(replace(BACK, width=145.0))), effort=GLANCE)
    assert glance(LOG, broad, broad.parts, ()).passing(broad.parts) == (False,)
    assert all(seen.passing(wide.parts))
